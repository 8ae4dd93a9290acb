package index

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// The stars of a band are kept in slots: level after level, cell after cell,
// perSquare slots a cell, bright stars first, free slots last. A slot takes
// slotSize bytes: two coordinates on the plane that touches the sphere at the
// middle of the cell, and the magnitude. That is enough to try a pattern, and
// it takes the search to no more than one place in memory.
const (
	slotSize  = 5
	blockSize = 16 * perSquare // slots that are stored under one key
	freeSlot  = 255            // magnitude code of a free slot
	magStep   = 0.1
	magZero   = -2.0
	// planeReach is the farthest a star lies from the middle of its cell, in
	// units of the cell's height: near a pole a cell is a third of a circle.
	planeReach = 1.25
)

// tabulate appends the slots of a strip of a level.
func (c *chosen) tabulate(dst []byte) []byte {
	for k := c.grid.first[c.own.from]; k < c.grid.first[c.own.to]; k++ {
		from, to := c.cell(k)
		list := c.stars[from:to]
		if len(list) == 0 {
			dst = append(dst, noStars...)
			continue
		}
		e, n, m := c.grid.middle(k)
		for _, s := range list {
			d := r3.Dot(s.v, m) * planeReach * c.grid.height
			dst = binary.LittleEndian.AppendUint16(dst, plane16(r3.Dot(s.v, e)/d))
			dst = binary.LittleEndian.AppendUint16(dst, plane16(r3.Dot(s.v, n)/d))
			dst = append(dst, byte(max(0, min(freeSlot-1, math.Round((float64(s.v0)-magZero)/magStep)))))
		}
		dst = append(dst, noStars[len(list)*slotSize:]...)
	}
	return dst
}

// noStars is a cell of free slots.
var noStars = bytes.Repeat([]byte{0, 0, 0, 0, freeSlot}, perSquare)

// allFree reports whether a block holds no star.
func allFree(block []byte) bool {
	for i := 0; i < len(block); i += len(noStars) {
		if block[i+slotSize-1] != freeSlot { // bright stars come first
			return false
		}
	}
	return true
}

// plane16 codes a number from -1 to 1.
func plane16(x float64) uint16 {
	return uint16(max(0, min(math.MaxUint16, math.Round((x+1)/2*math.MaxUint16))))
}

// Dot is a star of a band: a direction in the ICRS at the index's Epoch, good
// to a 60 000th of the size of its level's squares, and its V magnitude to
// 0.05.
type Dot struct {
	X, Y, Z float32
	V       float32 // NaN for a free slot
}

// Vec returns the direction, a unit vector to seven digits.
func (d Dot) Vec() r3.Vec { return r3.Vec{X: float64(d.X), Y: float64(d.Y), Z: float64(d.Z)} }

// Free reports whether the slot holds no star.
func (d Dot) Free() bool { return d.V != d.V }

// grids returns the squares of each level and the first slot of each; the last
// entry is the number of slots.
func (b Band) grids() (g []squares, base []int) {
	base = []int{0}
	for _, l := range b.levels {
		s := makeSquares(l.square)
		g = append(g, s)
		base = append(base, base[len(base)-1]+s.total()*perSquare)
	}
	return g, base
}

// layout returns how the band packs patterns. Two stars of a pattern are at
// most widest squares apart, which is less than three zones.
func (b Band) layout() layout {
	g, base := b.grids()
	reach := 0
	for _, s := range g {
		for z := range len(s.first) - 1 {
			reach = max(reach, 3*perSquare*(s.first[z+1]-s.first[z]))
		}
	}
	return makeLayout(b.cells, base[len(base)-1], reach)
}

// unfold restores the stars of a stored block that begins at a slot.
func (r *Reader) unfold(first int, v []byte) ([]Dot, error) {
	if len(v)%(slotSize*perSquare) != 0 || len(v) > slotSize*blockSize || first+len(v)/slotSize > r.base[len(r.base)-1] {
		return nil, fmt.Errorf("a block of stars has %d bytes, want a multiple of %d up to %d", len(v), slotSize*perSquare, slotSize*blockSize)
	}
	out := make([]Dot, blockSize)
	for i := range out {
		out[i].V = float32(math.NaN())
	}
	level := 0
	var e, n, m r3.Vec
	for i := range len(v) / slotSize {
		for first+i >= r.base[level+1] {
			level++
		}
		g := &r.grids[level]
		if i%perSquare == 0 {
			e, n, m = g.middle((first + i - r.base[level]) / perSquare)
		}
		s := v[i*slotSize:]
		if s[4] == freeSlot {
			continue
		}
		x := (float64(binary.LittleEndian.Uint16(s))/math.MaxUint16*2 - 1) * planeReach * g.height
		y := (float64(binary.LittleEndian.Uint16(s[2:]))/math.MaxUint16*2 - 1) * planeReach * g.height
		d := sphere.Unit(r3.Add(m, r3.Add(r3.Scale(x, e), r3.Scale(y, n))))
		out[i] = Dot{float32(d.X), float32(d.Y), float32(d.Z), float32(s[4])*magStep + magZero}
	}
	return out, nil
}
