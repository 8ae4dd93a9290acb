package frame

import (
	"encoding/binary"
	"fmt"
	"math"
	"sync"

	"pintle/index/fitshead"
)

// descriptor returns number and heap offset of a variable-length cell.
func descriptor(b []byte, kind byte) (count, off int64) {
	be := binary.BigEndian
	if kind == 'P' {
		return int64(int32(be.Uint32(b))), int64(int32(be.Uint32(b[4:])))
	}
	return int64(be.Uint64(b)), int64(be.Uint64(b[8:]))
}

// integers converts big-endian integers: 1 byte unsigned, 2 or 4 signed.
func integers(dst []int32, b []byte, size int) {
	be := binary.BigEndian
	for i := range dst {
		switch size {
		case 1:
			dst[i] = int32(b[i])
		case 2:
			dst[i] = int32(int16(be.Uint16(b[2*i:])))
		default:
			dst[i] = int32(be.Uint32(b[4*i:]))
		}
	}
}

// unshuffle undoes the byte order of GZIP_2: all first bytes, all second ones
// and so on.
func unshuffle(out, b []byte, size int) {
	n := len(b) / size
	for k := range size {
		for i, v := range b[k*n : (k+1)*n] {
			out[i*size+k] = v
		}
	}
}

// ditherZero is the integer that means exactly zero in SUBTRACTIVE_DITHER_2.
const ditherZero = -2147483646

// dequantise turns the integers of a tile back into floats (FITS standard 4.0,
// section 10.2, dithering in appendix I).
func (w *tileWork) dequantise(q []int32, row []byte, tile int64) ([]float32, error) {
	scale, zero := w.scale, w.zero
	if w.zscale.there() {
		scale = cellNumber(row, w.zscale)
	}
	if w.zzero.there() {
		zero = cellNumber(row, w.zzero)
	}
	blank, hasBlank := w.st.blank, w.st.hasBlank
	if w.zblank.there() {
		blank, hasBlank = int64(cellNumber(row, w.zblank)), true
	}
	if math.IsNaN(scale) || math.IsNaN(zero) {
		return nil, fmt.Errorf("ZSCALE %g, ZZERO %g: %w", scale, zero, ErrDamaged)
	}
	scale, zero = scale*w.st.scale, zero*w.st.scale+w.st.zero
	w.reals = grow(w.reals, len(q))
	out := w.reals
	d := newDither(w.dither, tile)
	for i, v := range q {
		shift := d.next()
		switch {
		case hasBlank && int64(v) == blank:
			out[i] = float32(math.NaN())
		case w.zeros && v == ditherZero:
			out[i] = 0
		default:
			out[i] = float32((float64(v)-shift)*scale + zero)
		}
	}
	return out, nil
}

// cellNumber returns the number in a column of a row, NaN when it holds none.
func cellNumber(row []byte, c column) float64 {
	x, _, _ := fitshead.Number(c.form.Type, row[c.at:])
	return x
}

// ditherValues are the 10000 random numbers of appendix I.
var ditherValues = sync.OnceValue(func() []float64 {
	const a, m = 16807, 2147483647
	out := make([]float64, 10000)
	seed := int64(1)
	for i := range out {
		seed = a * seed % m
		out[i] = float64(seed) / m
	}
	return out
})

// dither gives the shift of each pixel of a tile.
type dither struct {
	rand     []float64
	seed, at int
}

// newDither starts the sequence of a tile, counted from 0. With start 0 there is
// no shift.
func newDither(start int, tile int64) *dither {
	d := &dither{}
	if start > 0 {
		d.rand = ditherValues()
		d.seed = int((tile + int64(start) - 1) % int64(len(d.rand)))
		d.at = int(d.rand[d.seed] * 500)
	}
	return d
}

func (d *dither) next() float64 {
	if d.rand == nil {
		return 0
	}
	v := d.rand[d.at] - 0.5
	d.at++
	if d.at == len(d.rand) {
		d.seed = (d.seed + 1) % len(d.rand)
		d.at = int(d.rand[d.seed] * 500)
	}
	return v
}
