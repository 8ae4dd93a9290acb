package solve

import (
	"cmp"
	"context"
	"math"
	"slices"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/optics"
	"pintle/index/sphere"
)

// A wide frame shows the brightest stars of a large part of the sky, so few that
// they can be gone through in memory, and its lens is not known: it may be
// rectilinear, a fisheye, or between, and distort besides. What a lens does to the
// shape of a small group of points is, to first order, one number: by how much it
// stretches radially more than around, at the edge of the picture; near the middle
// even that does not matter. So a wide frame is looked at through guesses of this
// number and of the diagonal. Under each, pairs of points and the points around them
// are held against pairs of stars and the stars around those. What agrees in
// several is grown outward, nearest stars first, by which the lens is learnt.
const (
	// Frames from narrowestWide to widestWide over the diagonal, radians, in steps
	// of wideStep.
	narrowestWide = 45 * math.Pi / 180
	widestWide    = 200 * math.Pi / 180
	wideStep      = 1.2
	// largestCircle is how many times larger the half-diagonal may be than the
	// circle in which the picture of a fisheye ends: on frames of 16 to 9 it is 2.04.
	largestCircle = 2.1
	// stretchStep is the step of the stretch at the corner, and stretchMore how far
	// distortion takes it beyond that of the kinds of lenses: 0.2 is 10 %.
	stretchStep = 0.09
	stretchMore = 0.2
	// guessErr is by how much the stretch of the best guess may be off, knownErr that
	// of a lens that another frame has taught.
	guessErr = 0.06
	knownErr = 0.004
	// pointsNear is how many points around a pair are looked at, and pairsNear of how
	// many nearest neighbours a pair is made. (But for the circle, no source;
	// TestGuessesCoverTheLenses and TestSolvesWideLenses hold them.)
	pointsNear = 10
	pairsNear  = 6
)

// guess is a lens that a wide frame is looked at through.
type guess struct {
	lens     optics.Lens // its focal length is the middle of the range
	lo, hi   float64     // range of the focal length over that of the lens
	sky      *brightSky
	mirrored []bool
	err      float64 // by how much the stretch at the corner may be off
}

// stretch returns by how much a law stretches radially more than around, as a
// fraction, half-angle t off axis, to first order.
func stretch(w optics.Law, t float64) float64 { return (0.5 - 2./3*float64(w)) * t * t }

// guesses lists the lenses to look through, by diagonals and in each from the
// rectilinear lens on.
func (r *run) guesses(points int) (out []guess) {
	if points < minStars {
		return nil
	}
	for d := narrowestWide; d < largestCircle*widestWide; d *= wideStep {
		// The picture of a fisheye may end in a circle within the frame.
		half := min(widestWide, d*math.Sqrt(wideStep)) / 2
		circle := half / (d * math.Sqrt(wideStep) / 2)
		var sky *brightSky
		for _, l := range lawsFor(half) {
			if sky == nil {
				sky = r.solver.bright.around(r, points, half)
			}
			l.CX, l.CY, l.Half = (r.cloud.w-1)/2, (r.cloud.h-1)/2, math.Hypot(r.cloud.w, r.cloud.h)/2
			l.F = l.Half * circle / l.Law.Radius(sphere.Angle(half))
			l.K1 /= circle * circle
			g := guess{lens: l, sky: sky, mirrored: []bool{false, true}, err: guessErr / (circle * circle)}
			// Half a step to each side, and some room.
			root := math.Sqrt(wideStep)
			radius := func(off float64) float64 { return l.Law.Radius(min(sphere.Angle(off), l.Law.Reach())) }
			g.lo, g.hi = min(1/root, radius(half)/radius(half*root))*0.96, max(root, radius(half)/radius(half/root))*1.04
			out = append(out, g)
		}
	}
	slices.SortStableFunc(out, func(a, b guess) int { return cmp.Compare(a.unlikely(), b.unlikely()) })
	return out
}

// unlikely orders guesses: rectilinear lenses first, then other kinds, much
// distortion last.
func (g *guess) unlikely() float64 {
	u := math.Round(20*math.Abs(g.lens.K1)) / 2
	if g.lens.Law != optics.Rectilinear {
		u += 1 + math.Round(3*math.Abs(float64(g.lens.Law-g.lens.Law.Kind())))
	}
	return u
}

// lawsFor lists lenses so that the stretches at the corner, half off axis, follow in
// steps of stretchStep: from the law where one has it, beyond by distortion.
func lawsFor(half float64) (out []optics.Lens) {
	const widestLaw = float64(optics.Equisolid)
	// The law that reaches the corner with some room.
	least := 0.0
	if k := 76 * math.Pi / 180 / half; k < 1 {
		least = 1 - k*k
	}
	if half > 66*math.Pi/180 && least < 0.5 { // no rectilinear lens is that wide
		least = 0.5
	}
	top, bottom := stretch(optics.Law(least), half), stretch(optics.Law(widestLaw), half)
	for s := top + stretchMore - stretchStep/2; s > bottom-stretchMore-stretchStep/2; s -= stretchStep {
		var l optics.Lens
		switch {
		case s > top:
			l.Law, l.K1 = optics.Law(least), (s-top)/2
		case s < bottom:
			l.Law, l.K1 = optics.Law(widestLaw), (s-bottom)/2
		default:
			l.Law = optics.Law(min(widestLaw, max(least, 1.5*(0.5-s/(half*half)))))
		}
		out = append(out, l)
	}
	return out
}

// wideStages lists the stages for wide frames.
func (r *run) wideStages(effort Effort, passes ...pass) (out []stage) {
	for _, p := range r.enough(passes) {
		out = append(out, stage{pass: p, library: r.solver.Library, bands: r.solver.Library.Bands(), effort: effort})
	}
	return out
}

// drawnWide reports whether the pictures of a lens are looked at as wide frames.
func drawnWide(l *optics.Lens) bool { return l.Law != optics.Rectilinear || l.Diagonal() > maxDiagonal }

// wideKnown lists the stages for the lens of another frame, or of another night.
func (r *run) wideKnown(l *optics.Lens, usual bool) (out []stage) {
	if !(l.F > 0.2*l.Half && l.Half > 0 && l.Law.Valid()) {
		return nil
	}
	for _, p := range []pass{{points: []int{30}, chance: 1e-2}, {points: []int{50}, chance: 0.1}} {
		p.wide = true
		out = append(out, stage{pass: p, library: r.solver.Library, bands: r.solver.Library.Bands(), lens: l, usual: usual, effort: Nearby})
	}
	return out
}

// hintedWide is the diagonal from which on a frame of stated focal length is looked
// at as a wide one first (no source).
const hintedWide = 60 * sphere.Degree

// wideHinted lists the stages for a stated focal length: d is what the diagonal
// would be with a rectilinear lens, which it need not be.
func (r *run) wideHinted(d sphere.Angle) []stage {
	out := r.wideStages(Nearby, widePasses[0])
	for i := range out {
		out[i].min, out[i].max = narrower(d, 1.15), narrower(d, 1/1.15)
	}
	return out
}

// narrower returns the diagonal with a focal length so many times longer.
func narrower(d sphere.Angle, times float64) sphere.Angle {
	return sphere.Angle(2 * math.Atan(math.Tan(float64(d)/2)/times))
}

// wide goes through the guesses.
func (r *run) wide(ctx context.Context, st stage) (*Solution, error) {
	if len(r.field.Stars) > len(r.cloud.pts) {
		all := r
		r = &run{solver: all.solver, field: all.field, cloud: makeBalanced(all.field, maxPoints), opt: all.opt, contest: all.contest, tablers: all.tablers}
		r.cloud.compare()
		defer func() { all.tried.Add(r.tried.Load()) }()
	}
	order := r.cloud.ranking(st.points[0])
	list, pairs := r.looks(st, len(order)), pointPairs(r.cloud, order)
	return r.share(ctx, st, nil, len(order), len(list), func(w *worker, i int) (*Solution, error) {
		return w.look(&list[i], order, pairs, len(list)), nil
	})
}

// looks lists the guesses of a stage.
func (r *run) looks(st stage, points int) []guess {
	if l := st.lens; l != nil {
		sky := r.solver.bright.around(r, points, float64(l.Diagonal())/2)
		return []guess{{lens: *l, lo: 0.98, hi: 1.02, sky: sky, mirrored: []bool{l.Mirrored}, err: knownErr}}
	}
	list := r.guesses(points)
	if st.max > 0 { // the focal length is stated
		half := math.Hypot(r.cloud.w, r.cloud.h) / 2
		lo, hi := half/math.Tan(float64(st.max)/2), half/math.Tan(float64(st.min)/2)
		list = slices.DeleteFunc(list, func(g guess) bool { return g.lens.F*g.hi < lo || g.lens.F*g.lo > hi })
	}
	return list
}

// look holds the points against the stars of the sky through one lens.
func (w *worker) look(g *guess, order []int, pairs []pointPair, guesses int) *Solution {
	k := &w.check
	k.prior = widePriors(&g.lens, w.run.cloud.w)
	if k.lensKnown {
		k.known()
	}
	k.slack = wideSlack * wideSlack * g.lens.Half * g.lens.Half
	w.tabler.make(w.run.cloud, order, pairs, g, w.stage.chance)
	w.factors = w.run.tablers.factors(g.lens.Law)
	t := &w.tabler.table
	chances := math.Log(float64(len(g.sky.pairs))) + math.Log(float64(len(order)*(len(order)-1)/2)) + math.Log(float64(guesses*len(g.mirrored)))
	for i := range g.sky.pairs {
		p := &g.sky.pairs[i]
		for _, n := range t.match(p) {
			if sol := w.weighWide(g, t, p, &t.postures[n], chances); sol != nil {
				return sol
			}
		}
	}
	return nil
}

// weighWide tests a posture of a pair of stars: first with the stars around the
// pair, then with those of the whole frame.
func (w *worker) weighWide(g *guess, t *table, p *starPair, q *tablePosture, chances float64) *Solution {
	c, k := w.run.cloud, &w.check
	pa, pb := &c.pts[q.a], &c.pts[q.b]
	a, b := &g.sky.stars[p.a], &g.sky.stars[p.b]
	za, zb := pa.mag-a.mag, pb.mag-b.mag
	if math.Abs(za-zb) > pairUnlikeWide {
		return nil
	}
	ps := pose{lens: g.lens}
	ps.lens.Mirrored = q.mirrored
	ps.lens.F *= q.angle / float64(p.angle)
	if !ps.hold(a.v, b.v, pa, pb, 1e-3) || !(ps.lens.F > g.lo*g.lens.F && ps.lens.F < g.hi*g.lens.F) {
		return nil
	}
	if w.glanceWide(g, p, q, &ps, (za+zb)/2) < promisingWide {
		return nil
	}
	if !ps.fromPair(a.v, b.v, pa, pb, &k.prior) {
		return nil
	}
	tried := w.run.tried.Add(1)
	n := max(12, len(c.pts))
	k.dots = w.run.solver.bright.inView(k.dots[:0], &ps, int(deepest*circle*float64(n)))
	k.expect(ps.sketch(w.factors), (pa.x+pb.x)/2, (pa.y+pb.y)/2, n)
	odds := k.grow(&ps, (za+zb)/2, q.a, q.b) - chances
	odds += math.Log(magLikelihood(za-zb, 2*magSpread*magSpread, unlikeChance))
	return w.judge(&ps, odds, tried)
}

// judge returns the solution of a proposal that is certain, and has one that is
// not take part in the contest. One that comes close may be short of odds because
// the lens is not quite one of the model; it is certain, too, when in the end far
// more stars are found than chance would bring.
func (w *worker) judge(ps *pose, odds float64, tried int64) *Solution {
	if !(odds > math.Inf(-1)) {
		return nil
	}
	var sol *Solution
	if odds >= certain-nearly {
		if sol = refine(w.run.field, &w.check, ps); sol != nil {
			weight := sol.weight(w.run.field, &w.check)
			if odds < certain && weight > overwhelming {
				odds = certain
			}
			sol.LogOdds, sol.Tried = odds, int(tried)
		}
	}
	if sol != nil && odds >= certain {
		return sol
	}
	if odds < doubtful {
		sol = nil
	}
	w.run.contest.enter(makeContender(odds, ps, w.run.cloud.w, w.run.cloud.h, sol))
	return nil
}

// overwhelming is the weight of a solution, in logarithms of odds, at which it
// stands by that alone: the chances, and some for what has been fitted (no source).
const overwhelming = 100

const (
	// promisingWide is what a glance must give, pairUnlikeWide how far the brightness
	// of a pair may be off, mag.
	promisingWide  = 2
	pairUnlikeWide = 2.0
	// wideSlack is the standard deviation of a star's place, in half-diagonals, of
	// which neither lens nor attitude tell: refraction low in the sky, and what
	// real lenses do that the model does not. (All: no source.)
	wideSlack = 6e-4
)

// widePriors are priors for wide frames. Distortion counts at the corner, or where
// the picture of a fisheye ends if that is nearer.
func widePriors(l *optics.Lens, w float64) vector {
	const horizon = math.Pi / 2
	edge := 1.0
	if l.Law.Reach() >= horizon {
		edge = min(1, l.F*l.Law.Radius(horizon)/l.Half)
	}
	e2 := edge * edge
	return vector{iRotX: 1, iRotY: 1, iRotZ: 1, iLogF: 1, iK1: 0.05 / e2, iK2: 0.02 / (e2 * e2), iCX: 0.015 * w, iCY: 0.015 * w}
}

// glanceWide returns the logarithm of the odds that the stars around a pair give,
// roughly, but for those of the pair.
func (w *worker) glanceWide(g *guess, p *starPair, q *tablePosture, ps *pose, zero float64) (odds float64) {
	const (
		visible = 0.4
		missed  = -0.51
		spread  = 1 / 3. // see glance
	)
	c := w.run.cloud
	pa, pb := &c.pts[q.a], &c.pts[q.b]
	mx, my, length := (pa.x+pb.x)/2, (pa.y+pb.y)/2, math.Hypot(pa.x-pb.x, pa.y-pb.y)
	sigma := math.Sqrt(max(pa.variance, pb.variance))
	bent := g.bent(mx, my, length)
	sk := ps.sketch(w.factors)
	for i := range p.around {
		s := &g.sky.stars[p.around[i].star]
		x, y, ok := sk.project(s.v)
		if !ok || x < 0 || y < 0 || x >= c.w-1 || y >= c.h-1 {
			continue
		}
		far := math.Sqrt((x-mx)*(x-mx)+(y-my)*(y-my)) / length
		tol := 2.5*sigma*math.Sqrt(1.5+2*far*far) + length*bent.at(far)
		best, d2 := -1, tol*tol
		c.near(x, y, tol, func(j int, o *point) {
			if e := (o.x-x)*(o.x-x) + (o.y-y)*(o.y-y); e < d2 && j != q.a && j != q.b {
				best, d2 = j, e
			}
		})
		if best < 0 {
			odds += missed
			continue
		}
		dm := c.pts[best].mag - s.mag - zero
		odds += math.Log(1 - visible + visible*magLikelihood(dm, 1.5*magSpread*magSpread, spread)/max(0.0005, c.density*math.Pi*tol*tol))
	}
	return odds
}

// table tells for pairs of points where the other points around them are, as the
// sky shows it if the guess is right: the first of the pair at (0, 0), the second
// at (1, 0).
type table struct {
	postures []tablePosture
	first    []int32 // of each cell, into spots
	spots    []wideSpot
	tallies  []wideTally // of each posture
	stamp    uint32
	found    []int32
}

// tablePosture is a pair of points.
type tablePosture struct {
	a, b     int // of the cloud
	mirrored bool
	angle    float64 // between them, radians
}

// wideTally is the pair of stars that was last held against a posture, and how many of
// the stars around it have a point, seen; how many must have one; and the range of the
// angle between the stars of the pair, radians.
type wideTally struct {
	seen, needed uint32
	lo, hi       float32
}

// wideSpot is a point beside a pair.
type wideSpot struct {
	posture int32
	faint   float32 // magnitudes fainter than the mean of the pair
}

const (
	wideHalf = 2.2 // the table covers so many lengths of a pair to each side; no source
	wideSide = 88
	wideCell = 2 * wideHalf / wideSide
)

// bent is how far a point may be off, in lengths of a pair, because the guess is
// not quite the lens.
type bent struct{ least, linear, square float64 }

// at returns it for a point so many lengths from the middle of the pair.
func (b *bent) at(far float64) float64 { return b.least + far*(b.linear+far*b.square) }

// bent returns it for a pair by its middle and length, px. Where the stretch is off
// at the corner, it is so by the square of the distance from the axis
// elsewhere, and so is the scale, half as much; both change within a pattern.
func (g *guess) bent(x, y, length float64) bent {
	const least = 0.004 // lengths of a pair; no source
	rho := math.Hypot(x-g.lens.CX, y-g.lens.CY) / g.lens.Half
	return bent{least, g.err * rho * rho, g.err * (rho + 0.02) * length / g.lens.Half}
}

// wideCellOf returns the cell of a place; those at the edge stay empty.
func wideCellOf(x, y float64) int {
	ix := min(max(int((x-0.5+wideHalf)/wideCell), 0), wideSide-1)
	iy := min(max(int((y+wideHalf)/wideCell), 0), wideSide-1)
	return ix*wideSide + iy
}

// pointPair is a pair of points, by their places in order, that a posture is made of,
// and the points around it, nearest first.
type pointPair struct {
	a, b   int
	beside []int
}

// pointPairs lists the pairs of the ordered points that are near neighbours, the
// brighter first, or either when they are alike.
func pointPairs(c *cloud, order []int) (out []pointPair) {
	near := nearest(c, order, pairsNear)
	for i, list := range near {
		for _, j := range list {
			if i > j && slices.Contains(near[j], i) {
				continue // seen from the other one
			}
			a, b := i, j
			if c.pts[order[a]].mag > c.pts[order[b]].mag {
				a, b = b, a
			}
			beside := around(c, order, a, b)
			out = append(out, pointPair{a, b, beside})
			if c.pts[order[b]].mag-c.pts[order[a]].mag <= pairOrder {
				out = append(out, pointPair{b, a, beside})
			}
		}
	}
	return out
}

// tabler makes tables, one after another in the same memory.
type tabler struct {
	table
	cloud  *cloud
	order  []int
	guess  *guess
	chance float64
	v      []r3.Vec // of each place in order, as the guess sees it
	all    []tabled
	next   []int32 // of each cell, into spots
}

// tablers keeps those that no worker has, for the next stage: memory that is new to a
// process is dear.
type tablers struct {
	mu    sync.Mutex
	spare []*tabler
	laws  map[optics.Law]*optics.Factors
}

// factors returns the table of a law, made once for a frame; none is needed for a
// rectilinear lens.
func (p *tablers) factors(w optics.Law) *optics.Factors {
	if w == optics.Rectilinear {
		return nil
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	f := p.laws[w]
	if f == nil {
		if p.laws == nil {
			p.laws = map[optics.Law]*optics.Factors{}
		}
		f = optics.MakeFactors(w)
		p.laws[w] = f
	}
	return f
}

func (p *tablers) take() *tabler {
	p.mu.Lock()
	defer p.mu.Unlock()
	n := len(p.spare)
	if n == 0 {
		return &tabler{}
	}
	m := p.spare[n-1]
	p.spare = p.spare[:n-1]
	return m
}

func (p *tablers) give(m *tabler) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.spare = append(p.spare, m)
}

// end gives back what the worker does not need any more.
func (w *worker) end() {
	if w.tabler != nil {
		w.run.tablers.give(w.tabler)
	}
}

// tabled is a spot and the cell that it is in.
type tabled struct {
	cell int32
	spot wideSpot
}

// make makes the table of pairs of the ordered points under a guess. chance is how
// likely it may bring a pair as many stars as are asked for.
func (m *tabler) make(c *cloud, order []int, pairs []pointPair, g *guess, chance float64) {
	m.cloud, m.order, m.guess, m.chance = c, order, g, chance
	m.v, m.all, m.postures, m.tallies, m.stamp = m.v[:0], m.all[:0], m.postures[:0], m.tallies[:0], 0
	for _, p := range order {
		m.v = append(m.v, g.lens.Cam(c.pts[p].x, c.pts[p].y).Vec())
	}
	for i := range pairs {
		m.pair(&pairs[i])
	}
	m.fill()
}

// pair adds the postures of a pair of points.
func (m *tabler) pair(pair *pointPair) {
	c, g := m.cloud, m.guess
	a, b := m.order[pair.a], m.order[pair.b]
	pa, pb := &c.pts[a], &c.pts[b]
	length := math.Hypot(pa.x-pb.x, pa.y-pb.y)
	angle := math.Acos(max(-1, min(1, r3.Dot(m.v[pair.a], m.v[pair.b]))))
	if length < c.w/60 || angle > 1.2 {
		return
	}
	base := makeBase(m.v[pair.a], m.v[pair.b])
	bent := g.bent((pa.x+pb.x)/2, (pa.y+pb.y)/2, length)
	lo, hi := g.angles(pa, pb, angle)
	for _, mirrored := range g.mirrored {
		from := len(m.all)
		spot := wideSpot{posture: int32(len(m.postures))}
		for _, k := range pair.beside {
			x, y, ok := base.place(m.v[k])
			if !ok {
				continue
			}
			if mirrored {
				y = -y
			}
			pq := &c.pts[m.order[k]]
			far2 := (x-0.5)*(x-0.5) + y*y
			sigma := math.Sqrt(max(pa.variance, pb.variance, pq.variance)) / length
			tol := 2.5*sigma*math.Sqrt(1.5+2*far2) + bent.at(math.Sqrt(far2))
			spot.faint = float32(pq.mag - (pa.mag+pb.mag)/2)
			eachWideCell(x, y, min(tol, 0.3), func(cell int) { m.all = append(m.all, tabled{int32(cell), spot}) })
		}
		m.postures = append(m.postures, tablePosture{a, b, mirrored, angle})
		m.tallies = append(m.tallies, wideTally{
			needed: neededWide(float64(len(m.all)-from)*wideCell*wideCell*crowdWide, m.chance),
			lo:     lo, hi: hi,
		})
	}
}

// angles returns the range of the angle between two points, radians, within that of the
// focal length. angle is that in the middle. Far off axis it hardly depends on the focal
// length, so that many pairs of stars are as wide with none of the range.
func (g *guess) angles(pa, pb *point, angle float64) (lo, hi float32) {
	const margin = 1.005 // more than what pose.hold leaves
	least, most := angle, angle
	ua, wa := g.lens.Straighten(pa.x, pa.y)
	ub, wb := g.lens.Straighten(pb.x, pb.y)
	for _, times := range [...]float64{g.lo, g.hi} {
		l := g.lens
		l.F *= times
		at := math.Acos(max(-1, min(1, r3.Dot(l.Straight(ua, wa).Vec(), l.Straight(ub, wb).Vec()))))
		least, most = min(least, at), max(most, at)
	}
	return float32(least / margin), float32(most * margin)
}

// fill lays out the spots by their cells.
func (m *tabler) fill() {
	m.first = slices.Grow(m.first[:0], wideSide*wideSide+1)[:wideSide*wideSide+1]
	clear(m.first)
	for i := range m.all {
		m.first[m.all[i].cell+1]++
	}
	for i := range m.first[1:] {
		m.first[i+1] += m.first[i]
	}
	m.next = append(m.next[:0], m.first...)
	m.spots = slices.Grow(m.spots[:0], len(m.all))[:len(m.all)]
	for i := range m.all {
		p := &m.all[i]
		m.spots[m.next[p.cell]] = p.spot
		m.next[p.cell]++
	}
}

// crowdWide is how many stars of a brightness that would do are around a pair of
// stars, in a square of its length (no source).
const crowdWide = 1.2

// neededWide returns how many of the stars around a pair must have a point for
// chance to do it so seldom, when it brings expected on average; two at least.
func neededWide(expected, chance float64) uint32 {
	n, term := 0, math.Exp(-expected)
	for more := 1 - term; n < 1 || more > chance; more -= term {
		n++
		term *= expected / float64(n)
	}
	return uint32(min(n+1, 12))
}

// around lists the places in order of the points around a pair, but for the pair.
func around(c *cloud, order []int, a, b int) []int {
	mx, my := (c.pts[order[a]].x+c.pts[order[b]].x)/2, (c.pts[order[a]].y+c.pts[order[b]].y)/2
	var list []int
	var d []float64
	for k, p := range order {
		if k == a || k == b {
			continue
		}
		e := (c.pts[p].x-mx)*(c.pts[p].x-mx) + (c.pts[p].y-my)*(c.pts[p].y-my)
		i := len(list)
		for i > 0 && d[i-1] > e {
			i--
		}
		if i >= pointsNear {
			continue
		}
		list = append(list, 0)
		d = append(d, 0)
		copy(list[i+1:], list[i:])
		copy(d[i+1:], d[i:])
		list[i], d[i] = k, e
		list, d = list[:min(len(list), pointsNear)], d[:min(len(d), pointsNear)]
	}
	return list
}

// eachWideCell calls f for the cells within tol of a place.
func eachWideCell(x, y, tol float64, f func(cell int)) {
	x, y, tol = (x-0.5+wideHalf)/wideCell, (y+wideHalf)/wideCell, tol/wideCell
	off := func(v float64, cell int) float64 { return max(0, float64(cell)-v, v-float64(cell+1)) }
	for ix := max(1, int(math.Floor(x-tol))); ix <= min(wideSide-2, int(math.Floor(x+tol))); ix++ {
		dx := off(x, ix)
		for iy := max(1, int(math.Floor(y-tol))); iy <= min(wideSide-2, int(math.Floor(y+tol))); iy++ {
			if dy := off(y, iy); dx*dx+dy*dy <= tol*tol {
				f(ix*wideSide + iy)
			}
		}
	}
}

// match lists the postures in which two or more of the stars around a pair have a
// point. It has no branch but the last: which spots are alike in brightness, and of
// pairs as wide, cannot be foretold.
func (t *table) match(p *starPair) []int32 {
	t.found = t.found[:0]
	t.stamp += 16
	stamp, tallies := t.stamp, t.tallies
	for i := range p.around {
		s := &p.around[i]
		spots := t.spots[t.first[s.cell]:t.first[s.cell+1]]
		for j := range spots {
			o := &spots[j]
			c := &tallies[o.posture]
			// A bit is set when one of them is negative.
			unlike := (math.Float32bits(p.angle-c.lo) | math.Float32bits(c.hi-p.angle) | math.Float32bits(alikeWide-abs(o.faint-s.faint))) >> 31
			old := max(c.seen, stamp)
			c.seen = old + 1 - unlike
			if c.seen != old && c.seen == stamp+c.needed {
				t.found = append(t.found, o.posture)
			}
		}
	}
	return t.found
}

// alikeWide is how far the brightness of a star beside a pair may be off, mag (no
// source).
const alikeWide = 1.5

// widePasses are the passes for wide frames: pairs are made of so many points.
var widePasses = []pass{
	{wide: true, points: []int{30}, chance: 1e-2},
	{wide: true, points: []int{50}, least: 40, chance: 1e-2},
}

// looseWide are the passes for what these do not find: of frames that end in a sweep,
// before it, and of those that are too crowded for one.
var (
	looseWide   = pass{wide: true, points: []int{32}, chance: 0.05}
	crowdedWide = pass{wide: true, points: []int{50}, chance: 0.05}
)

// beforeWide is the number of passes that are tried before wide frames are.
const beforeWide = 1
