package frame

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"io"
)

// jpegMost is the most pixels that a byte of JPEG data can stand for: one bit
// a block of 8 x 8.
const jpegMost = 512

// jpegFull is the value from which a pixel of a colour JPEG is taken for full:
// below white, since the luminance of a star that is full in one colour is (no
// source).
const jpegFull = 250

// maxScans bounds the passes over a progressive picture, each of which costs
// the time of the whole one however few bytes it has. Encoders make about 10.
const maxScans = 100

func readJPEG(f *file, fr *Frame) (facts, error) {
	fr.Format = "JPEG"
	x, panorama := jpegSays(&f.source, 0)
	if panorama {
		return facts{}, errPanorama()
	}
	return facts{exif: x}, decodeJPEG(&f.source, 0, f.size, &fr.Image)
}

// decodeJPEG reads the JPEG picture of n bytes from off.
func decodeJPEG(s *source, off, n int64, im *Image) error {
	cfg, err := jpeg.DecodeConfig(s.section(off, n))
	if err != nil {
		return damaged("JPEG", err)
	}
	if err := room(int64(cfg.Width), int64(cfg.Height), n, jpegMost); err != nil {
		return err
	}
	scans := jpegScans(s, off, n)
	if scans > maxScans {
		return fmt.Errorf("JPEG picture in %d scans, the limit is %d: %w", scans, maxScans, ErrTooLarge)
	}
	if scans > 1 {
		done, err := decodeScans(s, off, n, im)
		if done || err != nil {
			return err
		}
	}
	if err := s.work.plane(int64(cfg.Width), int64(cfg.Height), 1, jpegMemory(cfg, scans)); err != nil {
		return err
	}
	m, err := jpeg.Decode(s.section(off, n))
	if err != nil {
		return damaged("JPEG", err)
	}
	setImage(im, m)
	im.Saturation = jpegFull
	return nil
}

// decodeScans reads a progressive picture whose luminance is one of its colours;
// done is false when it is none.
func decodeScans(s *source, off, n int64, im *Image) (done bool, err error) {
	b, err := s.bytes(off, n, "JPEG")
	if err != nil {
		return false, err
	}
	p := openProgressive(b)
	if p == nil {
		return false, nil
	}
	p.work = s.work
	if err := s.work.plane(int64(p.w), int64(p.h), 1, p.memory()); err != nil {
		return false, err
	}
	if err := p.decode(im); err != nil {
		*im = Image{}
		return false, err
	}
	im.Saturation = jpegFull
	return true, nil
}

// jpegMemory returns the memory, in bytes, that the library takes besides the
// luminance: for the other colours, for their conversion, and for the coefficients
// of several scans.
func jpegMemory(cfg image.Config, scans int) int64 {
	n := int64(cfg.Width) * int64(cfg.Height)
	colours, copied := int64(3), int64(0)
	switch cfg.ColorModel {
	case color.GrayModel:
		colours = 1
	case color.YCbCrModel:
	case color.CMYKModel:
		colours = 4
	default:
		copied = 5 * n // stored as red, green and blue, then copied
	}
	if scans > 1 {
		copied += 4 * colours * n
	}
	return (colours-1)*n + copied
}

// jpegScans counts the scans of a progressive JPEG picture of up to n bytes from
// off. For others, whose scans cost no more than their bytes, it returns 1.
func jpegScans(s *source, off, n int64) int {
	r := bufio.NewReader(s.section(off+2, n))
	for scans := 0; ; {
		marker, err := nextMarker(r)
		if err != nil || marker == 0xd9 {
			return scans
		}
		var size [2]byte
		if _, err := io.ReadFull(r, size[:]); err != nil {
			return scans
		}
		switch marker {
		case 0xc0, 0xc1:
			return 1
		case 0xda:
			scans++
		}
		if _, err := r.Discard(max(0, int(binary.BigEndian.Uint16(size[:]))-2)); err != nil {
			return scans
		}
	}
}

// nextMarker skips to the next marker that begins a segment or ends the
// picture.
func nextMarker(r *bufio.Reader) (byte, error) {
	for {
		if _, err := r.ReadSlice(0xff); err == bufio.ErrBufferFull {
			continue
		} else if err != nil {
			return 0, err
		}
		b, err := r.ReadByte()
		if err != nil {
			return 0, err
		}
		switch {
		case b == 0xff:
			_ = r.UnreadByte()
		case b != 0 && (b < 0xd0 || b > 0xd7):
			return b, nil
		}
	}
}

// jpegSays returns the EXIF block of the JPEG picture at off, nil when there is
// none that can be read, and whether its XMP data say that it is a panorama of
// the whole sphere.
func jpegSays(s *source, off int64) (x *exif, panorama bool) {
	for pos := off + 2; ; {
		b, err := s.bytes(pos, 4, "JPEG segment")
		if err != nil || b[0] != 0xff || b[1] == 0xda || b[1] == 0xd9 {
			return x, panorama
		}
		if b[1] == 0xff { // fill byte
			pos++
			continue
		}
		n := int64(binary.BigEndian.Uint16(b[2:]))
		if n < 2 {
			return x, panorama
		}
		if b[1] == 0xe1 {
			seg, err := s.bytes(pos+4, n-2, "EXIF")
			switch {
			case err != nil:
			case x == nil && bytes.HasPrefix(seg, []byte("Exif\x00\x00")):
				x = parseEXIF(memory(seg[6:]))
			case panoramic(seg):
				panorama = true
			}
		}
		pos += 2 + n
	}
}

// memory returns a source of bytes that must not be overwritten.
func memory(b []byte) *source {
	return &source{r: bytes.NewReader(b), size: int64(len(b))}
}
