package frame

import (
	"fmt"
	"math"
	"slices"
)

// blankBlock is the side of the squares whose level replaces missing pixels (no
// source).
const blankBlock = 64

// tooBig is the size from which a float pixel counts as missing: no sensor
// gives it and its square would overflow.
const tooBig = 1e30

// fillBlank replaces pixels without data (NaN, infinity, beyond 1e30, or equal
// to BLANK) by the median of the good pixels in the same square of 64 x 64, or
// of the whole picture where a square has none. They are counted in a note.
func fillBlank(fr *Frame, st stored) error {
	im := &fr.Image
	b := blanks{im: im}
	switch {
	case im.F32 != nil:
		b.missing = func(i int) bool { return !(float32(math.Abs(float64(im.F32[i]))) < tooBig) }
	case !st.hasBlank:
		return nil
	case im.U8 != nil:
		b.missing = func(i int) bool { return int64(im.U8[i]) == st.blank }
	default:
		code := uint16(int16(st.blank))
		if st.zero == 32768 {
			code ^= 0x8000
		}
		b.missing = func(i int) bool { return im.U16[i] == code }
	}
	n := b.count()
	if n == 0 {
		return nil
	}
	if n == im.W*im.H {
		return fmt.Errorf("not one of %d pixels holds a number: %w", n, ErrDamaged)
	}
	b.fill()
	fr.note(fmt.Sprintf("%d of %d pixels hold no data and were set to the level around them", n, im.W*im.H))
	return nil
}

// blanks fills missing pixels of im.
type blanks struct {
	im      *Image
	missing func(i int) bool
}

func (b *blanks) count() int {
	n := 0
	for _, v := range b.counts() {
		n += v
	}
	return n
}

func (b *blanks) counts() []int {
	total := b.im.W * b.im.H
	out := make([]int, parts(total))
	inParts(total, func(part, lo, hi int) error {
		if f := b.im.F32; f != nil {
			out[part] = wild(f[lo:hi])
			return nil
		}
		for i := lo; i < hi; i++ {
			if b.missing(i) {
				out[part]++
			}
		}
		return nil
	})
	return out
}

// wild counts the values that are not below tooBig in size.
func wild(f []float32) int {
	n := 0
	limit := math.Float32bits(tooBig)
	for _, v := range f {
		if math.Float32bits(v)&0x7fffffff >= limit {
			n++
		}
	}
	return n
}

func (b *blanks) fill() {
	all, _ := b.median(0, 0, b.im.W, b.im.H)
	for y := 0; y < b.im.H; y += blankBlock {
		for x := 0; x < b.im.W; x += blankBlock {
			b.fillBlock(x, y, min(x+blankBlock, b.im.W), min(y+blankBlock, b.im.H), all)
		}
	}
}

func (b *blanks) fillBlock(x0, y0, x1, y1 int, level float32) {
	known := false
	for y := y0; y < y1; y++ {
		for i := y*b.im.W + x0; i < y*b.im.W+x1; i++ {
			if !b.missing(i) {
				continue
			}
			if !known {
				if m, ok := b.median(x0, y0, x1, y1); ok {
					level = m
				}
				known = true
			}
			b.im.set(i, level)
		}
	}
}

// median returns the median of up to about 4000 good pixels of a rectangle.
func (b *blanks) median(x0, y0, x1, y1 int) (float32, bool) {
	step := 1 + (x1-x0)*(y1-y0)/4000
	var v []float32
	for k := 0; k < (x1-x0)*(y1-y0); k += step {
		i := (y0+k/(x1-x0))*b.im.W + x0 + k%(x1-x0)
		if !b.missing(i) {
			v = append(v, b.im.at(i))
		}
	}
	if len(v) == 0 {
		return 0, false
	}
	slices.Sort(v)
	return v[len(v)/2], true
}

// Spreads of float pixels that are left as they are. Outside, squares and sums
// of float32 would lose digits, overflow or vanish: float32 has 7 digits and reaches
// from 1e-38 to 3e38.
const (
	leastSpread = 1e-6
	mostSpread  = 1e12
	niceSpread  = 4096
)

// tame multiplies float pixels of an odd unit (flux in W/m2, raw 64-bit counts)
// by a power of two that brings their spread to about 4096.
func tame(fr *Frame) {
	im := &fr.Image
	if im.F32 == nil {
		return
	}
	var v []float64
	for i := 0; i < len(im.F32); i += 1 + len(im.F32)/4096 {
		v = append(v, float64(im.F32[i]))
	}
	slices.Sort(v)
	spread := v[len(v)-1-len(v)/200] - v[len(v)/200]
	if spread == 0 || spread >= leastSpread && spread <= mostSpread {
		return
	}
	factor := math.Exp2(math.Round(math.Log2(niceSpread / spread)))
	inParts(len(im.F32), func(_, lo, hi int) error {
		for i, x := range im.F32[lo:hi] {
			im.F32[lo+i] = float32(float64(x) * factor)
		}
		return nil
	})
	im.Saturation *= float32(factor)
	fr.note(fmt.Sprintf("pixel values spread over %.3g were multiplied by %.3g", spread, factor))
}

func (im *Image) at(i int) float32 {
	switch {
	case im.U8 != nil:
		return float32(im.U8[i])
	case im.U16 != nil:
		return float32(im.U16[i])
	}
	return im.F32[i]
}

// set writes a pixel, rounded where pixels are whole numbers.
func (im *Image) set(i int, v float32) {
	switch {
	case im.U8 != nil:
		im.U8[i] = uint8(v + 0.5)
	case im.U16 != nil:
		im.U16[i] = uint16(v + 0.5)
	default:
		im.F32[i] = v
	}
}
