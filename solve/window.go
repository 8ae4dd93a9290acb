package solve

import (
	"math"
	"math/bits"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index"
)

// swept is what a worker needs for a sweep.
type swept struct {
	dots   []index.Dot // around a region
	drawn  drawn       // of the dots, on the region's plane
	placed []int32     // dots that count there
	spread []flat      // these, bright ones first

	// The window's stars, bright ones first.
	stars  int
	copied bool              // to the worker's dots
	window [windowRoom]int32 // of dots
	x, y   [windowRoom]float32
	v      [windowRoom]int16     // 0.1 mag
	sky    [windowRoom]index.Dot // for a large window
	sx, sy [windowRoom]float32   // of these, in cells of the table
	near   [32]uint32            // of each star, a bit for each before it that it makes a pair with

	// The stars as seen from a pair.
	px, py  [windowRoom]float32 // in cells of the table
	cells   [windowRoom]uint32
	struck  []strike // as many as strikes
	strikes int
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
	dot  int32 // of swept.dots
	v    int16 // 0.1 mag
}

// strike is a spot that a star around a pair hits, in the lower half, how much fainter
// the star is than the mean of the pair, 0.1 mag, and in the highest quarter which star
// of the window it is.
type strike uint64

func makeStrike(p spot, fainter int16, star int) strike {
	return strike(p) | strike(uint16(fainter))<<32 | strike(star)<<48
}

func (h strike) spot() spot { return spot(h) }
func (h strike) star() int  { return int(h >> 48) }

// unlike reports whether star and spot are as bright, as a number, 0 when they are
// and 1 when not: a branch could not be foretold.
func (h strike) unlike() uint32 {
	off := uint32(int32(h.spot().faint()) - int32(int16(h>>32)) + starUnlike)
	return (off | (2*starUnlike - off)) >> 31
}

// stampStep steps the byte of a tally that is left for the stamp.
const stampStep tally = 1 << 24

// lay puts the dots of a region and of what is beside it on its plane, bright ones
// first, to 0.1 mag.
func (m *swept) lay(region *index.Region, square float64) {
	const classes = 256
	var first [classes + 1]uint16 // of the stars of a brightness, in spread
	m.draw(region, square)
	faintest := 0
	for _, k := range m.placed {
		c := brightness(m.dots[k].V, classes)
		faintest = max(faintest, c)
		first[c+1]++
	}
	for i := range faintest {
		first[i+1] += first[i]
	}
	m.spread = slices.Grow(m.spread[:0], len(m.placed))[:len(m.placed)]
	for _, k := range m.placed {
		v := m.dots[k].V
		place := &first[brightness(v, classes)]
		m.spread[*place] = flat{m.drawn.x[k], m.drawn.y[k], k, int16(10 * v)}
		*place++
	}
}

// brightness returns the class of a V magnitude, in steps of 0.1.
func brightness(v float32, classes int) int { return max(0, min(classes-1, int(10*(v+2)+0.5))) }

// draw draws the dots on the plane of a region, and lists those that are on it or not
// far beside.
func (m *swept) draw(region *index.Region, square float64) {
	east, north, middle := region.Axes()
	d := drawing{
		ex: three(east), ey: three(north), mid: three(middle), least: lowest,
		width: float32(region.Width + beyond*square), height: float32(region.Height + beyond*square),
	}
	m.dots = m.drawn.draw(&d, m.dots)
	n := len(m.dots)
	m.placed = slices.Grow(m.placed[:0], n+1)[:n+1]
	count := 0
	for i := range n {
		m.placed[count] = int32(i)
		count += int(m.drawn.seen[i/drawnAtOnce] >> (i % drawnAtOnce) & 1)
	}
	m.placed = m.placed[:count]
}

// faintest returns the V magnitude of a region's faintest star.
func (m *swept) faintest(region *index.Region) float32 {
	for _, s := range slices.Backward(m.spread) {
		if math.Abs(float64(s.x)) < region.Width && math.Abs(float64(s.y)) < region.Height {
			return m.dots[s.dot].V
		}
	}
	return float32(math.Inf(1))
}

// look takes the n brightest stars of a window, given by its middle and half-sides. It
// has no branch but the last: which stars are within cannot be foretold.
func (m *swept) look(cx, cy, wx, wy float32, n int) {
	m.stars, m.copied = 0, false
	for i := range m.spread {
		s := &m.spread[i]
		x, y := s.x-cx, s.y-cy
		k := m.stars & inWindow
		m.x[k], m.y[k], m.v[k], m.window[k] = x, y, s.v, s.dot
		m.stars += int(math.Float32bits(abs(x)-wx) & math.Float32bits(abs(y)-wy) >> 31) // both are negative
		if m.stars == n {
			return
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
	a, b = a&inWindow, b&inWindow
	ax, ay := m.x[a], m.y[a]
	dx, dy := m.x[b]-ax, m.y[b]-ay
	scale := perLength / (dx*dx + dy*dy)
	dx, dy = dx*scale, dy*scale
	t := turn{dx, dy, middleX - (ax*dx + ay*dy), middleY - (ay*dx - ax*dy)}
	hit := t.cells(&m.x, &m.y, &m.px, &m.py, &m.cells, m.stars, &s.filled)
	m.strike(s, hit, (m.v[a]+m.v[b])/2)
}

// wideStars gets ready for aroundWide.
func (m *swept) wideStars() {
	for i, dot := range m.window[:m.stars] {
		m.sky[i] = m.dots[dot]
	}
}

// aroundWide is around for a large window.
func (m *swept) aroundWide(s *shapes, a, b int) {
	pair := makeBase(m.sky[a&inWindow].Vec(), m.sky[b&inWindow].Vec())
	x, y := r3.Scale(1/(pair.length*tableCell), pair.along), r3.Scale(1/(pair.length*tableCell), pair.across)
	infinite := float32(math.Inf(1))
	d := drawing{
		ex: three(x), ey: three(y), mid: three(pair.mid),
		offX: tableHalf / tableCell, offY: tableHalf / tableCell, width: infinite, height: infinite, least: lowest,
	}
	var seen [windowRoom / drawnAtOnce]uint8
	n := (m.stars + drawnAtOnce - 1) &^ (drawnAtOnce - 1)
	d.draw(m.sky[:n], m.sx[:n], m.sy[:n], seen[:n/drawnAtOnce])
	on := uint64(0)
	for i, four := range seen[:n/drawnAtOnce] {
		on |= uint64(four) << (i * drawnAtOnce)
	}
	hit := (&turn{dx: 1}).cells(&m.sx, &m.sy, &m.px, &m.py, &m.cells, m.stars, &s.filled)
	m.strike(s, hit&on, (m.v[a&inWindow]+m.v[b&inWindow])/2)
}

// strike lists the spots that the stars of a window hit, of which hit has a bit for
// each that does, as seen from a pair of that mean brightness, 0.1 mag, and counts the
// postures that they are of.
func (m *swept) strike(s *shapes, hit uint64, mean int16) {
	list, n := m.struck, 0
	for ; hit != 0; hit &= hit - 1 {
		k := bits.TrailingZeros64(hit) & inWindow
		cell := m.cells[k] & (tableCells - 1)
		from, to := s.first[cell], s.first[cell+1]
		if n+int(to-from)+1 >= len(list) {
			list = append(list, make([]strike, len(list)+int(to-from)+16)...)
			m.struck = list
		}
		// Most cells have one spot or two: no loop for those.
		star := makeStrike(0, m.v[k]-mean, k)
		two, at := s.spots[from:from+2:from+2], list[n:n+2:n+2]
		at[0], at[1] = star|strike(two[0]), star|strike(two[1])
		if to-from > 2 {
			more := list[n+2:]
			for i, p := range s.spots[from+2 : to] {
				more[i] = star | strike(p)
			}
		}
		n += int(to - from)
	}
	m.strikes = n
	m.mark()
}

// mark counts the postures of the spots that were hit. It has no branch but the last.
func (m *swept) mark() {
	m.next()
	counts, stamp := m.tallies, m.stamp
	list := m.struck[:m.strikes]
	for _, h := range list {
		p := h.spot()
		t := &counts[p.posture()]
		old := max(t.seen, stamp|t.start)
		n := old + tallies[p.which()%(1<<mostLenses)]&(tally(h.unlike())-1)
		t.seen = n
		if now := n &^ old & enough; now != 0 {
			m.found = append(m.found, find{p.posture(), now})
		}
	}
}

// exact reports whether enough of the stars that hit spots of a posture are, for a
// lens, exactly where its points are, and as bright.
func (m *swept) exact(s *shapes, number uint16, lens int) bool {
	points := uint32(0)
	for _, h := range m.struck[:m.strikes] {
		p, k := h.spot(), h.star()&inWindow
		if p.posture() == number && p.which()>>lens&1 != 0 && h.unlike() == 0 && s.exactly(p, lens, m.px[k], m.py[k]) {
			points |= 1 << (p.which() >> mostLenses)
		}
	}
	return bits.OnesCount32(points) >= int(s.postures[number].needed[lens])
}
