package axis

import (
	"math"
	"slices"

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

// Probabilities by chance below which frames are said not to fit one axis, and
// below which an explanation is better than scatter.
const (
	unlikely  = 1e-4
	plausible = 3e-3
)

// most frames for which explanations are tried one by one.
const mostFrames = 24

// theory is an explanation of why the frames do not fit one axis.
type theory struct {
	kind  Kind // OddFrame, DecSlip or MountMoved
	frame int  // in used: the odd one, or the first after the event
	g     glsFit
	score float64 // sum of squares, plus 4 for each parameter it costs
}

// chance returns the probability of a misfit as large as this one by chance.
func (g *glsFit) chance() float64 {
	if g.free < 1 {
		return 1
	}
	return distuv.ChiSquared{K: float64(g.free)}.Survival(g.q)
}

// better returns the probability that the misfit of g would shrink to that of
// h by chance if all frames scattered alike (F test). h's misfit counts for at
// least the jitter it was fitted with.
func (g *glsFit) better(h glsFit) float64 {
	d := float64(g.free - h.free)
	return distuv.F{D1: d, D2: float64(h.free)}.Survival((g.q - h.q) / d / h.left())
}

// left returns the mean square of the misfit, at least 1.
func (g *glsFit) left() float64 { return math.Max(g.q/float64(g.free), 1) }

// investigate looks into frames that turn about no common axis by more than
// ordinary jitter: it leaves out a frame, or lets the declination slip or the
// mount move, when that explains everything and nothing else does, and warns in
// any case. With three frames there is nothing to tell explanations apart, only
// a warning.
func (f *fit) investigate(ok bool) {
	least := len(f.used) - len(f.used)/3 // no more than a third is left out
	for len(f.used) >= 3 {
		if ok && f.first.chance() > unlikely {
			return
		}
		a := f.own.only(f.used)
		jitter := math.Max(float64(jitterAngle), jitterPixels/f.bundle.lens.F)
		null, okNull := a.mountFit(f.elevated(), event{}, jitter)
		if okNull && null.chance() > unlikely {
			return
		}
		if len(f.used) > mostFrames || len(f.used) <= least || !f.explain(a, null, okNull, jitter) {
			if okNull {
				f.warn(Warning{Kind: Disagree, Frames: f.sightingsOf(f.used), Angle: sphere.Angle(a.tiltFor(null))})
				f.suspect(a, null, jitter)
			}
			return
		}
		if f.event.kind != nothing {
			return
		}
		ok = f.fitAll()
	}
}

// explain tries the theories and acts on the one that stands out.
func (f *fit) explain(a attitudes, null glsFit, okNull bool, jitter float64) bool {
	if len(f.used) < 4 {
		return false
	}
	ts := f.theories(a, null, okNull, jitter)
	if len(ts) == 0 {
		return false
	}
	slices.SortFunc(ts, func(x, y theory) int {
		if x.score < y.score {
			return -1
		}
		return 1
	})
	best := ts[0]
	if !okNull && (best.kind != OddFrame || best.g.chance() < plausible) ||
		okNull && null.better(best.g)*float64(len(ts)) > plausible {
		return false
	}
	for _, t := range ts[1:] {
		if t.score < best.score+12*best.g.left() && !sameFrame(best, t, len(f.used)) {
			return false
		}
	}
	w := Warning{Kind: best.kind}
	switch best.kind {
	case OddFrame:
		w.Frames = f.sightingsOf(f.used[best.frame : best.frame+1])
		w.Angle = best.g.strayed(a, best.frame)
		f.used = slices.Delete(slices.Clone(f.used), best.frame, best.frame+1)
	case DecSlip:
		w.Frames = f.sightingsOf(f.used[best.frame-1 : best.frame+1])
		w.Angle = sphere.Angle(math.Abs(best.g.m.event.v[0]))
		f.event = event{kind: slipped, frame: best.frame}
	case MountMoved:
		w.Frames = f.sightingsOf(f.used[best.frame-1 : best.frame+1])
		w.Angle = sphere.Angle(math.Hypot(best.g.m.event.v[0], best.g.m.event.v[1]))
		f.event = event{kind: moved, frame: best.frame}
	}
	f.warn(w)
	return true
}

// theories fits every explanation that leaves something to check it by.
func (f *fit) theories(a attitudes, null glsFit, okNull bool, jitter float64) (ts []theory) {
	n := len(f.used)
	try := func(kind Kind, frame int, params int, g glsFit, ok bool) {
		if ok && g.free > 0 {
			ts = append(ts, theory{kind, frame, g, g.q + 4*float64(params)})
		}
	}
	for i := range n {
		others := make([]int, 0, n-1)
		for k := range n {
			if k != i {
				others = append(others, k)
			}
		}
		g, ok := a.only(others).mountFit(f.elevated(), event{}, jitter)
		try(OddFrame, i, 2, g, ok)
	}
	if !okNull {
		return ts
	}
	for k := 1; k < n; k++ {
		m := *null.m
		m.event = event{kind: slipped, frame: k}
		g, ok := a.fit(&m, jitter)
		try(DecSlip, k, 1, g, ok)
		if k > 1 && k < n-1 {
			m.event.kind = moved
			g, ok = a.fit(&m, jitter)
			try(MountMoved, k, 2, g, ok)
		}
	}
	return ts
}

// sameFrame is true when both theories set the same single frame apart, so that
// the axis comes out the same.
func sameFrame(x, y theory, n int) bool {
	alone := func(t theory) int {
		switch {
		case t.kind == OddFrame:
			return t.frame
		case t.kind == DecSlip && t.frame == 1:
			return 0
		case t.kind == DecSlip && t.frame == n-1:
			return n - 1
		}
		return -1
	}
	return alone(x) >= 0 && alone(x) == alone(y)
}

// strayed returns how far the attitude of the frame left out lies from any the
// mount could reach by turning.
func (g *glsFit) strayed(a attitudes, frame int) sphere.Angle {
	m := g.m
	own := m.camFromMount.Inv().Mul(a.camFromLocal[frame]).Mul(m.mountFromLocal.Inv())
	// The turn about z that comes nearest takes the twist out of own.
	x, y, _ := own.Rows()
	twist := math.Atan2(y.X-x.Y, x.X+y.Y)
	return own.Mul(sphere.Turn(unitZ, sphere.Angle(-twist))).Angle()
}

// sightingsOf returns the indices, as given to Fit, of frames in the bundle.
func (f *fit) sightingsOf(frames []int) []int {
	s := make([]int, len(frames))
	for i, k := range frames {
		s[i] = f.index[k]
	}
	return s
}
