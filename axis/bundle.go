package axis

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/lsq"
	"pintle/index/optics"
	"pintle/index/sphere"
)

// star is a matched star ready for the fit.
type star struct {
	local    r3.Vec  // observed direction
	x, y     float64 // pixel
	variance float64 // of x and of y, pixel^2, without the floor
	weight   float64 // 0 to 1, from the robust weighting
	q        float64 // squared residual over variance (two degrees of freedom)
	r2       float64 // squared residual, pixel^2
}

// bundle is all stars of all frames with the lens they share. It can be fitted
// under any model of the attitudes.
type bundle struct {
	frames [][]star
	lens   optics.Lens
	middle optics.Lens         // the priors' lens
	hold   [lensParams]float64 // standard deviations of the priors
	floor  []float64           // per frame: variance added to every star, pixel^2
	scale  []float64           // per frame: q is divided by this before it is weighted
	weigh  func(q float64) float64
	last   lsq.Normal // of the last step's normal equations
	at     model      // of which they were made
}

// setLens starts from the sighting whose focal length is the median one.
func (b *bundle) setLens(ss []Sighting, index []int) {
	by := append([]int(nil), index...)
	sort.SliceStable(by, func(i, j int) bool { return ss[by[i]].Lens.F < ss[by[j]].Lens.F })
	s := &ss[by[len(by)/2]]
	b.lens, b.middle = s.Lens, s.Lens
	b.hold = [lensParams]float64{priorF, priorK, priorK, priorCentre * float64(s.W), priorCentre * float64(s.W)}
	b.middle.K1, b.middle.K2 = 0, 0
	b.middle.CX, b.middle.CY = float64(s.W-1)/2, float64(s.H-1)/2
}

// block is what one frame adds to the normal equations: its own turn (three,
// camera frame) and the lens.
type block struct {
	n [8][8]float64 // upper triangle
	g [8]float64
}

// measure projects the stars of frame i, updates their residuals and weights,
// and returns the frame's normal equations.
func (b *bundle) measure(i int, camFromLocal sphere.Rot) (k block) {
	r0, r1, r2 := camFromLocal.Rows()
	var im optics.Image
	for j := range b.frames[i] {
		s := &b.frames[i][j]
		v := r3.Vec{X: r3.Dot(r0, s.local), Y: r3.Dot(r1, s.local), Z: r3.Dot(r2, s.local)}
		if !im.Project(&b.lens, v) {
			s.q, s.r2, s.weight = math.Inf(1), math.Inf(1), 0
			continue
		}
		ex, ey := s.x-im.X, s.y-im.Y
		iv := 1 / (s.variance + b.floor[i])
		s.r2 = ex*ex + ey*ey
		s.q = s.r2 * iv
		if b.weigh != nil {
			s.weight = b.weigh(s.q / b.scale[i])
		}
		if w := s.weight * iv; w > 0 {
			k.add(&im, ex, ey, w)
		}
	}
	return k
}

func (k *block) add(im *optics.Image, ex, ey, w float64) {
	for a := range 8 {
		wx, wy := w*im.DX[a], w*im.DY[a]
		k.g[a] += wx*ex + wy*ey
		row := &k.n[a]
		for c := a; c < 8; c++ {
			row[c] += wx*im.DX[c] + wy*im.DY[c]
		}
	}
}

// normal gathers the normal equations of a model: its parameters, then the
// lens.
func (b *bundle) normal(m model) (*mat.SymDense, []float64) {
	p := m.params()
	size := p + lensParams
	n := mat.NewSymDense(size, nil)
	g := make([]float64, size)
	add := func(i, j int, x float64) {
		if i > j {
			i, j = j, i
		}
		n.SetSym(i, j, n.At(i, j)+x)
	}
	for i := range b.frames {
		k := b.measure(i, m.camFromLocal(i))
		cols := m.columns(i)
		for a, c := range cols {
			t := c.turn
			g[c.param] += t.X*k.g[0] + t.Y*k.g[1] + t.Z*k.g[2]
			nt := k.turned(t)
			for _, d := range cols[a:] {
				add(c.param, d.param, r3.Dot(nt, d.turn))
			}
			for l := range lensParams {
				add(c.param, p+l, t.X*k.n[0][3+l]+t.Y*k.n[1][3+l]+t.Z*k.n[2][3+l])
			}
		}
		for l := range lensParams {
			g[p+l] += k.g[3+l]
			for o := l; o < lensParams; o++ {
				add(p+l, p+o, k.n[3+l][3+o])
			}
		}
	}
	for _, q := range append(m.priors(), b.lensPriors(p)...) {
		w := 1 / (q.sigma * q.sigma)
		add(q.param, q.param, w)
		g[q.param] += w * q.value
	}
	return n, g
}

// turned returns the 3 x 3 part of the block times t.
func (k *block) turned(t r3.Vec) r3.Vec {
	n := &k.n
	return r3.Vec{
		X: n[0][0]*t.X + n[0][1]*t.Y + n[0][2]*t.Z,
		Y: n[0][1]*t.X + n[1][1]*t.Y + n[1][2]*t.Z,
		Z: n[0][2]*t.X + n[1][2]*t.Y + n[2][2]*t.Z,
	}
}

func (b *bundle) lensPriors(p int) []prior {
	l, m, h := b.lens, b.middle, b.hold
	return []prior{
		{p, math.Log(m.F / l.F), h[0]}, {p + 1, m.K1 - l.K1, h[1]}, {p + 2, m.K2 - l.K2, h[2]},
		{p + 3, m.CX - l.CX, h[3]}, {p + 4, m.CY - l.CY, h[4]},
	}
}

// step makes one Gauss-Newton step of the model and the lens. gain is how much
// the sum of squares was to fall by; ok is false when the normal equations are
// singular.
func (b *bundle) step(m model) (next model, gain float64, ok bool) {
	n, g := b.normal(m)
	b.last, b.at = lsq.Normal{}, m
	if !b.last.Factorize(n) {
		return m, 0, false
	}
	d := b.last.Solve(g)
	for i := range d {
		gain += d[i] * g[i]
	}
	if !finite(d...) {
		return m, 0, false
	}
	p := m.params()
	b.lens = b.lens.Moved([lensParams]float64(d[p:]))
	return m.moved(d[:p]), gain, true
}

// enough is the fall of a sum of squares at which a fit is finished: that of a
// step of a hundredth of a standard error. The steps converge quadratically, so
// what is left then is far below it.
const enough = 1e-4

// settle makes steps until the sum of squares stops falling. The normal
// equations of the last one, in b.last, then hold the covariance of the model's
// parameters and the lens.
func (b *bundle) settle(m model, most int) (model, bool) {
	for range most {
		var gain float64
		var ok bool
		if m, gain, ok = b.step(m); !ok {
			return m, false
		}
		if gain < enough {
			break
		}
	}
	return m, true
}
