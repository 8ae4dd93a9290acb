package index

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/bits"
	"sync/atomic"
)

// layout says how a band packs a pattern into 64 bits: from the top the place
// of its code within the cell of its key, four numbers of the same width; the
// mirror flag; the slot of star A; and what the slot of star B is more.
type layout struct {
	cells           int  // of a code's unit length
	code, slot, gap uint // widths in bits
}

const (
	entrySize = 8
	// yShift makes Y1 and Y2, which are within sqrt(3)/2 of 0, positive.
	yShift = 1.0
)

// makeLayout returns the layout for a number of slots when B is at most reach
// slots from A.
func makeLayout(cells, slots, reach int) layout {
	l := layout{cells: cells, slot: uint(bits.Len(uint(slots - 1))), gap: uint(bits.Len(uint(2 * reach)))}
	l.code = min(6, (63-l.slot-l.gap)/4)
	return l
}

// steps is the number of places in a cell along one coordinate.
func (l layout) steps() int { return 1 << l.code }

// entry is a pattern as it is stored, and the key of its cell: four bytes, one
// for each coordinate.
type entry struct {
	key  uint32
	bits uint64
}

// pack makes an entry. ok is false when the slots are too far apart.
func (l layout) pack(c Code, mirror bool, a, b uint32) (e entry, ok bool) {
	var v uint64
	for _, x := range [4]float64{c.X1, c.Y1 + yShift, c.X2, c.Y2 + yShift} {
		f := max(0, min(255.999, x*float64(l.cells)))
		i := math.Floor(f)
		e.key = e.key<<8 | uint32(i)
		v = v<<l.code | uint64((f-i)*float64(l.steps()))
	}
	v <<= 1
	if mirror {
		v |= 1
	}
	gap := int64(b) - int64(a) + 1<<(l.gap-1)
	e.bits = (v<<l.slot|uint64(a))<<l.gap | uint64(gap)
	return e, gap >= 0 && gap < 1<<l.gap && a < 1<<l.slot
}

// slots returns the slots of A and B.
func (l layout) slots(v uint64) (a, b uint32) {
	a = uint32(v >> l.gap & (1<<l.slot - 1))
	return a, uint32(int64(a) + int64(v&(1<<l.gap-1)) - 1<<(l.gap-1))
}

// mirror returns the mirror flag.
func (l layout) mirror(v uint64) bool { return v>>(l.gap+l.slot)&1 != 0 }

// place returns the four places within the cell as one number.
func (l layout) place(v uint64) uint32 { return uint32(v >> (l.gap + l.slot + 1)) }

// restore returns the code, to half a step.
func (l layout) restore(key uint32, v uint64) Code {
	p := l.place(v)
	var c [4]float64
	for i := 3; i >= 0; i-- {
		c[i] = (float64(key&255) + (float64(p&(1<<l.code-1))+0.5)/float64(l.steps())) / float64(l.cells)
		key >>= 8
		p >>= l.code
	}
	return Code{c[0], c[1] - yShift, c[2], c[3] - yShift}
}

// window is a range of places in one coordinate of a cell, inclusive.
type window struct{ lo, hi int }

// span lists the cells that [v-eps, v+eps] meets in one coordinate, and the
// range of places in each. The interval may be wide, but not negative.
func (l layout) span(v, eps float64, dst []cellWindow) []cellWindow {
	n, steps := float64(l.cells), l.steps()
	lo, hi := (v-eps)*n, (v+eps)*n
	first, last := int(math.Floor(lo)), int(math.Floor(hi))
	for i := max(first, 0); i <= min(last, 255); i++ {
		w := window{0, steps - 1}
		if i == first {
			w.lo = int((lo - float64(i)) * float64(steps))
		}
		if i == last {
			w.hi = min(steps-1, int((hi-float64(i))*float64(steps)))
		}
		dst = append(dst, cellWindow{i, w})
	}
	return dst
}

type cellWindow struct {
	cell int
	window
}

func three(b []byte) int { return int(b[0])<<16 | int(b[1])<<8 | int(b[2]) }

// A slab holds the patterns of all cells that share the first three
// coordinates, in order of the fourth: first the range of the fourth
// coordinate (its lowest cell, then the number of cells), then how many
// patterns each cell has, in three bytes, then the patterns.
type slab struct {
	lo      int
	first   []int32       // of each cell in entries, in bytes; the last entry is the total
	entries []byte        // in the table, as it is mapped
	round   atomic.Uint32 // of the room, when it was last asked for
}

// appendSlab appends the slab of sorted entries with keys that differ in the
// last byte only.
func appendSlab(dst []byte, list []entry) []byte {
	lo, hi := int(list[0].key&255), int(list[len(list)-1].key&255)
	dst = append(dst, byte(lo), byte(hi-lo+1))
	i := 0
	for c := lo; c <= hi; c++ {
		n := 0
		for i+n < len(list) && int(list[i+n].key&255) == c {
			n++
		}
		i += n
		dst = append(dst, byte(n>>16), byte(n>>8), byte(n))
	}
	for _, e := range list {
		dst = binary.LittleEndian.AppendUint64(dst, e.bits)
	}
	return dst
}

// parseSlab reads a slab; it keeps v.
func parseSlab(v []byte) (*slab, error) {
	if len(v) < 2 {
		return nil, fmt.Errorf("a slab of patterns has %d bytes, want at least 2", len(v))
	}
	s := &slab{lo: int(v[0])}
	n := int(v[1])
	if len(v) < 2+3*n || s.lo+n > 256 {
		return nil, fmt.Errorf("a slab of %d bytes claims %d cells from cell %d", len(v), n, s.lo)
	}
	s.first = make([]int32, n+1)
	total := 0
	for i := range n {
		total += entrySize * three(v[2+3*i:])
		if total > len(v) {
			return nil, fmt.Errorf("a slab of %d bytes claims %d bytes of patterns", len(v), total)
		}
		s.first[i+1] = int32(total)
	}
	if s.entries = v[2+3*n:]; len(s.entries) != total {
		return nil, fmt.Errorf("a slab has %d bytes of patterns, want %d", len(s.entries), total)
	}
	return s, nil
}

// cell returns the entries of one cell.
func (s *slab) cell(c int) []byte {
	c -= s.lo
	if c < 0 || c >= len(s.first)-1 {
		return nil
	}
	return s.entries[s.first[c]:s.first[c+1]]
}
