package axis

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// belief is what is known of a mount: its pose, the other numbers' means, and a
// square root of the covariance (covariance = root . root') of the errors of all
// that are carried from frame to frame. The root's condition is the square root
// of the covariance's, which spans 14 powers of ten: turns of any size are told
// from arcseconds.
type belief struct {
	pose
	turned r3.Vec  // camFromLocal as a rotation vector, from which it is made
	mean   numbers // those of the pose and of steps are 0
	root   [nKnown][nKnown]float64
}

// settle takes the mean's turns into the pose and rounds it to what is stored.
func (b *belief) settle() {
	b.turned = b.camFromLocal.Vec()
	b.camFromLocal = sphere.TurnVec(b.turned)
	b.pose.axis = r3.Unit(b.pose.axis)
	for p := range b.mean {
		if p < pLean || p >= nKnown {
			b.mean[p] = 0
		}
	}
}

// variance returns the covariance of two linear functions of the numbers.
func (b *belief) variance(f, g *[nKnown]float64) (s float64) {
	for k := range nKnown {
		var a, c float64
		for i := k; i < nKnown; i++ {
			a += f[i] * b.root[i][k]
			c += g[i] * b.root[i][k]
		}
		s += a * c
	}
	return s
}

// sigma returns the standard error of one number.
func (b *belief) sigma(p int) float64 {
	s := 0.0
	for _, v := range b.root[p] {
		s += v * v
	}
	return math.Sqrt(s)
}

// spreads holds the columns of a root: independent errors of size 1.
type spreads []numbers

func (b *belief) spreads() spreads {
	s := make(spreads, nKnown, nNumbers)
	for i := range nKnown {
		for k := range i + 1 {
			s[k][i] = b.root[i][k]
		}
	}
	return s
}

// used tells which numbers a column moves.
func (s spreads) used() (u [nNumbers]bool) {
	for k := range s {
		for p, x := range s[k] {
			u[p] = u[p] || x != 0
		}
	}
	return u
}

// packed returns the square root of the same covariance with as many columns as
// rows, lower triangular.
func (s spreads) packed() (root [nKnown][nKnown]float64) {
	m := mat.NewDense(nKnown, max(len(s), nKnown), nil)
	for k := range s {
		for i := range nKnown {
			m.Set(i, k, s[k][i])
		}
	}
	var lq mat.LQ
	lq.Factorize(m)
	var l mat.Dense
	lq.LTo(&l)
	for i := range nKnown {
		for k := range i + 1 {
			root[i][k] = l.At(i, k)
		}
	}
	return root
}

// stepped returns the belief after the steps in x, and what becomes of the
// columns: those of the steps are taken into the pose's.
func (p *pose) stepped(x *numbers, s spreads) (b belief) {
	b.pose, b.mean = p.after(x), *x
	used := s.used()
	d := p.slopes(x, &used)
	ex, ey := b.square()
	after := make(spreads, len(s))
	for k, c := range s {
		var cam, axis r3.Vec
		for i, v := range d {
			if c[i] != 0 {
				cam = r3.Add(cam, r3.Scale(c[i], v.cam))
				axis = r3.Add(axis, r3.Scale(c[i], v.axis))
			}
		}
		n := c
		n[pCam], n[pCam+1], n[pCam+2] = cam.X, cam.Y, cam.Z
		n[pAxis], n[pAxis+1] = -r3.Dot(axis, ey), r3.Dot(axis, ex)
		n[pLean] += c[pTip] // and its base leans with the mount
		n[pLean+1] += c[pTip+1]
		after[k] = n
	}
	b.mean[pLean] += x[pTip]
	b.mean[pLean+1] += x[pTip+1]
	b.settle()
	b.root = after.packed()
	return b
}

// glimpse is the attitude measured in one frame.
type glimpse struct {
	camFromLocal sphere.Rot
	cov          [3][3]float64
	white        [3]r3.Vec // rows: takes errors of the attitude to independent ones of size 1
	logDet       float64   // of the covariance
	lift         r3.Vec
}

// newGlimpse takes the covariance of the rotation vector in the camera's frame.
func newGlimpse(camFromLocal sphere.Rot, cov [3][3]float64, lift r3.Vec) (g glimpse, ok bool) {
	// Cholesky: cov = l l', white = 1/l.
	var l [3][3]float64
	for i := range 3 {
		for j := range i + 1 {
			s := cov[i][j]
			for k := range j {
				s -= l[i][k] * l[j][k]
			}
			if i > j {
				l[i][j] = s / l[j][j]
				continue
			}
			if !(s > 0) || math.IsInf(s, 0) {
				return g, false
			}
			l[i][i] = math.Sqrt(s)
			g.logDet += 2 * math.Log(l[i][i])
		}
	}
	g.camFromLocal, g.cov, g.lift = camFromLocal, cov, lift
	for c, u := range []r3.Vec{unitX, unitY, unitZ} {
		x := [3]float64{u.X, u.Y, u.Z}
		for i := range 3 {
			for k := range i {
				x[i] -= l[i][k] * x[k]
			}
			x[i] /= l[i][i]
			switch c {
			case 0:
				g.white[i].X = x[i]
			case 1:
				g.white[i].Y = x[i]
			default:
				g.white[i].Z = x[i]
			}
		}
	}
	return g, true
}

// miss returns the whitened turn from the attitude expected to the measured one.
func (g *glimpse) miss(p *pose, x *numbers) (e [3]float64) {
	q := p.after(x)
	v := g.camFromLocal.Mul(q.camFromLocal.Inv()).Mul(sphere.TurnVec(r3.Scale(-x[pAir], g.lift))).Vec()
	for i, w := range g.white {
		e[i] = r3.Dot(w, v)
	}
	return e
}

// update is a belief after a glimpse.
type update struct {
	mean numbers
	w    []float64  // the mean in units of the columns of before
	v    [3]weights // orthonormal: what of w the glimpse sees
	keep [3]float64 // and the share of its standard error that is left
	// misfit is the sum of squares of the glimpse and of what was known before,
	// logDet that of the covariance of what was to be expected, over that of the
	// glimpse itself.
	misfit, logDet float64
	// Along the three directions which the glimpse sees apart: the miss that was
	// expected, with its variance, in units of the glimpse's own error; and how a
	// turn of the camera shows in them.
	miss, variance [3]float64
	sight          [3]r3.Vec
}

type weights []float64

// see returns what is known after a glimpse, given the mean and the spreads
// before: the most probable standing, found by Gauss-Newton steps, and the
// covariance there.
func (p *pose) see(before *numbers, s spreads, g *glimpse) update {
	u := update{mean: *before, w: make([]float64, len(s))}
	used := s.used()
	cost := dot3(g.miss(p, before), g.miss(p, before))
	for range 12 {
		b, e := p.view(&u.mean, s, &used, g)
		for i := range 3 {
			for k, x := range u.w {
				e[i] += b[i][k] * x
			}
		}
		seen, e, sight := orthogonal(b, e, g.white)
		step := make([]float64, len(s))
		for k := range step {
			step[k] = -u.w[k]
		}
		u.logDet, u.miss, u.sight = 0, e, sight
		for i, row := range seen {
			q := 0.0
			for _, x := range row {
				q += x * x
			}
			n := math.Sqrt(q)
			u.variance[i] = 1 + q
			u.keep[i] = 1 / math.Sqrt(1+q)
			u.logDet += math.Log1p(q)
			u.v[i] = make(weights, len(s))
			for k, x := range row {
				step[k] += x * e[i] / (1 + q)
				if n > 0 {
					u.v[i][k] = x / n
				}
			}
		}
		next, w, c := u.mean, u.w, math.Inf(1)
		for range 10 { // a step too long for the curvature is halved
			w = make([]float64, len(s))
			for k := range w {
				w[k] = u.w[k] + step[k]
			}
			next = s.at(before, w)
			miss := g.miss(p, &next)
			if c = dot3(miss, miss) + dot(w, w); c <= cost+1e-6 {
				break
			}
			for k := range step {
				step[k] /= 2
			}
		}
		fall := cost - c
		u.mean, u.w, cost = next, w, c
		if fall < 1e-4 {
			break
		}
	}
	u.misfit = cost
	return u
}

// view returns how the whitened attitude depends on the columns, and the miss.
func (p *pose) view(x *numbers, s spreads, used *[nNumbers]bool, g *glimpse) (b [3]weights, e [3]float64) {
	slopes := p.slopes(x, used)
	slopes[pAir].cam = g.lift
	for i, w := range g.white {
		var h numbers
		for n, d := range slopes {
			h[n] = r3.Dot(w, d.cam)
		}
		b[i] = make(weights, len(s))
		for k := range s {
			for n, c := range s[k] {
				b[i][k] += h[n] * c
			}
		}
	}
	return b, g.miss(p, x)
}

// at returns the numbers w columns away from before.
func (s spreads) at(before *numbers, w []float64) numbers {
	x := *before
	for k := range s {
		for p := range nNumbers {
			x[p] += s[k][p] * w[k]
		}
	}
	return x
}

// orthogonal turns three equations b.w = e among themselves, and their rows of
// white, until the rows of b are orthogonal: Jacobi's method from one side, which
// keeps the small singular values as exact as the large ones.
func orthogonal(b [3]weights, e [3]float64, white [3]r3.Vec) ([3]weights, [3]float64, [3]r3.Vec) {
	for range 30 {
		done := true
		for i := range 2 {
			for j := i + 1; j < 3; j++ {
				ii, jj, ij := dot(b[i], b[i]), dot(b[j], b[j]), dot(b[i], b[j])
				if math.Abs(ij) <= 1e-15*math.Sqrt(ii*jj) {
					continue
				}
				done = false
				t := (jj - ii) / (2 * ij)
				t = math.Copysign(1, t) / (math.Abs(t) + math.Sqrt(1+t*t))
				c := 1 / math.Sqrt(1+t*t)
				s := c * t
				for k := range b[i] {
					b[i][k], b[j][k] = c*b[i][k]-s*b[j][k], s*b[i][k]+c*b[j][k]
				}
				e[i], e[j] = c*e[i]-s*e[j], s*e[i]+c*e[j]
				p, q := white[i], white[j]
				white[i], white[j] = r3.Sub(r3.Scale(c, p), r3.Scale(s, q)), r3.Add(r3.Scale(s, p), r3.Scale(c, q))
			}
		}
		if done {
			break
		}
	}
	return b, e, white
}

// spreads returns those after the glimpse: of what it sees only a share is left.
func (u *update) spreads(before spreads) spreads {
	after := append(spreads(nil), before...)
	for i, v := range u.v {
		var sum numbers
		for k := range before {
			for p := range nNumbers {
				sum[p] += before[k][p] * v[k]
			}
		}
		for k := range after {
			for p := range nNumbers {
				after[k][p] -= (1 - u.keep[i]) * sum[p] * v[k]
			}
		}
	}
	return after
}

// cov returns the covariance of two coordinates of w after the glimpse.
func (u *update) cov(k, l int) float64 {
	c := 0.0
	if k == l {
		c = 1
	}
	for i, v := range u.v {
		c -= (1 - u.keep[i]*u.keep[i]) * v[k] * v[l]
	}
	return c
}

func dot(a, b []float64) (s float64) {
	for i := range a {
		s += a[i] * b[i]
	}
	return s
}

func dot3(a, b [3]float64) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
