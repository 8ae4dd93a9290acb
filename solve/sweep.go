package solve

import (
	"cmp"
	"context"
	"math"
	"slices"

	"pintle/index"
	"pintle/index/sphere"
)

// A sweep goes through all stars of every level, region after region, and holds
// pairs of them against pairs of the frame's points: where the other stars around
// the pair are then drawn is known, but for the lens. It finds frames of which
// the index has no pattern with all four stars in the list, and takes seconds
// where a look-up takes a millisecond. So it comes last, and only for frames
// with a moderate number of points: fewer tell too little, and of more some
// pattern is nearly always in the index. (These numbers: no source, chosen on
// made-up fields, see cmd/proof.)
const (
	fewestToSweep = 12
	mostToSweep   = 80
	// sweepPoints is the number of points that take part.
	sweepPoints = 24
	// Pairs of stars are some pairLength squares of their level apart. With
	// pointsForOnce points the longest are longer than the shortest by the root of
	// two, like the step from level to level, so that of all levels together every
	// length is looked at once; with fewer points there is a wider choice.
	pairLength    = 0.504
	pointsForOnce = 32
	// Of a pair of stars the brighter comes first, of a pair of points one that is
	// not fainter by more than pairOrder, mag.
	pairOrder = 0.8
	// pairUnlike and starUnlike are how far the brightness of the pair, mag, and
	// of another star, 0.1 mag, may be off.
	pairUnlike = 1.6
	starUnlike = 13
	// A window is a part of a region and beyond squares on each side. Pairs are
	// taken of its brightest stars, between fewestPaired and mostPaired, and a
	// third more are looked for: the more, the fewer regions the level has.
	beyond       = 0.35
	fewestPaired = 20
	mostPaired   = 30
	mostAround   = mostPaired * 4 / 3
	// The frame should have, of the level's stars, between these multiples of the
	// number of points.
	sweepFewest = 0.27
	sweepMost   = 3.7
	// sweepPromising and the logarithm of the number of pairs of points is what a
	// glance must give.
	sweepPromising = 0.8
	// Squares wider than wideSquare, radians, are no planes.
	wideSquare = 4 * float64(sphere.Degree)
	// narrowSquare is the narrowest of the embedded list, radians.
	narrowSquare = 0.5 * float64(sphere.Degree)
	// Where the narrowest level takes only stars brighter than richMag, V, the list
	// has twice as many: there a finer level is made from the list.
	richMag = 10.9
	// tractSize is the number of regions that a worker takes at once.
	tractSize = 64
)

// sweepLenses are the distortions that a sweep assumes when it knows none, and
// sweepBetween how far from one of them the true one may be.
var sweepLenses = []float64{0, -0.035, 0.035}

const sweepBetween = 0.0175

// sweepPass is a sweep.
var sweepPass = pass{sweep: true, slack: 0.003}

// sweeps reports whether a frame is one for a sweep.
func (r *run) sweeps() bool {
	return len(r.cloud.pts) >= fewestToSweep && len(r.cloud.pts) <= mostToSweep
}

// tract is a run of regions of a level, and what they are searched for.
type tract struct {
	lookup, level int
	square        float64 // of the level, on the plane that touches the sphere in its middle
	wide          bool    // the plane of a window is not that of each of its pairs
	paired        int     // of a window's stars
	from, to      int
	shapes        *shapes
	min, max      float64 // of the frame's diagonal, radians
	finer         *tract  // for where the sky is rich, or nil
}

// survey is what the workers of a sweep share.
type survey struct {
	planes      []*plane // one for each distortion
	tracts      []tract
	short, long float64 // of a pair of stars, squares
	promising   float64
}

// survey lays out a sweep, wide levels first: they have few stars.
func (r *run) survey(st stage, readers []*index.Reader, order []int) *survey {
	n := float64(len(order))
	choice := math.Pow(2*pointsForOnce/n, 0.25)
	s := &survey{short: pairLength / choice, long: pairLength * choice, promising: sweepPromising + math.Log(n*(n-1)/2)}
	lenses, parity, between, focal := sweepLenses, []bool{false, true}, sweepBetween, 0.0
	if l := st.lens; l != nil {
		lenses, parity, between, focal = []float64{l.K1}, []bool{l.Mirrored}, 0.001, l.F/l.Half
	}
	for _, k1 := range lenses {
		s.planes = append(s.planes, makePlane(r.cloud, k1))
	}
	// The frame's diagonal in squares, at the mean density.
	squares := func(share float64) float64 {
		return index.SquaresAcross(share * n)
	}
	fewest, most := squares(sweepFewest), squares(sweepMost)
	tables := make([]*shapes, len(diagonals))
	for i, reader := range slices.Backward(readers) {
		for level, regions := range slices.Backward(reader.Regions()) {
			square := float64(reader.Band.Square(level))
			paired := min(mostPaired, int(fewestPaired*math.Sqrt(square/narrowSquare)))
			for j, d := range diagonals {
				lo := max(d.lo, fewest*square, float64(st.min))
				hi := min(d.hi, most*square, float64(st.max))
				if lo >= hi {
					continue
				}
				if tables[j] == nil {
					f := focal
					if f == 0 {
						f = 1 / math.Tan(d.mid/2)
					}
					tables[j] = makeShapes(r.cloud, order, s.planes, parity, f, 2*s.short/most, 2*s.long/fewest, st.slack+d.slack, between)
				}
				t := tract{lookup: i, level: level, square: math.Tan(min(1.2, square)), wide: square > wideSquare, paired: paired, shapes: tables[j], min: lo, max: hi}
				if level == 0 && reader.Band.Number == 0 {
					finer := t
					finer.square, finer.min, finer.max = t.square/math.Sqrt2, max(float64(st.min), lo/math.Sqrt2), hi/math.Sqrt2
					t.finer = &finer
				}
				for t.from = 0; t.from < regions; t.from += tractSize {
					t.to = min(regions, t.from+tractSize)
					s.tracts = append(s.tracts, t)
				}
			}
		}
	}
	return s
}

// sweep goes through the stars of a stage's bands.
func (r *run) sweep(ctx context.Context, st stage, readers []*index.Reader) (*Solution, error) {
	order := r.cloud.ranking(sweepPoints)
	s := r.survey(st, readers, order)
	progress := func(float64) {}
	if r.solver.Sweeping != nil {
		progress = r.solver.Sweeping()
	}
	defer progress(1)
	return r.share(ctx, st, readers, len(order), len(s.tracts), func(w *worker, i int) (*Solution, error) {
		progress(float64(i) / float64(len(s.tracts)))
		return w.tract(s, &s.tracts[i])
	})
}

// swept is what a worker needs for a sweep.
type swept struct {
	dots   []index.Dot // around a region
	spread []flat      // of the dots, on the region's plane
	window []int       // dots of those in a window, bright ones first
	x, y   [mostAround]float64
	v      [mostAround]int16 // 0.1 mag
	hits   [mostAround + 1]strike
	seen   []tally // of each posture, with the stamp of the pair of stars
	stamp  tally
	found  []find
}

// find is a posture in which enough stars have a point, and for which lenses.
type find struct {
	posture uint16
	lenses  tally
}

// flat is a star on a plane.
type flat struct {
	x, y float64
	v    float32
	dot  int // of swept.dots
}

// strike is a star around a pair where the table has spots.
type strike struct {
	from, to int32 // of the spots
	star     int32
}

// stampStep steps the byte of a tally that is left for the stamp.
const stampStep tally = 1 << 24

// tract sweeps a tract.
func (w *worker) tract(s *survey, t *tract) (sol *Solution, err error) {
	m := &w.swept
	if len(m.seen) < len(t.shapes.postures) {
		m.seen = make([]tally, len(t.shapes.postures))
	}
	for k := t.from; k < t.to; k++ {
		var region index.Region
		if region, m.dots, err = w.lookups[t.lookup].session.Region(m.dots[:0], t.level, k, 1.05); err != nil {
			return nil, err
		}
		m.lay(&region, t.square)
		if sol := w.windows(s, t, &region, 2); sol != nil {
			return sol, nil
		}
		if t.finer == nil || m.faintest(&region) > richMag {
			continue
		}
		w.list(&region, t.finer.square)
		m.lay(&region, t.finer.square)
		if sol := w.windows(s, t.finer, &region, 3); sol != nil {
			return sol, nil
		}
	}
	return nil, nil
}

// lay puts the dots of a region and of what is beside it on its plane.
func (m *swept) lay(region *index.Region, square float64) {
	m.spread = m.spread[:0]
	for i := range m.dots {
		x, y, ok := region.Place(m.dots[i].Vec())
		if ok && math.Abs(x) < region.Width+beyond*square && math.Abs(y) < region.Height+beyond*square {
			m.spread = append(m.spread, flat{x, y, m.dots[i].V, i})
		}
	}
	slices.SortFunc(m.spread, func(a, b flat) int { return cmp.Compare(a.v, b.v) })
}

// faintest returns the V magnitude of a region's faintest star.
func (m *swept) faintest(region *index.Region) float32 {
	for _, s := range slices.Backward(m.spread) {
		if math.Abs(s.x) < region.Width && math.Abs(s.y) < region.Height {
			return s.v
		}
	}
	return float32(math.Inf(1))
}

// list replaces the dots of a level by all stars of the list.
func (w *worker) list(region *index.Region, square float64) {
	m, k := &w.swept, &w.check
	radius := math.Hypot(region.Width+beyond*square, region.Height+beyond*square)
	k.dots = k.list.ConeDots(k.dots[:0], sphere.SkyVec(region.Middle()), sphere.Angle(radius), math.Inf(1), k.epoch)
	m.dots = m.dots[:0]
	for _, d := range k.dots {
		m.dots = append(m.dots, index.Dot{X: float32(d.Vec.X), Y: float32(d.Vec.Y), Z: float32(d.Vec.Z), V: d.V})
	}
}

// windows cuts a region into n times n windows and holds their pairs of stars
// against the frame.
func (w *worker) windows(s *survey, t *tract, region *index.Region, n int) *Solution {
	wx, wy := region.Width/float64(n), region.Height/float64(n)
	for i := range n * n {
		w.swept.look(float64(2*(i/n)+1-n)*wx, float64(2*(i%n)+1-n)*wy, wx+beyond*t.square, wy+beyond*t.square, t.paired*4/3)
		if sol := w.pairsOf(s, t, wx, wy); sol != nil {
			return sol
		}
	}
	return nil
}

// look takes the n brightest stars of a window, given by its middle and half-sides.
func (m *swept) look(cx, cy, wx, wy float64, n int) {
	m.window = m.window[:0]
	for _, s := range m.spread {
		if x, y := s.x-cx, s.y-cy; math.Abs(x) < wx && math.Abs(y) < wy {
			i := len(m.window)
			m.x[i], m.y[i], m.v[i] = x, y, int16(10*s.v)
			m.window = append(m.window, s.dot)
			if len(m.window) == n {
				return
			}
		}
	}
}

// pairsOf holds the pairs of stars whose middle is not farther than wx and wy
// from that of the window against the frame.
func (w *worker) pairsOf(s *survey, t *tract, wx, wy float64) *Solution {
	m := &w.swept
	short2, long2 := s.short*s.short*t.square*t.square, s.long*s.long*t.square*t.square
	mid2, half2 := (long2+short2)/2, (long2-short2)/2
	for b := range min(len(m.window), t.paired) {
		bx, by := m.x[b], m.y[b]
		for a := range b { // a is the brighter one
			dx, dy := bx-m.x[a], by-m.y[a]
			// One branch for three questions: a bit is set when one is negative.
			if int64(math.Float64bits(half2-math.Abs(dx*dx+dy*dy-mid2))|
				math.Float64bits(2*wx-math.Abs(m.x[a]+bx))|
				math.Float64bits(2*wy-math.Abs(m.y[a]+by))) < 0 {
				continue
			}
			if t.wide {
				m.aroundWide(t.shapes, a, b)
			} else {
				m.around(t.shapes, a, b)
			}
			for _, found := range m.found {
				for lens := range s.planes {
					if !found.lenses.set(lens) {
						continue
					}
					if sol := w.compare(s, t, &t.shapes.postures[found.posture], lens, m.window[a], m.window[b]); sol != nil {
						return sol
					}
				}
			}
		}
	}
	return nil
}

// around lists in m.found the postures in which enough of the stars around a
// pair of stars of the window have a point.
func (m *swept) around(s *shapes, a, b int) {
	m.begin()
	ax, ay := m.x[a], m.y[a]
	dx, dy := m.x[b]-ax, m.y[b]-ay
	scale := 1 / (dx*dx + dy*dy)
	dx, dy = dx*scale, dy*scale
	n := 0
	for k := range len(m.window) {
		x, y := m.x[k]-ax, m.y[k]-ay
		cell := cellOf(x*dx+y*dy, y*dx-x*dy)
		from, to := s.first[cell], s.first[cell+1]
		m.hits[n] = strike{from, to, int32(k)}
		n += int(uint32(from-to) >> 31)
	}
	mean := (m.v[a] + m.v[b]) / 2
	for _, h := range m.hits[:n] {
		m.mark(s, s.spots[h.from:h.to], m.v[h.star]-mean)
	}
}

// aroundWide is around for a large window.
func (m *swept) aroundWide(s *shapes, a, b int) {
	m.begin()
	pair := makeBase(m.dots[m.window[a]].Vec(), m.dots[m.window[b]].Vec())
	for k, dot := range m.window {
		if x, y, ok := pair.place(m.dots[dot].Vec()); ok {
			cell := cellOf(x, y)
			m.mark(s, s.spots[s.first[cell]:s.first[cell+1]], m.v[k]-(m.v[a]+m.v[b])/2)
		}
	}
}

// begin forgets what has been seen.
func (m *swept) begin() {
	m.found = m.found[:0]
	if m.stamp += stampStep; m.stamp == 0 {
		clear(m.seen)
		m.stamp = stampStep
	}
}

// mark counts the postures of spots, for a star so much fainter than the mean of
// the pair. It has no branch but the last: which spots are alike in brightness
// cannot be foretold.
func (m *swept) mark(s *shapes, spots []spot, faint int16) {
	for _, p := range spots {
		off := uint32(int32(p.faint) - int32(faint) + starUnlike)
		unlike := (off | (2*starUnlike - off)) >> 31
		old := max(m.seen[p.posture], m.stamp|s.start[p.posture])
		n := old + tallies[p.lenses%(1<<mostLenses)]&(tally(unlike)-1)
		m.seen[p.posture] = n
		if now := n &^ old & enough; now != 0 {
			m.found = append(m.found, find{p.posture, now})
		}
	}
}

// compare tests a posture of two stars for a lens.
func (w *worker) compare(s *survey, t *tract, q *posture, lens, a, b int) *Solution {
	m := &w.swept
	w.plane = s.planes[lens]
	pair, f, ok := w.hold(q.a, q.b, &m.dots[a], &m.dots[b], pairUnlike, t.min, t.max)
	if !ok {
		return nil
	}
	w.dots = w.dots[:0]
	for _, dot := range m.window {
		if dot != a && dot != b {
			w.dots = append(w.dots, m.dots[dot])
		}
	}
	if w.glance(&pair, &[4]int{q.a, q.b, q.a, q.b}, f, q.mirrored) < s.promising {
		return nil
	}
	return w.weigh(&pair, q.mirrored, w.lookups[t.lookup].chances, w.run.tried.Add(1))
}
