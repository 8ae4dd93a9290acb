package axis

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/lsq"
	"pintle/index/sphere"
)

// attitudes is what the stars say of each frame by itself: its attitude, and
// the covariance of all attitudes together (rotation vectors in the camera's
// frame, radians; the shared lens ties the frames to each other).
type attitudes struct {
	camFromLocal []sphere.Rot
	cov          *mat.SymDense
	beliefs      beliefs      // of what else turns the frames; nil for the usual ones
	apart        *independent // filled once it is asked for; nil finds it anew each time
}

func (a *attitudes) believed() beliefs {
	if a.beliefs == nil {
		return anyMount
	}
	return a.beliefs
}

// only returns the attitudes of the frames listed.
func (a attitudes) only(frames []int) attitudes {
	r := attitudes{make([]sphere.Rot, len(frames)), mat.NewSymDense(3*len(frames), nil), a.beliefs, &independent{}}
	for i, f := range frames {
		r.camFromLocal[i] = a.camFromLocal[f]
		for j, g := range frames {
			for p := range 3 {
				for q := range 3 {
					if 3*i+p <= 3*j+q {
						r.cov.SetSym(3*i+p, 3*j+q, a.cov.At(3*f+p, 3*g+q))
					}
				}
			}
		}
	}
	return r
}

// glsFit is a mount fitted to attitudes.
type glsFit struct {
	m    *mount
	q    float64       // sum of squares, chi-square with free degrees of freedom
	free int           // 2n - 4 without an event
	cov  *mat.SymDense // of the mount's parameters
}

// fit fits the mount to the attitudes by least squares with their full
// covariance, to which tilt adds an independent turn of each frame (standard
// deviation per axis, radians). Near the answer this is the same as the fit to
// all the stars, at a thousandth of the cost; the tests of whether the frames
// fit one axis are made with it.
func (a attitudes) fit(m *mount, tilt float64) (glsFit, bool) {
	w, ok := a.weights(tilt)
	if !ok {
		return glsFit{}, false
	}
	n := len(a.camFromLocal)
	e := mat.NewVecDense(3*n, nil)
	a.misfit(m, e)
	q := mat.Inner(e, w, e)
	var k lsq.Normal
	for range 50 {
		normal, g := normalOf(a.design(m), w, e)
		if !k.Factorize(normal) {
			return glsFit{}, false
		}
		d := k.Solve(g)
		gain := 0.0
		for i := range d {
			gain += d[i] * g[i]
		}
		if !finite(gain) {
			return glsFit{}, false
		}
		// A step too long for the curvature is halved.
		next, nextQ := m, math.Inf(1)
		for range 12 {
			next = m.moved(d).(*mount)
			a.misfit(next, e)
			if nextQ = mat.Inner(e, w, e); nextQ <= q+enough {
				break
			}
			for i := range d {
				d[i] /= 2
			}
		}
		m, q = next, nextQ
		if gain < enough {
			break
		}
	}
	return glsFit{m: m, q: q, free: 3*n - m.params(), cov: k.Inverse()}, true
}

// weights returns the inverse of the attitudes' covariance with tilt added.
func (a attitudes) weights(tilt float64) (*mat.SymDense, bool) {
	n := a.cov.SymmetricDim()
	c := mat.NewSymDense(n, nil)
	c.CopySym(a.cov)
	for i := range n {
		c.SetSym(i, i, c.At(i, i)+tilt*tilt)
	}
	var k lsq.Normal
	if !k.Factorize(c) {
		return nil, false
	}
	return k.Inverse(), true
}

// design returns how the attitudes turn with the parameters of the mount.
func (a attitudes) design(m *mount) *mat.Dense {
	t := mat.NewDense(3*len(a.camFromLocal), m.params(), nil)
	for i := range a.camFromLocal {
		for _, c := range m.columns(i) {
			t.Set(3*i, c.param, c.turn.X)
			t.Set(3*i+1, c.param, c.turn.Y)
			t.Set(3*i+2, c.param, c.turn.Z)
		}
	}
	return t
}

// normalOf returns the normal equations of design t for misfits e with weights
// w.
func normalOf(t *mat.Dense, w *mat.SymDense, e *mat.VecDense) (*mat.SymDense, []float64) {
	var wt, full mat.Dense
	var g mat.VecDense
	wt.Mul(w, t)
	full.Mul(t.T(), &wt)
	g.MulVec(wt.T(), e)
	p := g.Len()
	normal := mat.NewSymDense(p, nil)
	for i := range p {
		for j := i; j < p; j++ {
			normal.SetSym(i, j, full.At(i, j))
		}
	}
	return normal, g.RawVector().Data
}

// misfit fills e with the turns from the model's attitudes to the observed
// ones.
func (a attitudes) misfit(m *mount, e *mat.VecDense) {
	for i, r := range a.camFromLocal {
		v := r.Mul(m.camFromLocal(i).Inv()).Vec()
		e.SetVec(3*i, v.X)
		e.SetVec(3*i+1, v.Y)
		e.SetVec(3*i+2, v.Z)
	}
}

// mountFit finds a mount for the attitudes from scratch.
func (a attitudes) mountFit(elevated r3.Vec, e event, tilt float64) (glsFit, bool) {
	if turn, _ := a.largestTurn(); turn < float64(leastTurn) {
		return glsFit{}, false
	}
	m, ok := firstMount(a.camFromLocal, elevated)
	if !ok {
		return glsFit{}, false
	}
	m.event = e
	g, ok := a.fit(m, tilt)
	if ok && r3.Dot(g.m.axis(), elevated) < 0 { // the fit crossed the limit between the two ends
		g, ok = a.fit(g.m.reversed(), tilt)
	}
	return g, ok
}

// largestTurn returns the largest rotation between two frames, whatever its
// axis, and its standard error.
func (a attitudes) largestTurn() (turn, sigma float64) {
	for i := range a.camFromLocal {
		for j := i + 1; j < len(a.camFromLocal); j++ {
			v := a.camFromLocal[j].Inv().Mul(a.camFromLocal[i])
			t := float64(v.Angle())
			if t <= turn {
				continue
			}
			turn = t
			// The error along the rotation: in the local frame, then in each camera's.
			u := v.Vec()
			if n := r3.Norm(u); n > 0 {
				u = r3.Scale(1/n, u)
			}
			ci, cj := a.camFromLocal[i].Apply(u), a.camFromLocal[j].Apply(u)
			sigma = math.Sqrt(math.Max(0, a.quad(i, i, ci, ci)+a.quad(j, j, cj, cj)-2*a.quad(i, j, ci, cj)))
		}
	}
	return turn, sigma
}

// flipped is true when two frames look at about the same distance from the pole and
// one stands upside down against the other, as on the two sides of a pier.
//
// Two frames fit an axis whatever happened between them, so they are doubted nearer to
// the pole: what would make them look so without a flip is a turn by half a circle
// about an axis that is further off the pole than where they look.
func (a attitudes) flipped(pole r3.Vec) bool {
	least := nearPole
	if len(a.camFromLocal) == 2 {
		least = nearPoleOfTwo
	}
	first, up := a.camFromLocal[0].Inv().Apply(unitZ), r3.Vec{}
	for i, r := range a.camFromLocal {
		look := r.Inv().Apply(unitZ)
		toPole := r.Apply(r3.Sub(pole, r3.Scale(r3.Dot(pole, look), look))) // in the camera's frame
		n := r3.Norm(toPole)
		if n < math.Sin(least) { // the axis' own error turns it as much
			return false
		}
		toPole = r3.Scale(1/n, toPole)
		if i == 0 {
			up = toPole
			continue
		}
		apart := math.Abs(math.Asin(r3.Dot(look, pole)) - math.Asin(r3.Dot(first, pole)))
		if r3.Dot(up, toPole) < -math.Cos(nearPole) && apart < nearPole {
			return true
		}
	}
	return false
}

// nearPole is how far, radians, an axis may be from the pole for flipped to be
// sure; of two frames 3 degrees (both common practice, no source).
const (
	nearPole      = 0.35
	nearPoleOfTwo = 0.05
)

// quad returns u' C v for the covariance block of frames i and j.
func (a attitudes) quad(i, j int, u, v r3.Vec) (s float64) {
	x, y := [3]float64{u.X, u.Y, u.Z}, [3]float64{v.X, v.Y, v.Z}
	for p := range 3 {
		for q := range 3 {
			s += x[p] * a.cov.At(3*i+p, 3*j+q) * y[q]
		}
	}
	return s
}
