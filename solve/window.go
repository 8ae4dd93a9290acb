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
	v      [windowRoom]uint32    // in the lower half 0.1 mag, in the upper the star's number
	sky    [windowRoom]index.Dot // for a large window
	sx, sy [windowRoom]float32   // of these, as seen from a pair, in cells of the table
	near   [32]uint32            // of each star, a bit for each before it that it makes a pair with

	// What the window's stars hit as seen from its pairs, all of it before any of it is
	// counted: so the processor need not wait for one place in memory after the other.
	pairs  []struckPair
	hits   []strike // with cells
	struck []strike // with spots

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

// struckPair is a pair of stars of the window, the brighter first, and where what is hit
// from it ends: cells in swept.hits, then spots in swept.struck.
type struckPair struct{ a, b, hits, struck int }

// flat is a star on a plane.
type flat struct {
	x, y float32
	dot  int32 // of swept.dots
	v    int16 // 0.1 mag
}

// strike is a spot that a star around a pair hits, or a cell with spots, in the lower
// half, how much fainter the star is than the mean of the pair, 0.1 mag, and in the
// highest quarter which star of the window it is.
type strike uint64

func (h strike) cell() uint32 { return uint32(h) }
func (h strike) spot() spot   { return spot(h) }
func (h strike) star() int    { return int(h >> 48) }

// with returns the strike with a spot of the cell that was hit.
func (h strike) with(p spot) strike { return h&^math.MaxUint32 | strike(p) }

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
		m.x[k], m.y[k], m.v[k], m.window[k] = x, y, uint32(k)<<16|uint32(uint16(s.v)), s.dot
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

// bright returns the V magnitude of a star of the window, 0.1 mag.
func (m *swept) bright(star int) int16 { return int16(m.v[star&inWindow]) }

// seen returns what takes the stars of the window to cells of the table as seen from a
// pair.
func (m *swept) seen(a, b int) turn {
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
	return turn{dx, dy, middleX - (ax*dx + ay*dy), middleY - (ay*dx - ax*dy)}
}

// wideStars gets ready for seenWide.
func (m *swept) wideStars() {
	for i, dot := range m.window[:m.stars] {
		m.sky[i] = m.dots[dot]
	}
}

// seenWide draws the stars of a large window in cells of the table, as seen from a pair.
func (m *swept) seenWide(a, b int) {
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
	for i := range m.stars {
		if seen[i/drawnAtOnce]>>(i%drawnAtOnce)&1 == 0 {
			m.sx[i] = -1 // in no cell
		}
	}
}

// asIs leaves places where they are.
var asIs = turn{dx: 1}

// hit lists the cells with spots that the stars of the window hit as seen from a pair.
func (m *swept) hit(s *shapes, wide bool, a, b int) {
	n := len(m.hits)
	m.hits = slices.Grow(m.hits, windowRoom)[:n+windowRoom]
	out, mean := (*[windowRoom]strike)(m.hits[n:]), (m.bright(a)+m.bright(b))/2
	if wide {
		m.seenWide(a, b)
		n += asIs.hits(&m.sx, &m.sy, &m.v, mean, m.stars, &s.filled, out)
	} else {
		t := m.seen(a, b)
		n += t.hits(&m.x, &m.y, &m.v, mean, m.stars, &s.filled, out)
	}
	m.hits = m.hits[:n]
	m.pairs = append(m.pairs, struckPair{a: a, b: b, hits: n})
}

// strike lists the spots of the cells that were hit, of those as bright as the star.
func (m *swept) strike(s *shapes) {
	from, n := 0, 0
	for i := range m.pairs {
		p := &m.pairs[i]
		if most := n + s.crowded*(p.hits-from) + spotsAtOnce; most > len(m.struck) {
			m.struck = append(m.struck, make([]strike, most)...)
		}
		n += s.strike(m.hits, from, p.hits, m.struck[n:])
		p.struck, from = n, p.hits
	}
}

// mark lists in m.found the postures of which enough spots were struck. It has no branch
// but the last.
func (m *swept) mark(struck []strike) {
	m.next()
	counts, stamp := m.tallies, m.stamp
	for _, h := range struck {
		p := h.spot()
		t := &counts[p.posture()]
		old := max(t.seen, stamp|t.start)
		n := old + tallies[p.which()%(1<<mostLenses)]
		t.seen = n
		if now := n &^ old & enough; now != 0 {
			m.found = append(m.found, find{p.posture(), now})
		}
	}
}

// places returns where the stars of the window are as seen from a pair, in cells of the
// table.
func (m *swept) places(wide bool, a, b int) (t turn, x, y *[windowRoom]float32) {
	if wide {
		m.seenWide(a, b)
		return asIs, &m.sx, &m.sy
	}
	return m.seen(a, b), &m.x, &m.y
}

// exact reports whether enough of the spots of a posture that were struck from a pair
// are, for a lens, exactly where its points are.
func (m *swept) exact(s *shapes, struck []strike, wide bool, a, b int, number uint16, lens int) bool {
	t, x, y := m.places(wide, a, b)
	points := uint32(0)
	for _, h := range struck {
		p, k := h.spot(), h.star()&inWindow
		if p.posture() != number || p.which()>>lens&1 == 0 {
			continue
		}
		if px, py := t.place(x[k], y[k]); s.exactly(p, lens, px, py) {
			points |= 1 << (p.which() >> mostLenses)
		}
	}
	return bits.OnesCount32(points) >= int(s.postures[number].needed[lens])
}
