package frame

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"image/jpeg"
)

// jpegMost is the most pixels that a byte of JPEG data can stand for: one bit
// a block of 8 x 8.
const jpegMost = 512

// jpegFull is the value from which a pixel of a colour JPEG is taken for full:
// below white, since the luminance of a star that is full in one colour is.
const jpegFull = 250

func readJPEG(f *file, fr *Frame) (facts, error) {
	fr.Format = "JPEG"
	if err := decodeJPEG(&f.source, 0, f.size, &fr.Image); err != nil {
		return facts{}, err
	}
	return facts{exif: jpegEXIF(&f.source, 0)}, nil
}

// decodeJPEG reads the JPEG picture of n bytes from off.
func decodeJPEG(s *source, off, n int64, im *Image) error {
	cfg, err := jpeg.DecodeConfig(s.section(off, n))
	if err != nil {
		return fmt.Errorf("JPEG (%v): %w", err, ErrDamaged)
	}
	if err := room(int64(cfg.Width), int64(cfg.Height), n, jpegMost); err != nil {
		return err
	}
	m, err := jpeg.Decode(s.section(off, n))
	if err != nil {
		return fmt.Errorf("JPEG (%v): %w", err, ErrDamaged)
	}
	setImage(im, m)
	im.Saturation = jpegFull
	return nil
}

// jpegEXIF returns the EXIF block of the JPEG picture at off, nil when there is
// none that can be read.
func jpegEXIF(s *source, off int64) *exif {
	for pos := off + 2; ; {
		b, err := s.bytes(pos, 4, "JPEG segment")
		if err != nil || b[0] != 0xff || b[1] == 0xda || b[1] == 0xd9 {
			return nil
		}
		if b[1] == 0xff { // fill byte
			pos++
			continue
		}
		n := int64(binary.BigEndian.Uint16(b[2:]))
		if n < 2 {
			return nil
		}
		if b[1] == 0xe1 {
			if seg, err := s.bytes(pos+4, n-2, "EXIF"); err == nil && bytes.HasPrefix(seg, []byte("Exif\x00\x00")) {
				return parseEXIF(memory(seg[6:]))
			}
		}
		pos += 2 + n
	}
}

// memory returns a source of bytes that must not be overwritten.
func memory(b []byte) *source {
	return &source{r: bytes.NewReader(b), size: int64(len(b))}
}
