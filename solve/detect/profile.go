package detect

import "math"

// cutoff is the radius, in rms widths, out to which a star is fitted: of a Gaussian
// 0.4 % of the light lies beyond.
const cutoff = 3.3

// profile is the image of a star at one place of the frame: a Gaussian plus
// what the frame's bright stars show beside it. Its Gaussian peak is 1.
type profile struct {
	q             shape
	ixx, ixy, iyy float64 // inverse of q
	a, b, c       float64 // u = a dx, v = b dx + c dy are in rms widths
	rest          *rest
	area          float64 // its sum over all pixels
}

func (m *model) profile(q shape) profile {
	det := q.det()
	p := profile{q: q, ixx: q.yy / det, ixy: -q.xy / det, iyy: q.xx / det, rest: m.rest}
	p.c = math.Sqrt(p.iyy)
	p.b = p.ixy / p.c
	p.a = math.Sqrt(math.Max(p.ixx-p.b*p.b, 0))
	p.area = 2 * math.Pi * math.Sqrt(det)
	if m.rest != nil {
		p.area += m.rest.sum * math.Sqrt(det)
	}
	return p
}

// at returns the profile dx, dy pixels from the star's place and its
// derivatives by that place; in is false beyond the cutoff.
func (p *profile) at(dx, dy float64) (g, gx, gy float64, in bool) {
	kx, ky := p.ixx*dx+p.ixy*dy, p.ixy*dx+p.iyy*dy
	e := kx*dx + ky*dy
	if e > cutoff*cutoff {
		return 0, 0, 0, false
	}
	g = gauss(e)
	gx, gy = g*kx, g*ky
	if p.rest != nil {
		r, ru, rv := p.rest.at(p.a*dx, p.b*dx+p.c*dy)
		g += r
		gx -= ru*p.a + rv*p.b
		gy -= rv * p.c
	}
	return g, gx, gy, true
}

// rest is the difference between the frame's star images and a Gaussian, on a
// grid in units of their rms widths: wings, flat or hollow discs, the ends of
// trails. (An empirical profile as in Anderson & King 2000, PASP 112, 1360,
// stretched with the local widths.)
type rest struct {
	n    int     // nodes along an axis
	step float64 // between nodes
	v    []float64
	sum  float64 // integral
}

// at returns value and derivatives by bicubic convolution (Keys 1981, a = -1/2).
func (r *rest) at(u, v float64) (f, fu, fv float64) {
	half := float64(r.n-1) / 2
	x, y := u/r.step+half, v/r.step+half
	i, j := int(x), int(y)
	if i < 1 || j < 1 || i >= r.n-2 || j >= r.n-2 {
		return 0, 0, 0
	}
	wx, dx := keys(x - float64(i))
	wy, dy := keys(y - float64(j))
	for k := range 4 {
		row := r.v[(j-1+k)*r.n+i-1:][:4]
		s := wx[0]*row[0] + wx[1]*row[1] + wx[2]*row[2] + wx[3]*row[3]
		d := dx[0]*row[0] + dx[1]*row[1] + dx[2]*row[2] + dx[3]*row[3]
		f += wy[k] * s
		fu += wy[k] * d
		fv += dy[k] * s
	}
	return f, fu / r.step, fv / r.step
}

func keys(t float64) (w, d [4]float64) {
	t2, t3 := t*t, t*t*t
	w = [4]float64{-0.5*t + t2 - 0.5*t3, 1 - 2.5*t2 + 1.5*t3, 0.5*t + 2*t2 - 1.5*t3, -0.5*t2 + 0.5*t3}
	d = [4]float64{-0.5 + 2*t - 1.5*t2, -5*t + 4.5*t2, 0.5 + 4*t - 4.5*t2, -t + 1.5*t2}
	return w, d
}

// gather collects the residuals of bright stars for a rest.
type gather struct {
	rest
	weight []float64
}

func newGather(step float64) *gather {
	n := 2*int(math.Ceil((cutoff+1)/step)) + 3
	return &gather{rest: rest{n: n, step: step, v: make([]float64, n*n)}, weight: make([]float64, n*n)}
}

// add spreads a residual over the four nodes around it.
func (g *gather) add(u, v, res, weight float64) {
	half := float64(g.n-1) / 2
	x, y := u/g.step+half, v/g.step+half
	i, j := int(x), int(y)
	if i < 0 || j < 0 || i >= g.n-1 || j >= g.n-1 {
		return
	}
	s, t := x-float64(i), y-float64(j)
	put := func(k int, w float64) {
		g.v[k] += w * weight * res
		g.weight[k] += w * weight
	}
	k := j*g.n + i
	put(k, (1-s)*(1-t))
	put(k+1, s*(1-t))
	put(k+g.n, (1-s)*t)
	put(k+g.n+1, s*t)
}

// settle returns the mean residuals, drawn to zero where they are noisier than
// usual, a few percent.
func (g *gather) settle() *rest {
	const usual = 0.03 // no source
	r := g.rest
	for k := range r.v {
		r.v[k] /= g.weight[k] + 1/(usual*usual)
	}
	half := float64(r.n-1) / 2
	for j := range r.n {
		for i := range r.n {
			// Fade out toward the cutoff, where the fit ends.
			d := math.Hypot(float64(i)-half, float64(j)-half) * r.step
			r.v[j*r.n+i] *= math.Min(math.Max((cutoff+0.3-d)/0.3, 0), 1)
			r.sum += r.v[j*r.n+i] * r.step * r.step
		}
	}
	return &r
}
