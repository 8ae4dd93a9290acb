package solve

import (
	"context"
	"math"
	"math/bits"
	"slices"

	"pintle/index"
	"pintle/index/sphere"
	"pintle/index/stars"
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
	// Pairs of stars are some pairLength squares of their level apart, on levels of
	// squares wider than longSquare, radians, longPair, and from pairStep times shorter
	// to as many times longer: by the root of two in all, like the step from level to
	// level, so that of all levels together every length is looked at once; on the
	// narrowest, on which alone narrow frames have stars enough, from the shortest of
	// the ones to the longest of the others. When the
	// lens is known few levels suit: then the choice is as wide as the fourth root of
	// lensPoints over the points makes it.
	pairLength = 0.56
	longPair   = 0.62
	longSquare = 1.2 * float64(sphere.Degree)
	pairStep   = 1.19
	lensPoints = 64
	// Of a pair of stars the brighter comes first, of a pair of points one that is
	// not fainter by more than pairOrder, mag.
	pairOrder = 0.8
	// pairUnlike and starUnlike are how far the brightness of the pair, mag, and
	// of another star, 0.1 mag, may be off.
	pairUnlike = 1.6
	starUnlike = 13
	// A window is a part of a region and beyond squares on each side. Pairs are
	// taken of its brightest stars, see choice, mostPaired at most, and a third more
	// are looked for: the more, the fewer regions the level has.
	beyond     = 0.35
	mostPaired = 30
	mostAround = mostPaired * 4 / 3
	// finerPaired are paired wherever a finer level is made than the narrowest.
	finerPaired = 20
	// The frame should have, of the level's stars, between these multiples of the
	// number of points.
	sweepFewest = 0.4
	sweepMost   = 2.6
	// sweepPromising and the logarithm of the number of pairs of points is what a
	// glance must give, and hope what the odds of the level's stars must be then, as
	// a logarithm.
	sweepPromising = -1
	hope           = 5
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
// sweepBetween how far from one of them the true one may be: half a step. They
// reach to 5 % at the corner.
var sweepLenses = []float64{0, -0.035, 0.035}

const sweepBetween = 0.0175

// sweepPass is a sweep.
var sweepPass = pass{sweep: true, slack: 0.003}

// sweeps reports whether a frame is one for a sweep.
func (r *run) sweeps() bool {
	return len(r.cloud.pts) >= fewestToSweep && len(r.cloud.pts) <= mostToSweep
}

// choice is what takes part in a sweep for frames of so many points and more: points
// of the frame, and of a window's stars those that are paired, on levels of squares as
// narrow as narrowSquare, and on the narrowest level itself. The more points, the more
// of their true pairs have their like in the sky, so that fewer stars do. (No source,
// chosen on made-up fields, see DEVELOPERS.md.)
type choice struct{ from, points, paired, narrowest int }

var choices = []choice{
	{0, 22, 15, 15},
	{20, 22, 13, 17},
	{33, 20, 12, 16},
}

// choose returns the choice for a frame of n points.
func choose(n int) (c choice) {
	for _, next := range choices {
		if next.from <= n {
			c = next
		}
	}
	return c
}

// tract is a run of regions of a level, and what they are searched for.
type tract struct {
	lookup, level int
	square        float64 // of the level, on the plane that touches the sphere in its middle
	short, long   float64 // of a pair of stars, squares
	wide          bool    // the plane of a window is not that of each of its pairs
	paired        int     // of a window's stars
	regions       []int   // nil for those from one number to before another
	from, to      int
	shapes        *shapes
	min, max      float64 // of the frame's diagonal, radians
	least, most   float32 // of the squared focal length, half-diagonals, with a margin
	finer         *tract  // for where the sky is rich, or nil
}

// survey is what the workers of a sweep share.
type survey struct {
	planes    []*plane // one for each distortion
	tracts    []tract
	promising float64

	// What the tables are made of.
	order        []int
	choice       choice
	fewest, most float64 // the frame's diagonal, squares at the mean density
	parity       []bool
	step         float64                 // of the lengths of pairs, see pairStep
	between      float64                 // how far the true distortion is from those of the planes
	focal        float64                 // half-diagonals, 0 when unknown
	tables       [len(diagonals)]*shapes // nil until one is asked for
}

// survey lays out a sweep, wide levels first: they have few stars.
func (r *run) survey(ctx context.Context, st stage, readers []*index.Reader, order []int) *survey {
	s := r.newSurvey(st, order)
	for i, reader := range slices.Backward(readers) {
		for level, regions := range slices.Backward(reader.Regions()) {
			for j, d := range diagonals {
				square := float64(reader.Band.Square(level))
				t := tract{lookup: i, level: level, square: square, short: pairLength / s.step, long: pairLength * s.step}
				t.min, t.max = max(d.lo, s.fewest*square, float64(st.min)), min(d.hi, s.most*square, float64(st.max))
				if t.min < t.max {
					t.shapes = s.table(ctx, r.cloud, j, st.slack)
					t.suit(reader.Band, s.choice, st)
					s.tracts = append(s.tracts, t.parts(reader, regions, st)...)
				}
			}
		}
	}
	if d := r.likely(); d > 0 { // those that suit the hint come first
		unlikely := func(t tract) int {
			if t.min <= d && d <= t.max {
				return 0
			}
			return 1
		}
		slices.SortStableFunc(s.tracts, func(a, b tract) int { return unlikely(a) - unlikely(b) })
	}
	return s
}

// newSurvey returns a survey without tracts.
func (r *run) newSurvey(st stage, order []int) *survey {
	n := float64(len(order))
	s := &survey{
		step: pairStep, promising: sweepPromising + math.Log(n*(n-1)/2),
		order: order, choice: choose(len(r.cloud.pts)), fewest: index.SquaresAcross(sweepFewest * n), most: index.SquaresAcross(sweepMost * n),
		parity: []bool{false, true}, between: sweepBetween,
	}
	lenses := sweepLenses
	if l := st.lens; l != nil {
		s.step = math.Pow(lensPoints/n, 0.25)
		lenses, s.parity, s.between, s.focal = []float64{l.K1}, []bool{l.Mirrored}, 0.001, l.F/l.Half
	}
	for _, k1 := range lenses {
		s.planes = append(s.planes, makePlane(r.cloud, k1))
	}
	return s
}

// table returns the table for a range of diagonals.
func (s *survey) table(ctx context.Context, c *cloud, number int, slack float64) *shapes {
	if s.tables[number] == nil {
		d, f := diagonals[number], s.focal
		if f == 0 {
			f = 1 / math.Tan(d.mid/2)
		}
		s.tables[number] = makeShapes(ctx, c, s.order, s.planes, s.parity, f, 2*pairLength/s.step/s.most, 2*longPair*s.step/s.fewest, slack+d.slack, s.between)
	}
	return s.tables[number]
}

// suit completes a tract; its square is still an angle.
func (t *tract) suit(b index.Band, c choice, st stage) {
	narrowest := t.level == 0 && b.Number == 0
	t.paired = min(mostPaired, int(float64(c.paired)*math.Sqrt(t.square/narrowSquare)))
	if narrowest {
		t.paired = c.narrowest
	}
	few := t.square > longSquare
	if few {
		t.short *= longPair / pairLength
	}
	if few || narrowest {
		t.long *= longPair / pairLength
	}
	t.square, t.wide = math.Tan(min(1.2, t.square)), t.square > wideSquare
	t.focal()
	if narrowest {
		finer := *t
		finer.square, finer.min, finer.max = t.square/math.Sqrt2, max(float64(st.min), t.min/math.Sqrt2), t.max/math.Sqrt2
		finer.paired = finerPaired
		finer.focal()
		t.finer = &finer
	}
}

// parts cuts a tract of a whole level, of so many regions, or of those in the place
// of a stage.
func (t tract) parts(reader *index.Reader, regions int, st stage) (out []tract) {
	if st.place != nil {
		t.regions = reader.RegionsNear(t.level, st.place.Vec(), min(math.Pi/2, t.max/2+float64(st.within)))
		regions = len(t.regions)
	}
	for t.from = 0; t.from < regions; t.from += tractSize {
		t.to = min(regions, t.from+tractSize)
		out = append(out, t)
	}
	return out
}

// focal bounds the focal length, roughly: on the plane of a region lengths are not
// quite those on that of the frame.
func (t *tract) focal() {
	t.least, t.most = 0, math.MaxFloat32
	if !t.wide {
		const margin = 1.1 // no source
		wide, narrow := math.Tan(t.max/2), math.Tan(t.min/2)
		t.least, t.most = float32(1/(wide*wide)/margin), float32(1/(narrow*narrow)*margin)
	}
}

// sweep goes through the stars of a stage's bands.
func (r *run) sweep(ctx context.Context, st stage, readers []*index.Reader) (*Solution, error) {
	order := r.cloud.ranking(choose(len(r.cloud.pts)).points)
	if st.place == nil { // patterns are behind, and tables to come
		readers[0].Forget()
	}
	s := r.survey(ctx, st, readers, order)
	progress := func(float64) {}
	if r.solver.Sweeping != nil && st.place == nil {
		progress = r.solver.Sweeping()
	}
	defer progress(1)
	return r.share(ctx, st, readers, len(order), len(s.tracts), func(w *worker, i int) (*Solution, error) {
		progress(float64(i) / float64(len(s.tracts)))
		return w.tract(ctx, s, &s.tracts[i])
	})
}

// tract sweeps a tract.
func (w *worker) tract(ctx context.Context, s *survey, t *tract) (sol *Solution, err error) {
	m := &w.swept
	m.begin(t.shapes)
	for k := t.from; k < t.to; k++ {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		number := k
		if t.regions != nil {
			number = t.regions[k]
		}
		var region index.Region
		if region, m.dots, err = w.lookups[t.lookup].session.Region(m.dots[:0], t.level, number, 1.05); err != nil {
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
	wx, wy := float32(region.Width)/float32(n), float32(region.Height)/float32(n)
	more := beyond * float32(t.square)
	for i := range n * n {
		w.swept.look(float32(2*(i/n)+1-n)*wx, float32(2*(i%n)+1-n)*wy, wx+more, wy+more, t.paired*4/3)
		if sol := w.pairsOf(s, t, wx, wy); sol != nil {
			return sol
		}
	}
	return nil
}

// pairsOf holds the pairs of stars whose middle is not farther than wx and wy
// from that of the window against the frame.
func (w *worker) pairsOf(s *survey, t *tract, wx, wy float32) *Solution {
	m := &w.swept
	short, long := float32(t.short*t.square), float32(t.long*t.square)
	limits := pairLimits{(long*long + short*short) / 2, (long*long - short*short) / 2, 2 * wx, 2 * wy}
	n := min(m.stars, t.paired, len(m.near))
	limits.pairs(&m.x, &m.y, n, &m.near)
	if t.wide {
		m.wideStars()
	}
	m.pairs, m.hits = m.pairs[:0], m.hits[:0]
	for b := range n {
		for others := m.near[b&31]; others != 0; others &= others - 1 {
			m.hit(t.shapes, t.wide, bits.TrailingZeros32(others), b) // the brighter one first
		}
	}
	m.strike(t.shapes)
	from := 0
	for _, p := range m.pairs {
		struck := m.struck[from:p.struck]
		from = p.struck
		m.mark(struck)
		for _, found := range m.found {
			if sol := w.found(s, t, found, struck, p.a, p.b); sol != nil {
				return sol
			}
		}
	}
	return nil
}

func abs(x float32) float32 { return math.Float32frombits(math.Float32bits(x) &^ (1 << 31)) }

// found tests what has been found for a pair of stars of the window, from which spots
// were struck, for each lens: cheap questions first.
func (w *worker) found(s *survey, t *tract, f find, struck []strike, a, b int) *Solution {
	m, q := &w.swept, &t.shapes.postures[f.posture]
	if off := q.fainter - (m.bright(b) - m.bright(a)); off < -10*pairUnlike-1 || off > 10*pairUnlike+1 {
		return nil
	}
	dx, dy := m.x[b]-m.x[a], m.y[b]-m.y[a]
	length2 := dx*dx + dy*dy
	for lens := range s.planes {
		if !f.lenses.set(lens) || q.length2[lens] < t.least*length2 || q.length2[lens] > t.most*length2 {
			continue
		}
		if !m.exact(t.shapes, struck, t.wide, a, b, f.posture, lens) {
			continue
		}
		if sol := w.compare(s, t, q, lens, a, b); sol != nil {
			return sol
		}
	}
	return nil
}

// compare tests a posture of two stars of the window for a lens.
func (w *worker) compare(s *survey, t *tract, q *posture, lens, a, b int) *Solution {
	m := &w.swept
	w.plane = s.planes[lens]
	pair, f, ok := w.hold(q.a, q.b, &m.dots[m.window[a]], &m.dots[m.window[b]], pairUnlike, t.min, t.max)
	if !ok {
		return nil
	}
	if !m.copied { // all finds of a window have the same stars around them
		w.dots, m.copied = w.dots[:0], true
		for _, dot := range m.window[:m.stars] {
			w.dots = append(w.dots, m.dots[dot])
		}
	}
	if w.glance(&pair, &[4]int{q.a, q.b, q.a, q.b}, f, q.mirrored, [2]int{a, b}) < s.promising || !w.hopeful(&pair, q.mirrored) {
		return nil
	}
	return w.weigh(&pair, q.mirrored, w.lookups[t.lookup].chances, w.run.tried.Add(1))
}

// hopeful reports whether the stars of the level on and around the region, which are
// at hand, give a pair odds that are worth the search for all stars of its frame.
func (w *worker) hopeful(t *twosome, mirrored bool) bool {
	k, m := &w.check, &w.swept
	ps, ok := w.pose(t, mirrored)
	if !ok {
		return false
	}
	k.dots = k.dots[:0]
	for i := range m.spread {
		dot := &m.dots[m.spread[i].dot]
		k.dots = append(k.dots, stars.Dot{Vec: dot.Vec(), V: dot.V})
	}
	return w.follow(t, &ps) > hope
}
