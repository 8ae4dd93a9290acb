package index

import (
	"encoding/binary"
	"math"
)

// A pattern takes 9 bytes: 4 x 6 bits that place its code within the cell of
// its key, the mirror flag and star A, star B.
const (
	entrySize  = 9
	mirrorBit  = 1 << 23
	starMask   = mirrorBit - 1
	offsetBits = 6
	offsetMax  = 1<<offsetBits - 1
	// yShift makes Y1 and Y2, which are within sqrt(3)/2 of 0, positive.
	yShift = 1.0
)

// quantise splits a code into the key of its cell (four bytes, one for each
// coordinate) and its place within the cell.
func quantise(c Code, cells int) (key, offset uint32) {
	for _, v := range [4]float64{c.X1, c.Y1 + yShift, c.X2, c.Y2 + yShift} {
		f := max(0, min(255.999, v*float64(cells)))
		i := math.Floor(f)
		key = key<<8 | uint32(i)
		offset = offset<<offsetBits | uint32((f-i)*(offsetMax+1))
	}
	return key, offset
}

// restore is the inverse of quantise, to half a step.
func restore(key, offset uint32, cells int) Code {
	var v [4]float64
	for i := 3; i >= 0; i-- {
		v[i] = (float64(key&255) + (float64(offset&offsetMax)+0.5)/(offsetMax+1)) / float64(cells)
		key >>= 8
		offset >>= offsetBits
	}
	return Code{v[0], v[1] - yShift, v[2], v[3] - yShift}
}

// put appends the entry's 9 bytes.
func (e entry) put(dst []byte) []byte {
	dst = append(dst, byte(e.offset>>16), byte(e.offset>>8), byte(e.offset))
	dst = append(dst, byte(e.a>>16), byte(e.a>>8), byte(e.a))
	return append(dst, byte(e.b>>16), byte(e.b>>8), byte(e.b))
}

func three(b []byte) uint32 { return uint32(b[0])<<16 | uint32(b[1])<<8 | uint32(b[2]) }

// window is a range of offsets in one coordinate of a cell, inclusive.
type window struct{ lo, hi int }

// span lists the cells that [v-eps, v+eps] meets in one coordinate, and the
// range of offsets in each. The interval may be wide, but not negative.
func span(v, eps float64, cells int, dst []cellWindow) []cellWindow {
	n := float64(cells)
	lo, hi := (v-eps)*n, (v+eps)*n
	first, last := int(math.Floor(lo)), int(math.Floor(hi))
	for i := max(first, 0); i <= min(last, 255); i++ {
		w := window{0, offsetMax}
		if i == first {
			w.lo = int((lo - float64(i)) * (offsetMax + 1))
		}
		if i == last {
			w.hi = min(offsetMax, int((hi-float64(i))*(offsetMax+1)))
		}
		dst = append(dst, cellWindow{uint32(i), w})
	}
	return dst
}

type cellWindow struct {
	cell uint32
	window
}

func keyBytes(key uint32) []byte { return binary.BigEndian.AppendUint32(nil, key) }
