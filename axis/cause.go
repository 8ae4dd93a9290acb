package axis

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"pintle/index/sphere"
)

// Ordinary jitter between frames - wind, seeing, gears - that is no news: the
// larger of these (common practice, no source). It widens the errors all the
// same.
const (
	jitterAngle  = 1.5 * sphere.Arcsecond
	jitterPixels = 0.1
)

// Probabilities: by chance, below which frames are said not to fit one axis; of a
// cause after the frames were seen, above which it is named.
const (
	unlikely = 1e-4
	certain  = 0.95 // that something happened
	known    = 0.5  // that it was this
)

// linear is the scatter up to which all causes are judged about one fit; above,
// each is fitted by itself.
const linear = float64(3 * sphere.Arcsecond)

// most frames for which causes are tried one by one.
const mostFrames = 24

// cause is something that may have happened between frames besides scatter and
// sag. The zero value is nothing.
type cause struct {
	kind  Kind // with odds below 1: OddFrame or that of an event
	frame int  // in used: the odd one, or the first after the event
	event event
	turn  [][]float64 // how all frames turn with it, each in its camera's frame
	odds  float64     // before any frame is seen, against nothing
}

// happens is false for nothing.
func (c *cause) happens() bool { return c.odds < 1 }

// sizes returns the standard deviations that are believed of the cause's turns, each
// half as likely as the one before, and how likely the first is.
func (c *cause) sizes() (sizes []float64, first float64) {
	switch {
	case !c.happens():
		return []float64{1}, 1
	case c.slow():
		sizes = causeSizes[:slowSizes]
	case c.kind == Flops:
		sizes = causeSizes[:flopSizes]
	default:
		sizes = causeSizes[:]
	}
	return sizes, 0.5 / (1 - math.Pow(0.5, float64(len(sizes))))
}

// causeSizes are from 2 arcsec to 36 degrees, each four times the one before; what
// comes on slowly has the first few, up to 8 arcmin, a mirror with play one more.
var causeSizes = func() (s [9]float64) {
	for i := range s {
		s[i] = float64(2*sphere.Arcsecond) * math.Pow(4, float64(i))
	}
	return s
}()

const (
	slowSizes = 5
	flopSizes = 6
)

// Odds of the causes in one measurement, at whichever frame (common practice, no
// source: a frame shaken, a slip, ground that gives and a camera that bends in thirty
// each, though by little; the others are rarer).
const (
	oddsOdd   = 0.03
	oddsSlip  = 0.03
	oddsSinks = 0.03
	oddsMoved = 0.003
	oddsLoose = 0.003
	oddsBends = 0.03
	oddsFlops = 0.006 // where frames lie on both sides of the meridian
)

// noticed is by how much likelier than believed counts what comes on slowly: where it is
// asked what happened, always, and in the estimate and its error, as far as the frames
// speak for it. What only large scatter could pass for is to be said, and a stated error
// is not to be small because of odds that are hardly known; frames of mounts to which
// nothing happens seldom speak for it. Chosen on simulated nights, as large as leaves
// claims about mounts that scatter by 2 arcsec and less at none in 500.
const noticed = 4

// slow is true for what comes on evenly from the first frame to the last.
func (c *cause) slow() bool { return c.kind == Sinks || c.kind == Bends }

// heard is the logarithm of how likely a view is where it is asked what happened.
func (v *view) heard() float64 {
	if v.cause.slow() {
		return v.log + math.Log(noticed)
	}
	return v.log
}

// heeded returns the logarithms of how much likelier than by their odds views count where
// the axis is estimated: what comes on slowly by as much as the frames are likelier with it
// than without, noticed at most.
func heeded(vs []view) []float64 {
	more := make([]float64, len(vs))
	for i := range vs {
		c := &vs[i].cause
		if !c.slow() {
			continue
		}
		more[i] = math.Log(noticed)
		if without := &vs[0]; !without.cause.happens() {
			speak := vs[i].log - math.Log(c.odds) - without.log
			more[i] = math.Max(0, math.Min(more[i], speak))
		}
	}
	return more
}

// apart returns the same for the stated error. What sinks and what bends is told apart by
// how unevenly time and turn went, that is by arcseconds of which each may be another
// frame's scatter; so the more it is one of the two, the less counts the ratio of their
// evidence, down to its square root.
func apart(vs []view, more []float64) []float64 {
	out := slices.Clone(more)
	top, all := math.Inf(-1), 0.0
	for i := range vs {
		top = math.Max(top, vs[i].log+more[i])
	}
	var two []int
	var weight [2]float64
	for i := range vs {
		w := math.Exp(vs[i].log + more[i] - top)
		all += w
		if vs[i].cause.slow() {
			weight[len(two)] = w
			two = append(two, i)
		}
	}
	sum := weight[0] + weight[1]
	if len(two) < 2 || !(sum > 0) {
		return out
	}
	power := 1 - sum/all/2
	a, b := math.Pow(weight[0]/sum, power), math.Pow(weight[1]/sum, power)
	for k, share := range [2]float64{a / (a + b), b / (a + b)} {
		out[two[k]] = top - vs[two[k]].log + math.Log(sum*share)
	}
	return out
}

// causes lists what may have happened to n frames, nothing first. left is the share
// of the time from the first frame to the last that is left at each.
func causes(n int, left []float64) (out []cause) {
	out = []cause{{odds: 1}}
	if n < 3 || n > mostFrames {
		return out
	}
	for i := range n {
		out = append(out, cause{kind: OddFrame, frame: i, odds: oddsOdd / float64(n)})
	}
	add := func(k Kind, e event, odds float64) {
		out = append(out, cause{kind: k, frame: e.frame, event: e, odds: odds})
	}
	for k := 1; k < n; k++ {
		add(DecSlip, event{kind: slipped, frame: k}, oddsSlip/float64(n-1))
		if k > 1 && k < n-1 {
			add(MountMoved, event{kind: moved, frame: k}, oddsMoved/float64(n-3))
			add(CameraShifted, event{kind: shifted, frame: k}, oddsLoose/float64(n-3))
		}
	}
	add(Bends, event{kind: bending}, oddsBends)
	if left != nil {
		add(Sinks, event{kind: sinking, left: left}, oddsSinks)
	}
	return out
}

// turns fills in how frames turn with the cause, the mount being m.
func (c cause) turns(a attitudes, m *mount) cause {
	if c.event.kind != nothing {
		with := *m
		if m.event.kind != c.event.kind {
			with.event = c.event
		}
		t := a.design(&with)
		for p := with.eventParam(); p < with.params(); p++ {
			col := make([]float64, 3*len(a.camFromLocal))
			for i := range col {
				col[i] = t.At(i, p)
			}
			c.turn = append(c.turn, col)
		}
	} else if c.happens() {
		for _, u := range []r3.Vec{unitX, unitY} {
			col := make([]float64, 3*len(a.camFromLocal))
			v := m.camFromMount.Apply(u)
			copy(col[3*c.frame:], []float64{v.X, v.Y, v.Z})
			c.turn = append(c.turn, col)
		}
	}
	return c
}

// explain finds what the frames used say of the axis under every cause, leaves out
// a frame or takes an event for granted when that is as good as certain, and says
// so. It returns false when the frames fit no axis.
func (f *fit) explain() bool {
	least := len(f.used) - len(f.used)/3 // no more than a third is left out
	for {
		ok := f.fitAll()
		vs := f.views(ok)
		if len(vs) == 0 {
			return false
		}
		c, something, own := likeliest(vs, len(f.used))
		size := 0.0
		if c.happens() && own > known && something > certain && len(f.used) > 3 {
			size = f.size(c, ok)
		}
		named := size > f.jitter()
		leave := named && own > certain && c.kind == OddFrame && len(f.used) > least
		if named {
			if c.kind == OddFrame && !leave {
				own = math.Min(own, certain-0.01) // too many left out: only said
			}
			f.name(c, size, own)
		}
		if leave {
			f.used = slices.Delete(slices.Clone(f.used), c.frame, c.frame+1)
			continue
		}
		if !ok {
			return false
		}
		if f.sky, ok = merge(vs); !ok {
			return false
		}
		f.scatter = vs[0].scatter
		if named && c.event.kind != nothing {
			f.event = c.event
			f.scatter = f.sky.scatter // what is left beside it
		} else if !named && f.disagree() {
			f.warn(Warning{Kind: Disagree, Frames: f.sightingsOf(f.used), Angle: sphere.Angle(f.scatter)})
		}
		return true
	}
}

// jitter is the scatter of the frames that is no news.
func (f *fit) jitter() float64 {
	return math.Max(float64(jitterAngle), jitterPixels/f.bundle.lens.F)
}

// disagree is true when the frames do not turn about one axis within ordinary
// jitter.
func (f *fit) disagree() bool {
	if len(f.used) < 3 || f.first.chance() > unlikely {
		return false
	}
	g, ok := f.own.only(f.used).mountFit(f.elevated(), event{}, f.jitter())
	return ok && g.chance() <= unlikely
}

// chance returns the probability of a misfit as large as this one by chance.
func (g *glsFit) chance() float64 {
	if g.free < 1 {
		return 1
	}
	return distuv.ChiSquared{K: float64(g.free)}.Survival(g.q)
}

// views returns what the frames used say under each cause; ok says whether they fit
// an axis at all. All causes are judged about the one fit when they turn frames by
// little; each about its own fit otherwise.
func (f *fit) views(ok bool) []view {
	a := f.own.only(f.used)
	list := append(causes(len(f.used), f.timeLeft()), a.flops()...)
	if ok {
		near := slices.Clone(list)
		for i := range near {
			near[i] = near[i].turns(a, f.first.m)
		}
		vs := a.views(&f.first, near)
		if len(vs) == 0 || vs[0].scatter < linear {
			return vs
		}
	}
	var vs []view
	for _, c := range list {
		if g, ok := f.fitWith(a, c, ok); ok {
			vs = append(vs, a.views(&g, []cause{c.turns(a, g.m)})...)
		}
	}
	return vs
}

// fitWith fits a mount to which a cause has happened.
func (f *fit) fitWith(a attitudes, c cause, null bool) (g glsFit, ok bool) {
	switch {
	case c.event.kind != nothing && !null:
		return g, false
	case c.event.kind != nothing:
		m := *f.first.m
		m.event = c.event
		return a.fit(&m, f.jitter())
	case !c.happens():
		return f.first, null
	}
	others := slices.Delete(slices.Clone(f.used), c.frame, c.frame+1)
	if g, ok = f.own.only(others).mountFit(f.elevated(), event{}, f.jitter()); !ok {
		return g, false
	}
	m := *g.m
	m.turn = slices.Insert(slices.Clone(m.turn), c.frame, 0)
	m.turn[c.frame], _ = m.nearest(a.camFromLocal[c.frame])
	g.m = &m
	return g, true
}

// nearest returns the turn about the axis that brings the camera nearest to an
// attitude, and how far from it that leaves it.
func (m *mount) nearest(camFromLocal sphere.Rot) (turn float64, off sphere.Angle) {
	own := m.camFromMount.Inv().Mul(camFromLocal).Mul(m.mountFromLocal.Inv())
	x, y, _ := own.Rows()
	twist := math.Atan2(y.X-x.Y, x.X+y.Y)
	return -twist, own.Mul(sphere.Turn(unitZ, sphere.Angle(-twist))).Angle()
}

// timeLeft returns the share of the time between the first and the last frame used
// that is left at each; nil when they were taken at once.
func (f *fit) timeLeft() []float64 {
	n := len(f.used)
	time := func(k int) float64 {
		return f.sightings[f.index[f.used[k]]].Place.Time().Sub(f.sightings[f.index[f.used[0]]].Place.Time()).Seconds()
	}
	if !(time(n-1) > 0) {
		return nil
	}
	left := make([]float64, n)
	for k := range left {
		left[k] = 1 - time(k)/time(n-1)
	}
	return left
}

// flops returns the cause of a mirror with play, which tips over where the part of
// gravity along the declination axis changes its sign: at the meridian, above the pole
// or below it. There must be two frames on each side.
func (a attitudes) flops() []cause {
	n := len(a.camFromLocal)
	if n > mostFrames {
		return nil
	}
	east := func(i int) bool { return a.camFromLocal[i].Inv().Apply(unitZ).X > 0 }
	other, count := make([]bool, n), 0
	for i := range other {
		if other[i] = east(i) != east(n-1); other[i] {
			count++
		}
	}
	if count < 2 || n-count < 2 {
		return nil
	}
	return []cause{{kind: Flops, event: event{kind: flopping, other: other}, odds: oddsFlops}}
}

// likeliest returns the cause with the best evidence, the probability that something
// happened, and that it was this or what gives the same axis.
func likeliest(vs []view, n int) (c cause, something, own float64) {
	best := vs[0]
	for _, v := range vs {
		if v.heard() > best.heard() {
			best = v
		}
	}
	all := 0.0
	for _, v := range vs {
		w := math.Exp(v.heard() - best.heard())
		all += w
		x, y := &v.cause, &best.cause
		if x.happens() {
			something += w
		}
		if x.happens() == y.happens() && x.kind == y.kind && x.frame == y.frame || sameFrame(x, y, n) {
			own += w
		}
	}
	return best.cause, something / all, own / all
}

// sameFrame is true when both causes set the same single frame apart.
func sameFrame(x, y *cause, n int) bool {
	alone := func(c *cause) int {
		switch {
		case !c.happens():
		case c.kind == OddFrame:
			return c.frame
		case c.kind == DecSlip && c.frame == 1:
			return 0
		case c.kind == DecSlip && c.frame == n-1:
			return n - 1
		}
		return -1
	}
	return alone(x) >= 0 && alone(x) == alone(y)
}

// size returns by how much the cause has turned frames at most, radians.
func (f *fit) size(c cause, null bool) float64 {
	a := f.own.only(f.used)
	g, ok := f.fitWith(a, c, null)
	if !ok {
		return 0
	}
	if c.kind == OddFrame {
		_, off := g.m.nearest(a.camFromLocal[c.frame])
		return float64(off)
	}
	s := math.Hypot(g.m.event.v[0], g.m.event.v[1])
	if c.kind == Bends {
		s *= math.Abs(wrap(g.m.turn[len(g.m.turn)-1] - g.m.turn[0]))
	}
	return s
}

// name warns of a cause.
func (f *fit) name(c cause, size, chance float64) {
	w := Warning{Kind: c.kind, Angle: sphere.Angle(size), Chance: chance}
	switch c.kind {
	case OddFrame:
		w.Frames = f.sightingsOf(f.used[c.frame : c.frame+1])
	case DecSlip, MountMoved, CameraShifted:
		w.Frames = f.sightingsOf(f.used[c.frame-1 : c.frame+1])
	}
	f.warn(w)
}

// sightingsOf returns the indices, as given to Fit, of frames in the bundle.
func (f *fit) sightingsOf(frames []int) []int {
	s := make([]int, len(frames))
	for i, k := range frames {
		s[i] = f.index[k]
	}
	return s
}
