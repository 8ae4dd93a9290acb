package solve

import (
	"math"
	"math/bits"
	"slices"

	"pintle/index"
)

// swept is what a worker needs for a sweep.
type swept struct {
	dots    []index.Dot // around a region
	placed  []flat      // of the dots, on the region's plane
	spread  []flat      // the same, bright ones first
	window  []int32     // dots of those in a window, bright ones first
	x, y    [windowRoom]float32
	v       [windowRoom]int16   // 0.1 mag
	px, py  [windowRoom]float32 // as seen from a pair, in cells of the table
	hits    [windowRoom]strike
	struck  int // of hits
	tallies []counted
	stamp   tally
	found   []find
}

// windowRoom is more than mostAround and a power of two: masked by inWindow, an index
// needs no check of its bounds.
const (
	windowRoom = 64
	inWindow   = windowRoom - 1
)

// counted is the tally of a posture, with the stamp of a pair of stars, and what it
// starts with.
type counted struct{ seen, start tally }

// find is a posture in which enough stars have a point, and for which lenses.
type find struct {
	posture uint16
	lenses  tally
}

// flat is a star on a plane.
type flat struct {
	x, y float32
	v    float32
	dot  int32 // of swept.dots
}

// strike is a star around a pair where the table has spots.
type strike struct {
	from, to int32 // of the spots
	star     int32
}

// stampStep steps the byte of a tally that is left for the stamp.
const stampStep tally = 1 << 24

// lay puts the dots of a region and of what is beside it on its plane, bright ones
// first, to 0.1 mag.
func (m *swept) lay(region *index.Region, square float64) {
	const classes = 256
	var first [classes + 1]uint16 // of the stars of a brightness, in spread
	class := func(v float32) int { return int(max(0, min(classes-1, 10*(v+2)+0.5))) }
	m.placed = m.placed[:0]
	width, height := region.Width+beyond*square, region.Height+beyond*square
	for i := range m.dots {
		x, y, ok := region.Place(m.dots[i].Vec())
		if ok && math.Abs(x) < width && math.Abs(y) < height {
			v := m.dots[i].V
			m.placed = append(m.placed, flat{float32(x), float32(y), v, int32(i)})
			first[class(v)+1]++
		}
	}
	for i := range classes {
		first[i+1] += first[i]
	}
	m.spread = slices.Grow(m.spread[:0], len(m.placed))[:len(m.placed)]
	for _, s := range m.placed {
		place := &first[class(s.v)]
		m.spread[*place] = s
		*place++
	}
}

// faintest returns the V magnitude of a region's faintest star.
func (m *swept) faintest(region *index.Region) float32 {
	for _, s := range slices.Backward(m.spread) {
		if math.Abs(float64(s.x)) < region.Width && math.Abs(float64(s.y)) < region.Height {
			return s.v
		}
	}
	return float32(math.Inf(1))
}

// look takes the n brightest stars of a window, given by its middle and half-sides.
func (m *swept) look(cx, cy, wx, wy float32, n int) {
	m.window = m.window[:0]
	for i := range m.spread {
		s := &m.spread[i]
		x, y := s.x-cx, s.y-cy
		if abs(x) < wx && abs(y) < wy {
			i := len(m.window) & inWindow
			m.x[i], m.y[i], m.v[i] = x, y, int16(10*s.v)
			m.window = append(m.window, s.dot)
			if len(m.window) == n {
				return
			}
		}
	}
}

// begin gets ready for another table.
func (m *swept) begin(s *shapes) {
	m.tallies = slices.Grow(m.tallies[:0], len(s.start))[:len(s.start)]
	for i, start := range s.start {
		m.tallies[i] = counted{0, start}
	}
	m.stamp = 0
}

// next forgets the stars of the pair before.
func (m *swept) next() {
	m.found = m.found[:0]
	if m.stamp += stampStep; m.stamp == 0 {
		for i := range m.tallies {
			m.tallies[i].seen = 0
		}
		m.stamp = stampStep
	}
}

// around lists in m.found the postures in which enough of the stars around a
// pair of stars of the window have a point.
func (m *swept) around(s *shapes, a, b int) {
	const (
		perLength = 1 / tableCell // cells to a length of the pair
		middleX   = (tableHalf - 0.5) / tableCell
		middleY   = tableHalf / tableCell
	)
	ax, ay := m.x[a], m.y[a]
	dx, dy := m.x[b]-ax, m.y[b]-ay
	scale := perLength / (dx*dx + dy*dy)
	dx, dy = dx*scale, dy*scale
	cx, cy := middleX-(ax*dx+ay*dy), middleY-(ay*dx-ax*dy)
	n, first := 0, s.first
	for i := range len(m.window) {
		k := i & inWindow
		x, y := m.x[k], m.y[k]
		px, py := x*dx+y*dy+cx, y*dx-x*dy+cy
		m.px[k], m.py[k] = px, py
		cell := cellOf(px, py)
		from, to := first[cell], first[int(cell)+1]
		m.hits[n&inWindow] = strike{from, to, int32(k)}
		n += int(uint32(from-to) >> 31)
	}
	m.struck = n
	m.mark(s, (m.v[a]+m.v[b])/2)
}

// aroundWide is around for a large window.
func (m *swept) aroundWide(s *shapes, a, b int) {
	pair := makeBase(m.dots[m.window[a]].Vec(), m.dots[m.window[b]].Vec())
	n := 0
	for k, dot := range m.window {
		if x, y, ok := pair.place(m.dots[dot].Vec()); ok {
			px, py := inCells(x, y)
			m.px[k], m.py[k] = px, py
			cell := cellOf(px, py)
			m.hits[n] = strike{s.first[cell], s.first[int(cell)+1], int32(k)}
			n++
		}
	}
	m.struck = n
	m.mark(s, (m.v[a]+m.v[b])/2)
}

// mark counts the postures of the spots that the stars around a pair hit, for a
// pair of that mean brightness, 0.1 mag. It has no branch but the last: which spots
// are alike in brightness cannot be foretold.
func (m *swept) mark(s *shapes, mean int16) {
	m.next()
	counts, stamp := m.tallies, m.stamp
	for _, h := range m.hits[:m.struck] {
		faint := int32(m.v[h.star&inWindow]-mean) - starUnlike
		for _, p := range s.spots[h.from:h.to] {
			off := uint32(int32(p.faint) - faint)
			unlike := (off | (2*starUnlike - off)) >> 31
			t := &counts[p.posture]
			old := max(t.seen, stamp|t.start)
			n := old + tallies[p.which%(1<<mostLenses)]&(tally(unlike)-1)
			t.seen = n
			if now := n &^ old & enough; now != 0 {
				m.found = append(m.found, find{p.posture, now})
			}
		}
	}
}

// exact reports whether enough of the stars that hit spots of a posture are, for a
// lens, exactly where its points are, and as bright. mean is the mean brightness of
// the pair, 0.1 mag.
func (m *swept) exact(s *shapes, number uint16, lens int, mean int16) bool {
	points := uint32(0)
	for _, h := range m.hits[:m.struck] {
		for i := h.from; i < h.to; i++ {
			p := &s.spots[i]
			if p.posture > number {
				break // they are in order
			}
			if p.posture < number || p.which>>lens&1 == 0 {
				continue
			}
			if off := int16(p.faint) - m.v[h.star] + mean; off >= -starUnlike && off <= starUnlike && s.exactly(p, lens, m.px[h.star], m.py[h.star]) {
				points |= 1 << (p.which >> mostLenses)
			}
		}
	}
	return bits.OnesCount32(points) >= int(s.postures[number].needed[lens])
}
