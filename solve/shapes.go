package solve

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// shapes tells for pairs of a frame's points where the other points are, in the
// coordinates in which the first of the pair is at (0, 0) and the second at
// (1, 0). It is a table of places, made to be asked in nanoseconds which pairs
// have a point at a place.
type shapes struct {
	postures []posture
	start    []tally // of each posture: what it has before any star
	first    []int32 // of each cell of the table, into spots
	spots    []spot  // of the table's cells, one after the other
}

// posture is a pair of points, and whether the frame is taken to be mirrored.
type posture struct {
	a, b     int // of the cloud
	mirrored bool
}

// spot is a point as seen from a pair: in which posture, how much fainter than
// the mean of the pair the point is, 0.1 mag, and for which lenses it is there,
// a bit for each.
type spot struct {
	posture uint16
	faint   int8
	lenses  uint8
}

// tally counts for each lens, in a byte of its own, how many of the stars around
// a pair have a point. It starts so that the byte's highest bit is set when there
// are enough. The fourth byte is left to who counts.
type tally uint32

const (
	mostLenses = 3
	// enough is the highest bit of a lens's byte.
	enough tally = 0x808080
)

// tallies are what a star adds, by the lenses for which it has a point.
var tallies = func() (t [1 << mostLenses]tally) {
	for lenses := range t {
		for l := range mostLenses {
			t[lenses] |= tally(lenses>>l&1) << (8 * l)
		}
	}
	return t
}()

// set reports whether there are enough stars for a lens.
func (t tally) set(lens int) bool { return t&(0x80<<(8*lens)) != 0 }

const (
	// The table covers tableHalf lengths of the pair to each side of its middle.
	tableHalf = 1.28
	tableSide = 256 // cells; those at the edge stay empty
	tableCell = 2 * tableHalf / tableSide
	// maxPostures keeps their numbers within those of a spot.
	maxPostures = 1 << 16
)

// cellOf returns the number of the cell at a place, or of one at the edge of the
// table.
func cellOf(x, y float64) uint {
	ix := min(max(int((x-0.5+tableHalf)/tableCell), 0), tableSide-1)
	iy := min(max(int((y+tableHalf)/tableCell), 0), tableSide-1)
	return uint(ix*tableSide + iy)
}

// makeShapes makes the table of the ordered points, for each of the lenses,
// whose planes are given, with the focal length f. Pairs are from shortest to
// longest apart, all in half-diagonals. slack is how far a place may be off, in
// lengths of the pair, because f is known only roughly; between how far from
// the true distortion those of the lenses may be.
func makeShapes(c *cloud, order []int, planes []*plane, parity []bool, f, shortest, longest, slack, between float64) *shapes {
	m := shaper{cloud: c, order: order, planes: planes, slack: slack, between: between, v: make([][]r3.Vec, len(planes))}
	for l, pl := range planes {
		for _, k := range order {
			m.v[l] = append(m.v[l], pl.direction(k, f))
		}
	}
	s := &shapes{}
	for i, a := range order {
		for j, b := range order {
			if i == j || c.pts[a].mag > c.pts[b].mag+pairOrder || len(s.postures)+len(parity) > maxPostures {
				continue
			}
			through := m.pair(i, j, shortest, longest)
			if len(through) == 0 {
				continue
			}
			for _, mirrored := range parity {
				if start, ok := m.posture(len(s.postures), i, j, through, mirrored); ok {
					s.postures = append(s.postures, posture{a, b, mirrored})
					s.start = append(s.start, start)
				}
			}
		}
	}
	s.fill(m.all)
	return s
}

// fill lays out the spots by their cells.
func (s *shapes) fill(all []placed) {
	s.first = make([]int32, tableSide*tableSide+1)
	s.spots = make([]spot, len(all))
	for _, p := range all {
		s.first[p.cell+1]++
	}
	for i := range s.first[1:] {
		s.first[i+1] += s.first[i]
	}
	next := append([]int32(nil), s.first...)
	for _, p := range all {
		s.spots[next[p.cell]] = p.spot
		next[p.cell]++
	}
}

// shaper makes the spots of shapes. i, j and k are places in order.
type shaper struct {
	cloud          *cloud
	order          []int
	planes         []*plane
	v              [][]r3.Vec // of each lens and place in order
	slack, between float64
	all            []placed
}

// placed is a spot and the cell that it is in.
type placed struct {
	cell uint
	spot
}

// through is a pair of points as seen through a lens.
type through struct {
	lens   int
	length float64 // half-diagonals
	base   base
}

// pair returns a pair of points through the lenses for which its length is in a
// range.
func (m *shaper) pair(i, j int, shortest, longest float64) (out []through) {
	for l, pl := range m.planes {
		length := r3.Norm(r3.Sub(pl.at[m.order[i]], pl.at[m.order[j]]))
		if length >= shortest && length <= longest {
			out = append(out, through{l, length, makeBase(m.v[l][i], m.v[l][j])})
		}
	}
	return out
}

// posture adds the spots of posture number n, of points i and j. ok is false when
// it has none.
func (m *shaper) posture(n, i, j int, pairs []through, mirrored bool) (start tally, ok bool) {
	from := len(m.all)
	for k := range m.order {
		if k != i && k != j {
			m.point(n, i, j, k, pairs, mirrored)
		}
	}
	var cells [mostLenses]int
	for _, p := range m.all[from:] {
		for l := range m.planes {
			cells[l] += int(p.lenses >> l & 1)
		}
	}
	for l := range m.planes {
		start |= (0x80 - tally(needed(float64(cells[l])*tableCell*tableCell*crowd))) << (8 * l)
	}
	return start, len(m.all) > from
}

// point adds the spots of point k in posture number n.
func (m *shaper) point(n, i, j, k int, pairs []through, mirrored bool) {
	c, a, b, q := m.cloud, m.order[i], m.order[j], m.order[k]
	pa, pb, pq := &c.pts[a], &c.pts[b], &c.pts[q]
	half := math.Hypot(c.w, c.h) / 2
	faint := int8(max(-100, min(100, 10*(pq.mag-(pa.mag+pb.mag)/2))))
	from := len(m.all)
	for _, t := range pairs {
		x, y, ok := t.base.place(m.v[t.lens][k])
		if !ok {
			continue
		}
		at := m.planes[t.lens].at
		sigma := math.Sqrt(pq.variance+((1-x)*(1-x)+y*y)*pa.variance+(x*x+y*y)*pb.variance) / (half * t.length)
		tol := math.Hypot(2.5*sigma, m.between*distorted(at[a], at[b], at[q], x, y)/t.length) + m.slack
		if mirrored {
			y = -y
		}
		eachCell(x, y, tol, func(cell uint) {
			for h := from; h < len(m.all); h++ {
				if m.all[h].cell == cell {
					m.all[h].lenses |= 1 << t.lens
					return
				}
			}
			m.all = append(m.all, placed{cell, spot{uint16(n), faint, 1 << t.lens}})
		})
	}
}

// eachCell calls f for the cells within tol of a place.
func eachCell(x, y, tol float64, f func(cell uint)) {
	if !(math.Abs(x) < 10 && math.Abs(y) < 10) {
		return
	}
	x, y, tol = (x-0.5+tableHalf)/tableCell, (y+tableHalf)/tableCell, tol/tableCell
	// off is how far a place is from the nearest one of a cell.
	off := func(v float64, cell int) float64 { return max(0, float64(cell)-v, v-float64(cell+1)) }
	for ix := max(1, int(math.Floor(x-tol))); ix <= min(tableSide-2, int(math.Floor(x+tol))); ix++ {
		dx := off(x, ix)
		for iy := max(1, int(math.Floor(y-tol))); iy <= min(tableSide-2, int(math.Floor(y+tol))); iy++ {
			if dy := off(y, iy); dx*dx+dy*dy <= tol*tol {
				f(uint(ix*tableSide + iy))
			}
		}
	}
}

// distorted returns how far a distortion of 1 at the corner moves q as seen from a
// and b, which it moves, too: all in half-diagonals. x and y is where q is seen.
func distorted(a, b, q r3.Vec, x, y float64) float64 {
	move := func(p r3.Vec) r3.Vec { return r3.Scale(r3.Norm2(p), p) }
	ma, mb := move(a), move(b)
	d := r3.Sub(mb, ma)
	// Where a and b take a point that is fixed to them.
	with := r3.Add(ma, r3.Vec{X: x*d.X - y*d.Y, Y: y*d.X + x*d.Y})
	return r3.Norm(r3.Sub(move(q), with))
}

const (
	// crowd is how many stars of a brightness that would do are around a pair of
	// stars, in a square of its length.
	crowd = 2.4
	// chanceMatch is how likely chance may bring a posture as many stars as are
	// asked for.
	chanceMatch = 2e-3
)

// needed returns how many of the stars around a pair must have a point for
// chance to do it seldom, when it brings expected on average; two at least.
func needed(expected float64) uint8 {
	n, term := 0, math.Exp(-expected) // the chance of exactly n
	for more := 1 - term; n < 1 || more > chanceMatch; more -= term {
		n++
		term *= expected / float64(n)
	}
	return uint8(min(n+1, 0x80))
}
