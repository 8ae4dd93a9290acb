package detect

import "math"

// model is what the frame's stars look like: second moments as a polynomial
// over the frame, what they have beside a Gaussian, and what the pixels'
// scatter tells.
type model struct {
	w, h    float64
	terms   int
	coef    [3][6]float64
	limits  [2]float64 // least and largest mean variance
	stars   int        // it was learned from; 0 = a guess
	rest    *rest
	invGain float64 // variance of a pixel per unit of light
	misfit  float64 // rms of what no model explains, as a fraction of the light
	known   bool    // rest, invGain and misfit are measured
	trailed bool    // stars may be more than ten times as long as wide
}

// basis returns the polynomial's terms at a place.
func (m *model) basis(x, y float64) [6]float64 {
	u, v := 2*x/m.w-1, 2*y/m.h-1
	return [6]float64{1, u, v, u * u, u * v, v * v}
}

// at returns the shape of a star at a place.
func (m *model) at(x, y float64) shape {
	b := m.basis(x, y)
	var q [3]float64
	for k := range q {
		for i := range m.terms {
			q[k] += m.coef[k][i] * b[i]
		}
	}
	s := shape{q[0], q[1], q[2]}
	mean := math.Min(math.Max((s.xx+s.yy)/2, m.limits[0]), m.limits[1])
	if f := mean / ((s.xx + s.yy) / 2); f > 0 {
		s = shape{s.xx * f, s.xy * f, s.yy * f}
	}
	if d := math.Hypot((s.xx-s.yy)/2, s.xy); !(d < 0.98*mean) && !m.trailed {
		return shape{mean, 0, mean}
	}
	return s
}

// guess is the shape of stars that stand out best on a level.
func guess(level int) shape {
	v := float64(int(1) << (2 * level))
	return shape{v, 0, v}
}

// level returns the pyramid's level that resembles the stars most.
func (m *model) level() int {
	if m.stars < 5 {
		return 0
	}
	size := math.Sqrt(math.Sqrt(m.at(m.w/2, m.h/2).det()))
	return min(max(int(math.Round(math.Log2(size))), 0), levels-1)
}

// sample is the measured shape of one star.
type sample struct {
	x, y float64
	q    shape
	w    float64
}

// learnShape measures the stars' shape on the brightest that are not full.
func (p *picture) learnShape(list []peak, level int) *model {
	const enough = 120 // stars; no source
	g := guess(level)
	m := &model{w: float64(p.im.W), h: float64(p.im.H), terms: 1}
	m.coef[0][0], m.coef[2][0] = g.xx, g.yy
	m.limits = [2]float64{0.15, 20 * g.xx}
	samples, others := p.samples(p.calm(list), enough, level, level, g)
	if sharp(samples) {
		// Bad pixels that resizing has smoothed? Larger stars may be fainter.
		more, _ := p.samples(others, 2*enough, level, level+2, g)
		samples = append(samples, more...)
	}
	m.fit(offLines(samples, 0.3*max(m.w, m.h)))
	return m
}

// samples measures the shapes of the first n peaks of a range of levels that
// are neither faint nor full; rest are the peaks that were not measured.
func (p *picture) samples(list []peak, n, low, high int, g shape) (out []sample, rest []peak) {
	var use []peak
	for _, k := range list {
		if len(use) < n && int(k.level) >= low && int(k.level) <= high && k.snr > 8 && p.brightest(k) < p.full {
			use = append(use, k)
		} else {
			rest = append(rest, k)
		}
	}
	got := make([]sample, len(use))
	p.parallel(len(use), func(i int) { got[i] = p.shapeOf(use[i], g) })
	for _, s := range got {
		if s.w > 0 {
			out = append(out, s)
		}
	}
	return out, rest
}

// sharp reports whether most samples are small and of one size.
func sharp(samples []sample) bool {
	size := sizes(samples)
	best := usual(samples, size, math.Inf(-1))
	n := 0
	for _, v := range size {
		if math.Abs(v-best) < 0.15 {
			n++
		}
	}
	return 2*n > len(size) && round(best).fwhm() < sampled
}

// shapeOf measures one peak; weight 0 when that fails.
func (p *picture) shapeOf(k peak, g shape) sample {
	s := stamps.Get().(*stamp)
	defer stamps.Put(s)
	r := 3.5*math.Sqrt(g.xx) + 2
	if !s.load(p, float64(k.x), float64(k.y), r, r+math.Max(4, r/2), nil) || s.full > 0 || s.edge {
		return sample{}
	}
	x, y := float64(k.x)-float64(s.x0), float64(k.y)-float64(s.y0)
	x, y, q, ok := s.moments(x, y, g, s.tones(x, y, g))
	if !ok || q.det() < 0.19*0.19 || s.through(x, y, q) {
		return sample{}
	}
	w := math.Min(float64(k.snr), 100)
	return sample{x + float64(s.x0), y + float64(s.y0), q, w * w}
}

// through reports whether a long image goes on to both ends of the stamp: a
// piece of a satellite's track.
func (s *stamp) through(x, y float64, q shape) bool {
	long, short, a := q.axes()
	if long < 1.8*short {
		return false
	}
	far := 0.8 * math.Min(math.Min(x, float64(s.w-1)-x), math.Min(y, float64(s.h-1)-y))
	one, n1 := s.ray(x, y, math.Cos(a), math.Sin(a), far)
	two, n2 := s.ray(x, y, -math.Cos(a), -math.Sin(a), far)
	return min(n1, n2) > 0 && math.Min(one, two) > 0.3*s.peak(x, y)
}

// offLines drops long images of which several lie on one line along them, no
// further apart than reach: pieces of a track that is too faint for through.
func offLines(samples []sample, reach float64) (out []sample) {
	for i, s := range samples {
		long, short, a := s.q.axes()
		on := 0
		for k, o := range samples {
			d := math.Hypot(o.x-s.x, o.y-s.y)
			across := math.Abs((o.x-s.x)*math.Sin(a) - (o.y-s.y)*math.Cos(a))
			l, t, b := o.q.axes()
			if k != i && d < reach && across < 1.5+0.03*d && l > 1.8*t && math.Abs(math.Sin(a-b)) < 0.2 {
				on++
			}
		}
		if long < 1.8*short || on < 3 {
			out = append(out, s)
		}
	}
	return out
}

// tones returns the star's brightness in each colour relative to the mean.
func (s *stamp) tones(x, y float64, q shape) (tone [4]float64) {
	var num, den [4]float64
	s.ellipse(x, y, q, 3, func(i, j int, v float64) {
		c := s.classAt(s.x0+i, s.y0+j)
		dx, dy := float64(i)-x, float64(j)-y
		m := math.Exp(-(dx*dx/q.xx + dy*dy/q.yy) / 2)
		num[c] += m * v
		den[c] += m * m
	})
	for c := range s.classes {
		if den[c] > 0 {
			tone[c] = num[c] / den[c]
		}
	}
	return relative(tone, s.classes)
}

// relative divides amplitudes by their mean, none below a twentieth of it.
func relative(amp [4]float64, classes int) [4]float64 {
	var mean float64
	for c := range classes {
		mean += math.Max(amp[c], 0) / float64(classes)
	}
	for c := range amp {
		if amp[c] /= mean; !(amp[c] > 0.05) {
			amp[c] = 0.05
		}
	}
	return amp
}

// fit makes the polynomial follow the samples, robustly.
func (m *model) fit(samples []sample) {
	samples = common(samples)
	if len(samples) == 0 {
		return
	}
	m.stars = len(samples)
	switch {
	case len(samples) >= 40:
		m.terms = 6
	case len(samples) >= 12:
		m.terms = 3
	}
	lo, hi := math.Inf(1), 0.0
	for _, s := range samples {
		lo, hi = math.Min(lo, (s.q.xx+s.q.yy)/2), math.Max(hi, (s.q.xx+s.q.yy)/2)
	}
	m.limits = [2]float64{lo, hi}
	cut := math.Inf(1)
	for range 4 {
		if !m.leastSquares(samples, cut) {
			m.terms = 1
			if !m.leastSquares(samples, cut) {
				return
			}
		}
		dist := make([]float64, len(samples))
		for i, s := range samples {
			dist[i] = m.distance(s)
		}
		cut = 3 * math.Max(quantile(dist, 0.5), 0.01)
	}
}

// distance is how far a sample lies from the model, relative to its size.
func (m *model) distance(s sample) float64 {
	q := m.at(s.x, s.y)
	d := math.Abs(s.q.xx-q.xx) + 2*math.Abs(s.q.xy-q.xy) + math.Abs(s.q.yy-q.yy)
	return d / (q.xx + q.yy)
}

func (m *model) leastSquares(samples []sample, cut float64) bool {
	n := m.terms
	a := make([]float64, n*n)
	var rhs [3][6]float64
	for _, s := range samples {
		if !math.IsInf(cut, 1) && m.distance(s) > cut {
			continue
		}
		b := m.basis(s.x, s.y)
		for i := range n {
			for j := range i + 1 {
				a[i*n+j] += s.w * b[i] * b[j]
			}
			rhs[0][i] += s.w * b[i] * s.q.xx
			rhs[1][i] += s.w * b[i] * s.q.xy
			rhs[2][i] += s.w * b[i] * s.q.yy
		}
	}
	for i := range n {
		a[i*n+i] *= 1 + 1e-6
	}
	if !factor(a, n) {
		return false
	}
	for k := range rhs {
		substitute(a, rhs[k][:n], n)
		m.coef[k] = rhs[k]
	}
	return true
}

// sizes returns the logarithms of the mean rms widths.
func sizes(samples []sample) []float64 {
	size := make([]float64, len(samples))
	for i, s := range samples {
		size[i] = math.Log(s.q.det()) / 4
	}
	return size
}

// round is the shape of a round star of a size.
func round(size float64) shape { return shape{math.Exp(2 * size), 0, math.Exp(2 * size)} }

// common keeps the samples whose size is near the most usual one.
func common(samples []sample) []sample {
	size := sizes(samples)
	best, reach := usual(samples, size, math.Inf(-1)), 0.5
	if c := usual(samples, size, best+0.3); mixed(size, best, c) {
		best, reach = c, 0.25
	}
	var out []sample
	for i, s := range samples {
		if math.Abs(size[i]-best) < reach {
			out = append(out, s)
		}
	}
	return out
}

// usual returns the size above least that has the most weight within 20 % of
// it, 0 when there is none.
func usual(samples []sample, size []float64, least float64) float64 {
	best, top := 0.0, -1.0
	for _, c := range size {
		if c < least {
			continue
		}
		var sum float64
		for i, v := range size {
			if d := math.Abs(v - c); d < 0.2 {
				sum += (1 - d/0.2) * math.Min(samples[i].w, 2500)
			}
		}
		if sum > top {
			best, top = c, sum
		}
	}
	return best
}

// mixed reports whether the samples are of two distinct sizes: stars, and bad
// pixels that resizing has smoothed. The stars are the large ones, for nothing
// can be sharper. (That optics draw larger stars away from the middle leaves no
// gap between the sizes.)
func mixed(size []float64, small, large float64) bool {
	if large < small+0.45 || round(small).fwhm() > sampled || round(large).fwhm() < sampled {
		return false
	}
	near, between, beyond := 0, 0, 0
	for _, v := range size {
		switch {
		case math.Abs(v-large) < 0.15:
			near++
		case v > large:
			beyond++
		case v > small+0.15:
			between++
		}
	}
	return near >= 6 && 7*between <= near && 2*beyond <= near
}
