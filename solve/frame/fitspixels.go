package frame

import (
	"encoding/binary"
	"fmt"
	"math"
)

// stored says how the numbers of a FITS array become pixel values.
type stored struct {
	bitpix      int
	scale, zero float64 // value = zero + scale * number
	blank       int64   // number that means no data
	hasBlank    bool
}

func storedOf(c cards, bitpix int) (stored, error) {
	st := stored{bitpix: bitpix, scale: 1}
	if v, ok := c.Number("BSCALE"); ok {
		st.scale = v
	}
	if v, ok := c.Number("BZERO"); ok {
		st.zero = v
	}
	if st.scale == 0 {
		return st, fmt.Errorf("BSCALE = 0: %w", ErrDamaged)
	}
	if v, ok := c.Whole("BLANK"); ok && bitpix > 0 {
		st.blank, st.hasBlank = v, true
	}
	return st, nil
}

func (st stored) bytes() int64 { return int64(max(st.bitpix, -st.bitpix) / 8) }

// whole reports whether the numbers can be kept as integers of 8 or 16 bits.
func (st stored) whole() bool {
	return st.scale == 1 && (st.bitpix == 8 || st.bitpix == 16 && (st.zero == 32768 || st.zero == 0))
}

// kept returns the bytes in which a pixel is kept.
func (st stored) kept(planes int64) int64 {
	if st.whole() && (planes == 1 || !st.hasBlank && (st.bitpix == 8 || st.zero != 0)) {
		return st.bytes()
	}
	return 4
}

// readPlanes reads the uncompressed picture of u.
func readPlanes(s *source, u *hdu, fr *Frame) error {
	w, h, _ := u.picture()
	if err := room(w, h, 0, 0); err != nil {
		return err
	}
	st, err := storedOf(u.cards, u.bitpix)
	if err != nil {
		return err
	}
	axes, planes := u.shape(), u.planes()
	if planes == 1 && len(axes) > 2 {
		fr.note(fmt.Sprintf("FITS array of %v: only its first plane is used", axes))
	}
	if err := s.check(u.off, w*h*planes*st.bytes(), "FITS pixels"); err != nil {
		return err
	}
	if err := s.work.plane(w, h, st.kept(planes), 0); err != nil {
		return err
	}
	s.work.grant(w * h * planes * st.bytes())
	im := &fr.Image
	im.W, im.H = int(w), int(h)
	switch {
	case planes == 3:
		err = readColour(s, u.off, st, im, interleaved(axes))
	case st.whole() && st.bitpix == 8:
		err = readBytes(s, u.off, im)
	case st.whole():
		err = readWords(s, u.off, st, im)
	default:
		err = readFloats(s, u.off, st, im)
	}
	if err != nil {
		return err
	}
	return finishFITS(u.all, st, fr)
}

// finishFITS fills pixels without data and sets what the header says of them.
func finishFITS(c cards, st stored, fr *Frame) error {
	im := &fr.Image
	if err := fillBlank(fr, st); err != nil {
		return err
	}
	switch {
	case im.U8 != nil:
		im.Saturation = math.MaxUint8
	case im.U16 != nil && st.zero == 0:
		im.Saturation = math.MaxInt16
	case im.U16 != nil:
		im.Saturation = math.MaxUint16
	}
	if v, _, ok := c.Positive("SATURATE", "SATLEVEL"); ok && (im.F32 != nil || v < float64(im.Saturation)) {
		im.Saturation = float32(v)
	}
	tame(fr)
	setMosaic(c, fr)
	return nil
}

// readBytes reads 8-bit numbers.
func readBytes(s *source, off int64, im *Image) error {
	n := im.W * im.H
	if s.mem != nil {
		im.U8 = s.mem[off : off+int64(n) : off+int64(n)]
		return nil
	}
	im.U8 = Pixels[uint8](n)
	return inParts(n, func(_, lo, hi int) error {
		return s.fill(im.U8[lo:hi], off+int64(lo), "FITS pixels")
	})
}

// readWords reads 16-bit numbers: unsigned ones (BZERO 32768) as they are,
// signed ones too unless one is negative.
func readWords(s *source, off int64, st stored, im *Image) error {
	n := im.W * im.H
	var raw []byte
	if s.mem != nil {
		raw = s.mem[off : off+int64(2*n)]
		im.U16 = wordsOf(raw)
	}
	aliased := im.U16 != nil
	if !aliased {
		im.U16 = Pixels[uint16](n)
		raw = bytesOf(im.U16)
	}
	flip := uint16(0)
	if st.zero == 32768 {
		flip = 0x8000
	}
	negative := make([]bool, parts(n))
	err := inParts(n, func(part, lo, hi int) error {
		for ; lo < hi; lo += chunk / 2 { // swap while the chunk is in the cache
			end := min(hi, lo+chunk/2)
			if !aliased {
				if err := s.fill(raw[2*lo:2*end], off+int64(2*lo), "FITS pixels"); err != nil {
					return err
				}
			}
			if swapWords(im.U16[lo:end], flip) {
				negative[part] = true
			}
		}
		return nil
	})
	if err != nil || flip != 0 {
		return err
	}
	for _, neg := range negative {
		if neg {
			im.F32 = st.signed(im.U16)
			im.U16 = nil
			return nil
		}
	}
	return nil
}

// signed returns 16-bit signed numbers as floats, NaN for no data.
func (st stored) signed(u []uint16) []float32 {
	out := Pixels[float32](len(u))
	for i, v := range u {
		out[i] = float32(int16(v))
		if st.hasBlank && int64(int16(v)) == st.blank {
			out[i] = float32(math.NaN())
		}
	}
	return out
}

// readFloats reads any kind of number as float32. NaN marks pixels without
// data.
func readFloats(s *source, off int64, st stored, im *Image) error {
	n := im.W * im.H
	im.F32 = Pixels[float32](n)
	size := int(st.bytes())
	return inParts(n, func(_, lo, hi int) error {
		buf := make([]byte, min(chunk, (hi-lo)*size))
		for at := lo; at < hi; {
			m := min(hi-at, len(buf)/size)
			if err := s.fill(buf[:m*size], off+int64(at*size), "FITS pixels"); err != nil {
				return err
			}
			st.floats(im.F32[at:at+m], buf)
			at += m
		}
		return nil
	})
}

// chunk is the number of bytes converted at a time.
const chunk = 256 << 10

// floats converts len(dst) big-endian numbers.
func (st stored) floats(dst []float32, b []byte) {
	be := binary.BigEndian
	nan := float32(math.NaN())
	put := func(i int, v int64) {
		if st.hasBlank && v == st.blank {
			dst[i] = nan
			return
		}
		dst[i] = float32(st.zero + st.scale*float64(v))
	}
	switch st.bitpix {
	case 8:
		for i := range dst {
			put(i, int64(b[i]))
		}
	case 16:
		for i := range dst {
			put(i, int64(int16(be.Uint16(b[2*i:]))))
		}
	case 32:
		for i := range dst {
			put(i, int64(int32(be.Uint32(b[4*i:]))))
		}
	case 64:
		for i := range dst {
			put(i, int64(be.Uint64(b[8*i:])))
		}
	case -32:
		st.reals(dst, b)
	default:
		for i := range dst {
			dst[i] = float32(st.zero + st.scale*math.Float64frombits(be.Uint64(b[8*i:])))
		}
	}
}

// reals converts big-endian float32 numbers.
func (st stored) reals(dst []float32, b []byte) {
	be := binary.BigEndian
	if st.scale == 1 && st.zero == 0 {
		for i := range dst {
			dst[i] = math.Float32frombits(be.Uint32(b[4*i:]))
		}
		return
	}
	for i := range dst {
		dst[i] = float32(st.zero + st.scale*float64(math.Float32frombits(be.Uint32(b[4*i:]))))
	}
}

// readColour reads three planes, or pixels of three colours, into one plane
// (R + 2 G + B) / 4.
func readColour(s *source, off int64, st stored, im *Image, mixed bool) error {
	n := im.W * im.H
	switch {
	case st.whole() && st.bitpix == 8 && !st.hasBlank:
		im.U8 = Pixels[uint8](n)
	case st.whole() && st.zero != 0 && !st.hasBlank:
		im.U16 = Pixels[uint16](n)
	default:
		im.F32 = Pixels[float32](n)
	}
	size := int(st.bytes())
	plane := int64(im.W * im.H * size)
	return inParts(n, func(_, lo, hi int) error {
		step := chunk / size
		buf, val := make([]byte, 3*step*size), make([]float32, 3*step)
		for at := lo; at < hi; at += step {
			m := min(hi-at, step)
			next, skip := m, 1
			if mixed {
				next, skip = 1, 3
				if err := s.fill(buf[:3*m*size], off+int64(3*at*size), "FITS pixels"); err != nil {
					return err
				}
			} else {
				for c := range 3 {
					if err := s.fill(buf[c*m*size:(c+1)*m*size], off+int64(c)*plane+int64(at*size), "FITS pixels"); err != nil {
						return err
					}
				}
			}
			st.floats(val[:3*m], buf)
			for i := range m {
				r := val[i*skip:]
				im.set(at+i, 0.25*r[0]+0.5*r[next]+0.25*r[2*next])
			}
		}
		return nil
	})
}
