package solve

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index"
)

// The loops below are gone through for every pair of stars of a sweep, millions of
// times, and are most of its time. Where the processor can (lanes_amd64.s), several
// stars are worked on at a time, with the same bits as a result: every product and
// sum is rounded, in the same order. That is why products are converted to the type
// that they have: else some processors would add without rounding first.

// pairLimits is which pairs of a window's stars count: those whose squared length is
// within half2 of mid2, and whose middle is not farther from that of the window than
// half of wx2 and wy2.
type pairLimits struct{ mid2, half2, wx2, wy2 float32 }

// pairs sets out[b], for the first n stars, to those before b that b makes a pair with,
// a bit for each. n is at most 32.
func (l *pairLimits) pairs(x, y *[windowRoom]float32, n int, out *[32]uint32) {
	if vectorPairs(l, x, y, n, out) {
		return
	}
	for b := range n {
		bx, by, bits := x[b&inWindow], y[b&inWindow], uint32(0)
		for a := range b {
			ax, ay := x[a&inWindow], y[a&inWindow]
			dx, dy := bx-ax, by-ay
			length2 := float32(dx*dx) + float32(dy*dy)
			// One branch for three questions: a bit is set when one is negative.
			if int32(math.Float32bits(l.half2-abs(length2-l.mid2))|
				math.Float32bits(l.wx2-abs(ax+bx))|
				math.Float32bits(l.wy2-abs(ay+by))) >= 0 {
				bits |= 1 << a
			}
		}
		out[b&31] = bits
	}
}

// turn takes places on a plane to cells of a table of shapes: it turns, stretches and
// moves them so that a pair of stars comes to lie where the table has its points.
type turn struct{ dx, dy, cx, cy float32 }

// place takes a place to cells.
func (t *turn) place(x, y float32) (px, py float32) {
	return float32(x*t.dx) + float32(y*t.dy) + t.cx, float32(y*t.dx) - float32(x*t.dy) + t.cy
}

// hits sets out to the first n places that fall in a cell that has something, each with
// the number of its cell, and returns how many do. v are the brightness and the number of
// each, see swept, and mean the brightness that is taken off. What is set behind those
// means nothing.
func (t *turn) hits(x, y *[windowRoom]float32, v *[windowRoom]uint32, mean int16, n int, filled *[tableCells / 32]uint32, out *[windowRoom]strike) (count int) {
	if count, ok := vectorHits(t, x, y, v, mean, n, filled, out); ok {
		return count
	}
	for i := range n {
		k := i & inWindow
		cell := uint32(cellOf(t.place(x[k], y[k])))
		out[count&inWindow] = strike(v[k]&0xffff0000|uint32(uint16(v[k])-uint16(mean)))<<32 | strike(cell)
		count += int(filled[cell/32] >> (cell % 32) & 1)
	}
	return count
}

// spotsAtOnce is how many spots are looked at at a time, and how many more than are said
// to be set a list of strikes must have room for.
const spotsAtOnce = 4

// strike sets list to the spots of the cells that were hit, from one of the hits to before
// another, that are as bright as the star, and returns how many they are. list has room
// for all spots of the cells, and for spotsAtOnce more. The hits behind come next: where
// they lead to is fetched ahead.
func (s *shapes) strike(hits []strike, from, to int, list []strike) (n int) {
	if n, ok := vectorStrike(s, hits, from, to, list); ok {
		return n
	}
	for _, h := range hits[from:to] {
		cell := h.cell() & (tableCells - 1)
		for _, p := range s.spots[s.first[cell]:s.first[cell+1]] {
			list[n] = h.with(p)
			n += 1 - int(list[n].unlike())
		}
	}
	return n
}

// drawing draws stars on a plane that touches the sphere: at x = (v.ex / v.mid) + offX,
// and y likewise. Of the stars within width and height of its middle it tells.
type drawing struct {
	ex, ey, mid   [3]float64
	offX, offY    float64
	width, height float32
	least         float64 // of v.mid: lower stars are not on the plane
}

// drawnAtOnce is how many stars are drawn at a time.
const drawnAtOnce = 4

// draw sets x and y of stars, and a bit of seen for each that counts, four to a byte.
// x and y must be as long as the stars, whole fours.
func (d *drawing) draw(dots []index.Dot, x, y []float32, seen []uint8) {
	n := len(dots)
	x, y, seen = x[:n], y[:n], seen[:n/drawnAtOnce]
	if n == 0 || vectorDraw(d, dots, x, y, seen) {
		return
	}
	for i := range seen {
		seen[i] = 0
	}
	for i := range dots {
		vx, vy, vz := float64(dots[i].X), float64(dots[i].Y), float64(dots[i].Z)
		z := float64(vx*d.mid[0]) + float64(vy*d.mid[1]) + float64(vz*d.mid[2])
		scale := 1 / z
		fx := float32(float64((float64(vx*d.ex[0])+float64(vy*d.ex[1])+float64(vz*d.ex[2]))*scale) + d.offX)
		fy := float32(float64((float64(vx*d.ey[0])+float64(vy*d.ey[1])+float64(vz*d.ey[2]))*scale) + d.offY)
		x[i], y[i] = fx, fy
		if z > d.least && abs(fx) < d.width && abs(fy) < d.height {
			seen[i/drawnAtOnce] |= 1 << (i % drawnAtOnce)
		}
	}
}

// three returns the numbers of a vector.
func three(v r3.Vec) [3]float64 { return [3]float64{v.X, v.Y, v.Z} }
