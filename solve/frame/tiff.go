package frame

import (
	"fmt"

	"golang.org/x/image/tiff"
)

func readTIFF(f *file, fr *Frame) (facts, error) {
	fr.Format = "TIFF"
	cfg, err := tiff.DecodeConfig(f.section(0, f.size))
	if err != nil {
		return facts{}, fmt.Errorf("TIFF (%v): %w", err, ErrDamaged)
	}
	if err := room(int64(cfg.Width), int64(cfg.Height), f.size, 2*inflateMost); err != nil {
		return facts{}, err
	}
	m, err := tiff.Decode(f.section(0, f.size))
	if err != nil {
		return facts{}, fmt.Errorf("TIFF (%v): %w", err, ErrDamaged)
	}
	setImage(&fr.Image, m)
	fr.Image.Saturation = full(&fr.Image)
	return facts{exif: parseEXIF(&f.source)}, nil
}
