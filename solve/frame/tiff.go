package frame

import (
	"errors"
	"fmt"

	"golang.org/x/image/tiff"
)

// readTIFF reads the files of the TIFF family: TIFF, BigTIFF, DNG, and the raw
// files of makers that are TIFF containers.
func readTIFF(f *file, fr *Frame) (facts, error) {
	fr.Format = "TIFF"
	c, err := openContainer(&f.source)
	if err != nil {
		return facts{}, err
	}
	all, err := c.directories()
	if err != nil {
		return facts{}, err
	}
	what := facts{exif: exifOf(all[0])}
	if f, ok := all[0].fields[tagXMP]; ok {
		if b, err := c.bytes(f.off, min(f.count, 1<<20), "XMP"); err == nil && panoramic(b) {
			return what, errPanorama()
		}
	}
	raw, plain, bad := sortRasters(all)
	if raw != nil || c.variant() {
		return what, readRaw(c, all, raw, fr)
	}
	if plain == nil {
		return what, readEmbedded(c, all, fr, bad)
	}
	if err := plain.supported(); err != nil {
		if !errors.Is(err, ErrUnsupported) {
			return what, err
		}
		return what, readOther(f, c, all, plain, fr, err)
	}
	if err := plain.decode(&fr.Image, plain.all(), nil); err != nil {
		fr.Image = Image{}
		return what, err
	}
	return what, finishTIFF(plain, fr)
}

// variant reports one of the makers' own magic numbers instead of 42 or 43.
func (c *container) variant() bool {
	b, err := c.head(4)
	if err != nil {
		return false
	}
	magic := c.order.Uint16(b[2:])
	return magic != 42 && magic != 43
}

// directories returns the chain of directories and those below them. Only the
// first must be readable.
func (c *container) directories() ([]*directory, error) {
	first, err := c.read(c.first)
	if err != nil {
		return nil, err
	}
	var all []*directory
	var walk func(d *directory, depth int)
	walk = func(d *directory, depth int) {
		for d != nil {
			all = append(all, d)
			if depth < 3 {
				for _, off := range d.nums(tagSubIFDs, maxIFDs) {
					if s, err := c.read(int64(off)); err == nil {
						walk(s, depth+1)
					}
				}
			}
			next, err := c.read(d.next)
			if d.next == 0 || err != nil {
				return
			}
			d = next
		}
	}
	walk(first, 0)
	return all, nil
}

// sortRasters returns the largest picture of raw sensor data, if any, and the
// largest plain picture. Reduced copies count only when there is nothing else.
// bad says why there is none.
func sortRasters(all []*directory) (raw, plain *raster, bad error) {
	bad = fmt.Errorf("TIFF without a picture: %w", ErrDamaged)
	better := func(r, than *raster) bool {
		if than == nil || r.thumbnail() != than.thumbnail() {
			return than == nil || than.thumbnail()
		}
		return r.w*r.h > than.w*than.h
	}
	for _, d := range all {
		if _, ok := d.fields[tagWidth]; !ok {
			continue
		}
		r, err := d.raster()
		switch {
		case err != nil:
			bad = err
		case r.photometric == photoCFA || r.photometric == photoLinear:
			if better(r, raw) {
				raw = r
			}
		case r.bad != nil:
			bad = r.bad
		case better(r, plain):
			plain = r
		}
	}
	return raw, plain, bad
}

// all is the whole of a raster.
func (r *raster) all() crop { return crop{0, 0, r.w, r.h} }

// finishTIFF sets what is known of the pixels of a plain picture.
func finishTIFF(r *raster, fr *Frame) error {
	im := &fr.Image
	if err := fillBlank(fr, stored{}); err != nil {
		return err
	}
	tame(fr)
	if im.F32 == nil {
		im.Saturation = float32(int(1)<<r.bits - 1)
	}
	if r.samples == 1 {
		im.Mosaic = evident(im)
	}
	return nil
}

// readOther tries the TIFF library for palettes and for one bit a pixel, then an
// embedded JPEG.
func readOther(f *file, c *container, all []*directory, r *raster, fr *Frame, why error) error {
	if r.photometric != photoPalette && r.bits >= 8 {
		return readEmbedded(c, all, fr, why)
	}
	cfg, err := tiff.DecodeConfig(f.section(0, f.size))
	if err != nil {
		return readEmbedded(c, all, fr, why)
	}
	if err := room(int64(cfg.Width), int64(cfg.Height), f.size, 8*inflateMost); err != nil {
		return err
	}
	if err := f.work.plane(int64(cfg.Width), int64(cfg.Height), 1, int64(cfg.Width)*int64(cfg.Height)); err != nil {
		return err
	}
	m, err := tiff.Decode(f.section(0, f.size))
	if err != nil {
		return readEmbedded(c, all, fr, why)
	}
	setImage(&fr.Image, m)
	fr.Image.Saturation = full(&fr.Image)
	return nil
}
