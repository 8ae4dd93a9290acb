package detect

import (
	"iter"
	"math"
)

// learnLight finds, on the bright lonely stars, what their images have beside
// a Gaussian, then the gain and how well the model fits.
func (p *picture) learnLight(src []source, m *model) {
	const enough = 100 // stars: what is learnt is then good to a tenth of their scatter
	var clean []*source
	for i := range src {
		s := &src[i]
		if len(clean) < 3*enough && s.snr > 15 && !s.full && s.lonely(src, m) {
			clean = append(clean, s)
		}
	}
	clean = p.alike(clean, m)
	clean = clean[:min(enough, len(clean))]
	m.misfit = 0.03
	if len(clean) >= 5 {
		// Twice: the first time the places are those of a Gaussian.
		for range 2 {
			g := newGather(nodeStep(m))
			for r := range ordinary(p.residuals(clean, m)) {
				g.add(r.u, r.v, r.left/r.amp+r.rest, r.amp*r.amp/(r.variance+4e-4*r.amp*r.amp))
			}
			m.rest = g.settle()
		}
	}
	var bins scatter
	for r := range ordinary(p.residuals(clean, m)) {
		bins.add(r.light, r.left, r.variance)
	}
	m.invGain, m.misfit = bins.solve()
	m.known = true
}

// sampled is the FWHM, in pixels, above which a star shows its size wherever it
// falls: two pixels, the limit of sampling, and a little (no source).
const sampled = 2.2

// alike returns the sources that are about as large as the model says: not bad
// pixels, however many there are, nor pieces of something else.
func (p *picture) alike(list []*source, m *model) (out []*source) {
	if m.at(m.w/2, m.h/2).fwhm() < sampled {
		return list // the size of a star depends on where on a pixel it falls
	}
	size := make([]float64, len(list))
	p.parallel(len(list), func(i int) {
		s := stamps.Get().(*stamp)
		defer stamps.Put(s)
		k := list[i]
		q := m.at(k.fx, k.fy)
		if !k.cut(s, p, q, nil) {
			return
		}
		x, y := k.fx-float64(s.x0), k.fy-float64(s.y0)
		if _, _, own, ok := s.moments(x, y, q, s.tones(x, y, q)); ok {
			size[i] = math.Sqrt(own.det() / q.det())
		}
	})
	for i, k := range list {
		if size[i] > 0.6 && size[i] < 1.7 {
			out = append(out, k)
		}
	}
	return out
}

// nodeStep is the distance of a rest's nodes, about half a pixel, in rms widths.
func nodeStep(m *model) float64 {
	long, short, _ := m.at(m.w/2, m.h/2).axes()
	return math.Min(math.Max(0.5/math.Sqrt(long*short), 0.2), 0.6)
}

// residual is what a fit leaves of one pixel.
type residual struct {
	u, v     float64 // its place in rms widths
	light    float64 // of the model
	rest     float64 // the model's rest there
	left     float64
	amp      float64 // of the star
	variance float64 // of the background
}

// remains is what the fit leaves of a star.
type remains struct {
	strange float64
	pixels  []residual
}

// ordinary goes through the pixels of all stars but those that fit much worse than
// most.
func ordinary(list []remains) iter.Seq[*residual] {
	var s []float64
	for _, r := range list {
		if len(r.pixels) > 0 {
			s = append(s, r.strange)
		}
	}
	limit := math.Max(1.5*quantile(s, 0.5), 0.05)
	return func(yield func(*residual) bool) {
		for _, r := range list {
			for i := range r.pixels {
				if r.strange <= limit && !yield(&r.pixels[i]) {
					return
				}
			}
		}
	}
}

// residuals fits the stars and returns all their pixels.
func (p *picture) residuals(stars []*source, m *model) []remains {
	out := make([]remains, len(stars))
	p.parallel(len(stars), func(i int) {
		s := stamps.Get().(*stamp)
		defer stamps.Put(s)
		k := stars[i]
		pr := m.profile(m.at(float64(k.x), float64(k.y)))
		if !k.cut(s, p, pr.q, nil) {
			return
		}
		f, ok := s.fit(m, &pr, float64(k.x)-float64(s.x0), float64(k.y)-float64(s.y0))
		if !ok {
			return
		}
		out[i].strange = f.strange
		rx, ry := cutoff*math.Sqrt(pr.q.xx), cutoff*math.Sqrt(pr.q.yy)
		out[i].pixels = make([]residual, 0, int((2*rx+3)*(2*ry+3)))
		for y := max(int(f.y-ry), 0); y <= min(int(f.y+ry)+1, s.h-1); y++ {
			for x := max(int(f.x-rx), 0); x <= min(int(f.x+rx)+1, s.w-1); x++ {
				v := s.v[y*s.w+x]
				dx, dy := float64(x)-f.x, float64(y)-f.y
				g, gx, gy, in := pr.at(dx, dy)
				c := s.classAt(s.x0+x, s.y0+y)
				if v != v || v == inf || !in || !(f.amp[c] > 3*s.sigma[c]) {
					continue
				}
				r := residual{u: pr.a * dx, v: pr.b*dx + pr.c*dy, light: f.amp[c] * g, amp: f.amp[c], variance: s.sigma[c] * s.sigma[c]}
				h := f.leverage(1/m.noiseAt(s.sigma[c], r.light), f.amp[c]*gx, f.amp[c]*gy, g, int(c))
				r.left = (float64(v) - r.light) / math.Sqrt(1-math.Min(h, 0.9))
				if m.rest != nil {
					r.rest, _, _ = m.rest.at(r.u, r.v)
				}
				out[i].pixels = append(out[i].pixels, r)
			}
		}
	})
	return out
}

// scatter sorts pixels by their light over the background's noise, in half
// octaves, to find how their variance grows with it.
type scatter struct{ bin [40][]scatterPixel }

type scatterPixel struct{ light, excess, square, variance float64 }

func (s *scatter) add(light, left, variance float64) {
	k := int(2*math.Log2(light/math.Sqrt(variance))) + 4
	if !(light > 0) || k < 0 || k >= len(s.bin) {
		return
	}
	s.bin[k] = append(s.bin[k], scatterPixel{light, left*left - variance, left * left, variance})
}

// solve fits variance = background + light invGain + (light misfit)^2 to the
// bins' medians.
func (s *scatter) solve() (invGain, misfit float64) {
	var saa, sab, sbb, sa, sb float64
	for _, bin := range s.bin {
		if len(bin) < 12 {
			continue
		}
		var light, variance float64
		squares := make([]float64, len(bin))
		for i, q := range bin {
			light += q.light / float64(len(bin))
			variance += q.variance / float64(len(bin))
			squares[i] = q.square
		}
		// The median square of a normal deviate is 0.455 variances.
		total := quantile(squares, 0.5) / 0.455
		err := math.Max(total, variance) * 2 / math.Sqrt(float64(len(bin)))
		w := 1 / (err * err)
		a, b, v := light, light*light, total-variance
		saa, sab, sbb = saa+w*a*a, sab+w*a*b, sbb+w*b*b
		sa, sb = sa+w*a*v, sb+w*b*v
	}
	det := saa*sbb - sab*sab
	if det > 1e-9*saa*sbb {
		invGain = (sa*sbb - sb*sab) / det
		square := (sb*saa - sa*sab) / det
		switch {
		case invGain < 0:
			invGain, square = 0, sb/sbb
		case square < 0:
			invGain, square = sa/saa, 0
		}
		invGain, misfit = math.Max(invGain, 0), math.Sqrt(math.Max(square, 0))
	} else if saa > 0 {
		invGain = math.Max(sa/saa, 0)
	}
	return invGain, math.Min(math.Max(misfit, 0.005), 0.3)
}
