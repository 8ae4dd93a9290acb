package solve

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// shapes tells for pairs of a frame's points where the other points are, in the
// coordinates in which the first of the pair is at (0, 0) and the second at
// (1, 0). It is a table of places, made to be asked in nanoseconds which pairs
// have a point at a place.
type shapes struct {
	postures []posture
	start    []tally                 // of each posture: what it has before any star
	first    *[tableCells + 1]int32  // of each cell of the table, into spots
	spots    []spot                  // of the table's cells, one after the other, and spotsAtOnce more
	crowded  int                     // spots of the cell that has most
	filled   [tableCells / 32]uint32 // a bit for each cell that has spots
	// places tell more exactly where the points are: posture after posture, point
	// after point, a place for each lens.
	places         []place
	points, lenses int
}

// posture is a pair of points, and whether the frame is taken to be mirrored.
type posture struct {
	a, b     int // of the cloud
	mirrored bool
	fainter  int16               // how much fainter b is than a, 0.1 mag
	length2  [mostLenses]float32 // squared distance of a and b, half-diagonals
	needed   [mostLenses]uint8   // stars that must be at the places, exactly
}

// spot is a point as seen from a pair, in one number, which is copied at once: in which
// posture, how much fainter than the mean of the pair the point is, 0.1 mag, and for
// which lenses it is there, a bit for each, in the lowest bits of which; above them is
// which point it is.
type spot uint32

func makeSpot(posture uint16, faint int8, which uint8) spot {
	return spot(posture)<<16 | spot(which)<<8 | spot(uint8(faint))
}

func (p spot) posture() uint16 { return uint16(p >> 16) }
func (p spot) which() uint8    { return uint8(p >> 8) }
func (p spot) faint() int8     { return int8(p) }

// in returns the spot with a lens more in which it is there.
func (p spot) in(lens int) spot { return p | 1<<(8+lens) }

// place is where a point is seen, in cells of the table, and the square of how far
// it may be off.
type place struct{ x, y, tol2 float32 }

// exactly reports whether something at (x, y), in cells of the table, is where a
// spot is for a lens.
func (s *shapes) exactly(p spot, lens int, x, y float32) bool {
	at := &s.places[(int(p.posture())*s.points+int(p.which()>>mostLenses))*s.lenses+lens]
	dx, dy := x-at.x, y-at.y
	return dx*dx+dy*dy < at.tol2
}

// tally counts for each lens, in a byte of its own, how many of the stars around
// a pair have a point. It starts so that the byte's highest bit is set when there
// are enough. The fourth byte is left to who counts.
type tally uint32

const (
	mostLenses = 3 // a byte of a tally each, one byte being left to who counts
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
	tableHalf  = 1.28
	tableSide  = 256 // cells; those at the edge stay empty
	tableCells = tableSide * tableSide
	tableCell  = 2 * tableHalf / tableSide
	// maxPostures keeps their numbers within those of a spot.
	maxPostures = 1 << 16
)

// inCells turns coordinates of a pair into cells of the table.
func inCells(x, y float64) (float32, float32) {
	return float32((x - 0.5 + tableHalf) / tableCell), float32((y + tableHalf) / tableCell)
}

// cellOf returns the number of the cell at a place in cells, or of an empty one
// when it is outside of the table.
func cellOf(x, y float32) uint16 {
	ix, iy := int32(x), int32(y)
	cell := uint32(ix)*tableSide + uint32(iy)
	if uint32(ix|iy) >= tableSide {
		cell = 0
	}
	return uint16(cell)
}

// makeShapes makes the table of the ordered points, for each of the lenses,
// whose planes are given, with the focal length f. Pairs are from shortest to
// longest apart, all in half-diagonals. slack is how far a place may be off, in
// lengths of the pair, because f is known only roughly; between how far from
// the true distortion those of the lenses may be.
func makeShapes(ctx context.Context, c *cloud, order []int, planes []*plane, parity []bool, f, shortest, longest, slack, between float64) *shapes {
	m := shaper{cloud: c, order: order, planes: planes, slack: slack, between: between, v: make([][]r3.Vec, len(planes))}
	for l, pl := range planes {
		for _, k := range order {
			m.v[l] = append(m.v[l], pl.direction(k, f))
		}
	}
	s := &shapes{points: len(order), lenses: len(planes)}
	for i, a := range order {
		if ctx.Err() != nil {
			break // nobody will ask it
		}
		for j, b := range order {
			if i == j || c.pts[a].mag > c.pts[b].mag+pairOrder || len(s.postures)+len(parity) > maxPostures {
				continue
			}
			through := m.pair(i, j, shortest, longest)
			if len(through) == 0 {
				continue
			}
			for _, mirrored := range parity {
				p := posture{a: a, b: b, mirrored: mirrored, fainter: int16(10 * (c.pts[b].mag - c.pts[a].mag))}
				if start, ok := m.posture(len(s.postures), i, j, through, &p); ok {
					s.postures = append(s.postures, p)
					s.start = append(s.start, start)
				}
			}
		}
	}
	s.places = m.places
	s.fill(m.all)
	return s
}

// fill lays out the spots by their cells.
func (s *shapes) fill(all []placed) {
	s.first = new([tableCells + 1]int32)
	s.spots = make([]spot, len(all)+spotsAtOnce)
	for _, p := range all {
		s.filled[p.cell/32] |= 1 << (p.cell % 32)
		s.first[p.cell+1]++
	}
	for i := range tableCells {
		s.crowded = max(s.crowded, int(s.first[i+1]))
		s.first[i+1] += s.first[i]
	}
	next := *s.first
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
	places         []place
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

// posture adds the spots and places of posture number n, of points i and j. ok is
// false when it has none.
func (m *shaper) posture(n, i, j int, pairs []through, p *posture) (start tally, ok bool) {
	from, places := len(m.all), len(m.places)
	m.places = append(m.places, make([]place, len(m.order)*len(m.planes))...)
	for k := range m.order {
		if k != i && k != j {
			m.point(n, i, j, k, pairs, p.mirrored, m.places[places+k*len(m.planes):])
		}
	}
	if len(m.all) == from {
		m.places = m.places[:places]
		return 0, false
	}
	var cells [mostLenses]int
	for _, p := range m.all[from:] {
		for l := range m.planes {
			cells[l] += int(p.which() >> l & 1)
		}
	}
	for l := range m.planes {
		start |= (0x80 - tally(needed(float64(cells[l])*tableCell*tableCell*crowd, chanceMatch))) << (8 * l)
		area := 0.0
		for k := range m.order {
			area += math.Pi * float64(m.places[places+k*len(m.planes)+l].tol2) * tableCell * tableCell
		}
		p.needed[l] = needed(area*crowd, chanceExact)
	}
	for _, t := range pairs {
		p.length2[t.lens] = float32(t.length * t.length)
	}
	return start, true
}

// point adds the spots of point k in posture number n, and its places.
func (m *shaper) point(n, i, j, k int, pairs []through, mirrored bool, places []place) {
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
		any := false
		eachCell(x, y, tol, func(cell uint) {
			any = true
			for h := from; h < len(m.all); h++ {
				if m.all[h].cell == cell {
					m.all[h].spot = m.all[h].in(t.lens)
					return
				}
			}
			m.all = append(m.all, placed{cell, makeSpot(uint16(n), faint, uint8(k<<mostLenses|1<<t.lens))})
		})
		if any {
			px, py := inCells(x, y)
			off := float32(tol/tableCell + edge)
			places[t.lens] = place{px, py, off * off}
		}
	}
}

// edge is how far the middle of a cell may be outside of a circle for the cell to
// count as in it, in cells: less leaves out parts of the circle, more takes in what
// only chance fills (no source; TestShapesSeeTheStars holds it).
const edge = 0.3

// eachCell calls f for the cells that are within tol of a place, most of each.
func eachCell(x, y, tol float64, f func(cell uint)) {
	if !(math.Abs(x) < 10 && math.Abs(y) < 10) {
		return
	}
	x, y, tol = (x-0.5+tableHalf)/tableCell-0.5, (y+tableHalf)/tableCell-0.5, max(math.Sqrt2/2, tol/tableCell+edge)
	for ix := max(1, int(math.Ceil(x-tol))); ix <= min(tableSide-2, int(math.Floor(x+tol))); ix++ {
		dx := float64(ix) - x
		for iy := max(1, int(math.Ceil(y-tol))); iy <= min(tableSide-2, int(math.Floor(y+tol))); iy++ {
			if dy := float64(iy) - y; dx*dx+dy*dy <= tol*tol {
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
	// asked for. (Both: no source, chosen on made-up fields, see cmd/proof.)
	chanceMatch = 5e-4
	// chanceExact is the same for stars that are exactly at the places, not in a cell
	// that is near.
	chanceExact = 3e-4
)

// needed returns how many of the stars around a pair must have a point for
// chance to do it seldom, as likely as is given, when it brings expected on
// average; two at least.
func needed(expected, chance float64) uint8 {
	n, term := 0, math.Exp(-expected) // the chance of exactly n
	for more := 1 - term; n < 1 || more > chance; more -= term {
		n++
		term *= expected / float64(n)
	}
	return uint8(min(n+1, 0x80))
}
