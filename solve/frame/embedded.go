package frame

import (
	"bytes"
	"fmt"
	"image/jpeg"
)

// span is a piece of a file.
type span struct{ off, n int64 }

// Tags under which some makers keep a full-size JPEG picture.
const tagJPEGFromRaw = 0x002e

// enoughPixels is the size from which an embedded picture is no thumbnail (no
// source).
const enoughPixels = 1_000_000

// readEmbedded reads the largest JPEG picture in a TIFF container instead of
// what could not be read because of why.
func readEmbedded(c *container, all []*directory, fr *Frame, why error) error {
	var found []span
	for _, d := range all {
		found = append(found, d.jpegs()...)
	}
	best, most := largestJPEG(c.source, found)
	if most < enoughPixels { // a thumbnail: there may be more in a maker's notes
		best, most = largestJPEG(c.source, append(scanJPEG(c.source), found...))
	}
	if most > 0 {
		return useJPEG(c.source, best, fr, why)
	}
	return fmt.Errorf("%w; nor does the file hold a JPEG picture: convert it to FITS or plain TIFF", why)
}

// jpegs returns where the directory's entries point to JPEG pictures.
func (d *directory) jpegs() []span {
	var out []span
	if off, n := d.integer(tagJPEGOffset, 0), d.integer(tagJPEGLength, 0); off > 0 && n > 0 {
		out = append(out, span{off, n})
	}
	if f, ok := d.fields[tagJPEGFromRaw]; ok && (f.typ == tUndefined || f.typ == tByte) {
		out = append(out, span{f.off, f.count})
	}
	if p := d.integer(tagCompression, 0); p == packJPEG || p == packOldJPEG {
		off, n := d.nums(tagStripOffsets, 2), d.nums(tagStripCounts, 2)
		if len(off) == 1 && len(n) == 1 {
			out = append(out, span{int64(off[0]), int64(n[0])})
		}
	}
	return out
}

// largestJPEG returns the span that holds the JPEG picture with the most
// pixels, and how many. Spans that hold none, such as lossless raw data, do not count.
func largestJPEG(s *source, found []span) (best span, most int) {
	for _, f := range found {
		if s.check(f.off, f.n, "JPEG") != nil {
			continue
		}
		cfg, err := jpeg.DecodeConfig(s.section(f.off, f.n))
		if err == nil && cfg.Width*cfg.Height > most {
			best, most = f, cfg.Width*cfg.Height
		}
	}
	return best, most
}

func useJPEG(s *source, at span, fr *Frame, why error) error {
	if err := decodeJPEG(s, at.off, at.n, &fr.Image); err != nil {
		return err
	}
	fr.Format += ", embedded JPEG"
	fr.note(fmt.Sprintf("the embedded JPEG of %d x %d pixels is used: %v", fr.Image.W, fr.Image.H, why))
	return nil
}

// maxStarts bounds how many JPEG starts are looked at (no source).
const maxStarts = 64

// scanJPEG finds where JPEG pictures may start in a file whose directories do
// not tell, as where makers keep them in notes of their own.
func scanJPEG(s *source) []span {
	var out []span
	const step = 1 << 20
	start := []byte{0xff, 0xd8, 0xff}
	buf := make([]byte, step+2)
	for off := int64(0); off < s.size && len(out) < maxStarts; off += step {
		n := min(int64(len(buf)), s.size-off)
		if s.fill(buf[:n], off, "raw file") != nil {
			break
		}
		for b, at := buf[:n], 0; len(out) < maxStarts; {
			i := bytes.Index(b[at:], start)
			if i < 0 || at+i >= step {
				break
			}
			at += i
			out = append(out, span{off + int64(at), s.size - off - int64(at)})
			at += len(start)
		}
	}
	return out
}
