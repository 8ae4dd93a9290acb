package frame

import (
	"fmt"
	"image/png"
	"math"
)

func readPNG(f *file, fr *Frame) (facts, error) {
	fr.Format = "PNG"
	cfg, err := png.DecodeConfig(f.section(0, f.size))
	if err != nil {
		return facts{}, fmt.Errorf("PNG (%v): %w", err, ErrDamaged)
	}
	if err := room(int64(cfg.Width), int64(cfg.Height), f.size, 8*inflateMost); err != nil {
		return facts{}, err
	}
	m, err := png.Decode(f.section(0, f.size))
	if err != nil {
		return facts{}, fmt.Errorf("PNG (%v): %w", err, ErrDamaged)
	}
	setImage(&fr.Image, m)
	fr.Image.Saturation = full(&fr.Image)
	return facts{}, nil
}

// full returns the largest value that the pixels' type holds.
func full(im *Image) float32 {
	if im.U8 != nil {
		return math.MaxUint8
	}
	return math.MaxUint16
}
