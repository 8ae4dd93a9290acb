package solve

import (
	"cmp"
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index"
	"pintle/index/optics"
)

// worker tries patterns for one goroutine.
type worker struct {
	run     *run
	stage   stage
	lookups []lookup
	plane   *plane
	check   checker
	dots    []index.Dot
	drawn   drawn
	swept   swept
	tabler  *tabler
	factors *optics.Factors // of the guess of a wide frame, or nil
}

// newWorker returns a worker for patterns of n points.
func newWorker(r *run, st stage, readers []*index.Reader, n int) *worker {
	w := &worker{run: r, stage: st, plane: makePlane(r.cloud, st.k1)}
	if st.wide {
		w.tabler = r.tablers.take()
	}
	w.check = checker{cloud: r.cloud, list: st.library.List, deep: st.library == r.solver.Deep, epoch: r.opt.Epoch, prior: priors(r.cloud.w)}
	if st.lens != nil && !st.usual {
		w.check.known()
	}
	for _, reader := range readers {
		// Each band has the same share in the chances: frames of all sizes are as likely.
		chances := math.Log(float64(len(readers))) + math.Log(float64(reader.Manifest.Pairs)) + math.Log(float64(n*(n-1)/2))
		w.lookups = append(w.lookups, lookup{session: reader.Session(), band: reader.Band, chances: chances})
	}
	return w
}

// pattern tries what a band of the index has of one pattern of the frame. The first
// band counts it.
func (w *worker) pattern(ctx context.Context, s pattern, band int) (sol *Solution, err error) {
	c, l := w.run.cloud, &w.lookups[band]
	half := math.Hypot(c.w, c.h) / 2
	tried := w.run.tried.Load()
	if band == 0 {
		tried = w.run.tried.Add(1)
	}
	rank := float64(s.faintest + 1)
	// The diagonals at which the pattern is as wide as the band's, and the frame as
	// rich.
	from, to := l.band.Frames(rank*fewest, rank*most)
	lo := max(float64(l.band.Min)*2*half/s.size, float64(from), float64(w.stage.min))
	hi := min(float64(l.band.Max)*2*half/s.size, float64(to), float64(w.stage.max))
	for _, d := range diagonals {
		if lo > hi || d.hi < lo || d.lo > hi {
			continue
		}
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		eps := s.tolerance + d.slack
		f := 1 / math.Tan(d.mid/2)
		if w.stage.lens != nil {
			f = w.stage.lens.F / w.stage.lens.Half
		}
		var v [4]r3.Vec
		for j, k := range s.points {
			v[j] = w.plane.direction(k, f)
		}
		found, err := l.find(v, s.points, eps, func(p proposal) (bool, error) {
			var err error
			sol, err = w.try(l, p, tried, max(d.lo, lo), min(d.hi, hi), eps-d.slack)
			return sol != nil, err
		})
		if found || err != nil {
			return sol, err
		}
	}
	return nil, nil
}

// diagonals are the sizes of frame, radians, for which the sky is drawn in turn:
// the shape of a pattern toward the corner of a wide frame depends on it.
// slack is how much a shape can differ within the range.
var diagonals = [...]struct{ lo, mid, hi, slack float64 }{
	{0, 0.12, 0.25, 0.001},
	{0.25, 0.38, 0.52, 0.004},
	{0.52, 0.65, 0.77, 0.006},
	{0.77, 0.88, 0.98, 0.008},
	{0.98, 1.1, 1.35, 0.012},
}

// A level is of use to a pattern when it has, in the whole frame, between
// fewest and most times as many stars as there are points at least as bright
// as those of the pattern (no source, chosen on made-up fields, see cmd/proof).
const (
	fewest = 0.4
	most   = 4
)

// maxUnlike is the largest error of the brightness ratio of two stars, mag,
// that is put down to filters, sensors and saturation, and unlikeChance how dense
// it then is for chance, 1/mag (no source, chosen on made-up fields, see cmd/proof).
const (
	maxUnlike    = 3.0
	unlikeChance = 0.2
)

// try tests one proposal: cheap questions first.
func (w *worker) try(l *lookup, p proposal, tried int64, minDiagonal, maxDiagonal, eps float64) (*Solution, error) {
	a, err := l.session.Star(p.starA)
	if err != nil {
		return nil, err
	}
	b, err := l.session.Star(p.starB)
	if err != nil {
		return nil, err
	}
	if near := w.stage.lens; near != nil && near.Mirrored != p.mirrored {
		return nil, nil
	}
	pair, f, ok := w.hold(p.points[0], p.points[1], &a, &b, maxUnlike, minDiagonal, maxDiagonal)
	if !ok {
		return nil, nil
	}
	// With the focal length known, the shape is too.
	var v [4]r3.Vec
	for i, j := range p.points {
		v[i] = w.plane.direction(j, f)
	}
	if index.CodeInOrder(v, p.flip).Dist(p.code) > eps {
		return nil, nil
	}
	middle := r3.Scale(0.5, r3.Add(pair.va, pair.vb))
	if w.dots, err = l.session.Around(w.dots[:0], p.starA, middle, 2*math.Atan(1/f)); err != nil {
		return nil, err
	}
	if w.glance(&pair, &p.points, f, p.mirrored, [2]int{-1, -1}) < promising {
		return nil, nil
	}
	return w.weigh(&pair, p.mirrored, l.chances, tried), nil
}

// hold holds two points against two stars. f is the focal length of an ideal
// lens, in half-diagonals, that draws the stars there. ok is false when their
// brightness differs by more than unlike, mag, from what the catalogue says, or
// the frame's diagonal is not from minDiagonal to maxDiagonal.
func (w *worker) hold(i, j int, a, b *index.Dot, unlike, minDiagonal, maxDiagonal float64) (t twosome, f float64, ok bool) {
	za, zb := w.run.cloud.pts[i].mag-float64(a.V), w.run.cloud.pts[j].mag-float64(b.V)
	if !(math.Abs(za-zb) <= unlike) {
		return t, 0, false
	}
	t = twosome{[2]int{i, j}, a.Vec(), b.Vec(), (za + zb) / 2, za - zb}
	f, ok = focal(w.plane.at[i], w.plane.at[j], r3.Norm2(r3.Cross(t.va, t.vb)))
	diagonal := 2 * math.Atan(1/f)
	return t, f, ok && diagonal >= minDiagonal && diagonal <= maxDiagonal
}

// promising is what a glance must give for a proposal to be weighed: few
// proposals of chance do, and nearly all true ones (no source, chosen on made-up
// fields, see cmd/proof).
const promising = -2

// drawn is what a drawing of stars gives: places, and a bit for each star that counts.
type drawn struct {
	x, y []float32
	seen []uint8
}

// draw draws the stars. Some are put behind them meanwhile, to make whole fours.
func (o *drawn) draw(d *drawing, dots []index.Dot) []index.Dot {
	n := len(dots)
	for len(dots)%drawnAtOnce != 0 {
		dots = append(dots, index.Dot{}) // on no plane
	}
	whole := len(dots)
	o.x, o.y = slices.Grow(o.x[:0], whole)[:whole], slices.Grow(o.y[:0], whole)[:whole]
	o.seen = slices.Grow(o.seen[:0], whole/drawnAtOnce)[:whole/drawnAtOnce]
	d.draw(dots, o.x, o.y, o.seen)
	return dots[:n]
}

// glance looks for the stars in w.dots, which are around a pair, but for those at two
// places of the list, and returns the logarithm of the odds that they give, roughly:
// some are seen if the pair is true, and some places have a point of their brightness
// by chance. The points in but do not count. f is the focal length in half-diagonals.
func (w *worker) glance(t *twosome, but *[4]int, f float64, mirrored bool, skip [2]int) (odds float64) {
	const (
		visible = 0.4
		missed  = -0.51  // log(1 - visible)
		least   = 0.0005 // chance that is believed
		spread  = 1 / 3. // of chance over brightness, 1/mag (all: no source)
	)
	pl, c := w.plane, w.run.cloud
	view := makeView(t.va, t.vb, pl.direction(t.points[0], f), pl.direction(t.points[1], f), f, mirrored)
	a, b := pl.at[t.points[0]], pl.at[t.points[1]]
	mx, my, length := (a.X+b.X)/2, (a.Y+b.Y)/2, math.Hypot(a.X-b.X, a.Y-b.Y)
	sigma := math.Sqrt(max(c.pts[t.points[0]].variance, c.pts[t.points[1]].variance)) / (math.Hypot(c.w, c.h) / 2)
	w.dots = w.drawn.draw(view.drawing(pl.width, pl.height), w.dots)
	for i := range w.dots {
		if w.drawn.seen[i/drawnAtOnce]>>(i%drawnAtOnce)&1 == 0 || i == skip[0] || i == skip[1] {
			continue
		}
		x, y := float64(w.drawn.x[i]), float64(w.drawn.y[i])
		if len(pl.near[pl.cell(y)*pl.n+pl.cell(x)]) == 0 { // most often
			odds += missed
			continue
		}
		// What the errors of the pair's places do there, and what a lens does that
		// is not quite the one assumed.
		far2 := ((x-mx)*(x-mx) + (y-my)*(y-my)) / (length * length)
		tol := min(widestTolerance, 2.5*sigma*math.Sqrt(1.5+2*far2)+0.006*far2*length+0.001)
		j := pl.find(x, y, tol, but)
		if j < 0 {
			odds += missed
			continue
		}
		dm := c.pts[j].mag - float64(w.dots[i].V) - t.zero
		ratio := magLikelihood(dm, 1.5*magSpread*magSpread, spread) / max(least, pl.density*math.Pi*tol*tol)
		odds += math.Log(1 - visible + visible*ratio)
	}
	return odds
}

// twosome is a pair of stars, their points, and what their brightness says: the
// measured minus the catalogue magnitude, and how much it differs between the
// two.
type twosome struct {
	points       [2]int // of the cloud
	va, vb       r3.Vec
	zero, unlike float64
}

// A proposal whose odds come closer than nearly to what is asked for is weighed
// again from other pairs of the stars that it has found, no more than manyPairs
// (no source, chosen on made-up fields, see cmd/proof).
const (
	nearly    = 20
	manyPairs = 8
)

// weigh tests a pair with the stars of the whole frame, and returns a solution
// when it is certain. When the odds come close to what is asked for, it tests the
// widest pairs of the stars that were found, which predict the others better.
// chances is the logarithm of the number of pairs of stars and of points.
func (w *worker) weigh(t *twosome, mirrored bool, chances float64, tried int64) *Solution {
	odds, ps := w.start(t, mirrored)
	if w.stage.library == w.run.solver.Library && ps.lens.Diagonal() < usualDiagonal {
		chances += unusual
	}
	odds -= chances
	if odds > certain-nearly && odds < certain {
		for _, o := range w.widest(t) {
			if other, found := w.start(&o, mirrored); other-chances > odds {
				odds, ps = other-chances, found
			}
		}
	}
	if !(odds > math.Inf(-1)) {
		return nil
	}
	var sol *Solution
	if odds >= doubtful {
		if sol = refine(w.run.field, &w.check, &ps); sol != nil {
			sol.LogOdds, sol.Tried = odds, int(tried)
		}
	}
	if sol != nil && odds >= certain {
		return sol
	}
	w.run.contest.enter(makeContender(odds, &ps, w.run.cloud.w, w.run.cloud.h, sol))
	return nil
}

// circle is the area of the circle around a frame, in frames: pi/4 of the square of
// its diagonal, 1.64 for sides of 4 to 3 and 1.70 for 3 to 2.
const circle = 1.7

// start returns the odds of a pair, before the chances are taken off, and the
// pose that came of it.
func (w *worker) start(t *twosome, mirrored bool) (odds float64, ps pose) {
	c, k := w.run.cloud, &w.check
	ps, ok := w.pose(t, mirrored)
	if !ok {
		return math.Inf(-1), ps
	}
	diagonal := 2 * math.Atan(ps.lens.Half/ps.lens.F)
	whole := ps.camFromSky.Inv().Apply(ps.lens.Cam((c.w-1)/2, (c.h-1)/2).Vec())
	k.brightest(whole, diagonal/2*1.03, int(deepest*circle*float64(c.depth())))
	return w.follow(t, &ps), ps
}

// pose returns the pose that a pair gives.
func (w *worker) pose(t *twosome, mirrored bool) (ps pose, ok bool) {
	c := w.run.cloud
	ps = pose{lens: optics.Lens{
		CX: (c.w - 1) / 2, CY: (c.h - 1) / 2, Half: math.Hypot(c.w, c.h) / 2,
		K1: w.plane.k1, Mirrored: mirrored,
	}}
	if l := w.stage.lens; l != nil {
		ps.lens = *l
	}
	ok = ps.fromPair(t.va, t.vb, &c.pts[t.points[0]], &c.pts[t.points[1]], &w.check.prior)
	return ps, ok
}

// follow looks for the stars in the checker's dots from a pair on, and returns the
// odds that they and the pair give.
func (w *worker) follow(t *twosome, ps *pose) (odds float64) {
	c, k := w.run.cloud, &w.check
	pa, pb := &c.pts[t.points[0]], &c.pts[t.points[1]]
	k.expect(ps.sketch(nil), (pa.x+pb.x)/2, (pa.y+pb.y)/2, c.depth())
	odds = k.grow(ps, t.zero, t.points[0], t.points[1])
	return odds + math.Log(magLikelihood(t.unlike, 2*magSpread*magSpread, unlikeChance))
}

// widest lists the widest pairs of stars that were found from a pair, but for
// that pair.
func (w *worker) widest(t *twosome) []twosome {
	c := w.run.cloud
	found := append([]grown{
		{t.points[0], t.va, t.zero + t.unlike/2},
		{t.points[1], t.vb, t.zero - t.unlike/2},
	}, w.check.grown...)
	length := func(t twosome) float64 {
		a, b := &c.pts[t.points[0]], &c.pts[t.points[1]]
		return math.Hypot(a.x-b.x, a.y-b.y)
	}
	var out []twosome
	for i, a := range found {
		for j, b := range found[:i] {
			if i == 1 && j == 0 {
				continue
			}
			out = append(out, twosome{[2]int{a.point, b.point}, a.v, b.v, (a.zero + b.zero) / 2, a.zero - b.zero})
		}
	}
	slices.SortFunc(out, func(a, b twosome) int { return cmp.Compare(length(b), length(a)) })
	return out[:min(len(out), manyPairs)]
}
