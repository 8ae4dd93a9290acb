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

// cells sets the first n places in cells, px and py, and the numbers of the cells, and
// returns in which of them the table has something, a bit for each. What is set behind
// the n means nothing.
func (t *turn) cells(x, y, px, py *[windowRoom]float32, cells *[windowRoom]uint32, n int, filled *[tableCells / 32]uint32) (hit uint64) {
	hit, ok := vectorCells(t, x, y, px, py, cells, n, filled)
	if ok {
		return hit & (1<<n - 1)
	}
	for i := range n {
		k := i & inWindow
		px[k] = float32(x[k]*t.dx) + float32(y[k]*t.dy) + t.cx
		py[k] = float32(y[k]*t.dx) - float32(x[k]*t.dy) + t.cy
		cell := uint32(cellOf(px[k], py[k]))
		cells[k] = cell
		hit |= uint64(filled[cell/32]>>(cell%32)&1) << k
	}
	return hit
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
