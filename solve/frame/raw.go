package frame

import (
	"errors"
	"fmt"
)

// readRaw reads raw sensor data where the open DNG layout allows it, else the
// largest JPEG picture in the file. raw is nil where no directory holds any.
func readRaw(c *container, all []*directory, raw *raster, fr *Frame) error {
	fr.Format = "raw"
	if raw == nil {
		return readEmbedded(c, all, fr, fmt.Errorf("raw data of an unpublished layout: %w", ErrUnsupported))
	}
	if all[0].integer(tagDNGVersion, 0) != 0 || len(all[0].nums(tagDNGVersion, 4)) == 4 {
		fr.Format = "DNG"
	} else if err := raw.asDNG(); err != nil {
		return readEmbedded(c, all, fr, err)
	}
	mosaic, err := raw.mosaic()
	if err == nil {
		err = raw.supported()
	}
	if errors.Is(err, ErrUnsupported) {
		return readEmbedded(c, all, fr, err)
	}
	if err != nil {
		return err
	}
	return decodeRaw(raw, mosaic, fr)
}

// asDNG reports why the raw data of a file that does not claim to be DNG are
// not laid out as in one. Only unpacked data whose size fits exactly are
// trusted: makers use the same entries for layouts of their own.
func (r *raster) asDNG() error {
	exact := r.fileBytes == r.h*r.rowBytes()*r.across
	if r.bad != nil || r.packing != packNone || !exact || r.bits < 8 {
		return fmt.Errorf("raw data of an unpublished layout: %w", ErrUnsupported)
	}
	return nil
}

// decodeRaw reads the pixels of DNG raw data as they were recorded: black level
// and white balance are left alone, the linearisation table is applied.
func decodeRaw(r *raster, mosaic string, fr *Frame) error {
	im := &fr.Image
	in := r.activeArea()
	var curve []uint16
	for _, v := range r.nums(tagLinearTable, 1<<16) {
		curve = append(curve, uint16(v))
	}
	if err := r.decode(im, in, curve); err != nil {
		*im = Image{}
		return err
	}
	im.Mosaic = mosaic
	if err := fillBlank(fr, stored{}); err != nil {
		return err
	}
	if im.F32 == nil {
		im.Saturation = float32(int(1)<<r.bits - 1)
	}
	if v, ok := r.num(tagWhiteLevel); ok && v > 0 {
		im.Saturation = float32(v)
	}
	tame(fr)
	return nil
}

// activeArea is the part of the sensor that sees light; the mosaic pattern
// starts at its corner.
func (r *raster) activeArea() crop {
	v := r.nums(tagActiveArea, 4)
	if len(v) < 4 {
		return r.all()
	}
	a := crop{x0: int64(v[1]), y0: int64(v[0]), x1: int64(v[3]), y1: int64(v[2])}
	if a.x0 < 0 || a.y0 < 0 || a.x1 > r.w || a.y1 > r.h || a.x1-a.x0 < smallest || a.y1-a.y0 < smallest {
		return r.all()
	}
	return a
}

// mosaic returns the colours of the first pixels, "" for data without mosaic.
func (r *raster) mosaic() (string, error) {
	if r.photometric != photoCFA {
		return "", nil
	}
	dim, p := r.nums(tagCFADim, 2), r.nums(tagCFAPattern, 4)
	if len(dim) < 2 || len(p) < 4 {
		return unnamed, nil
	}
	if dim[0] != 2 || dim[1] != 2 || r.integer(tagCFALayout, 1) != 1 {
		return "", fmt.Errorf("mosaic of %g x %g colours: %w", dim[1], dim[0], ErrUnsupported)
	}
	var b [4]byte
	for i, v := range p {
		if v < 0 || v > 2 {
			return unnamed, nil
		}
		b[i] = "RGB"[int(v)]
	}
	return string(b[:]), nil
}
