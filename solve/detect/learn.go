package detect

import (
	"math"
	"sync"
)

// learnLight finds, on the bright lonely stars, what their images have beside
// a Gaussian, then the gain and how well the model fits.
func (p *picture) learnLight(src []source, m *model) {
	const enough = 150
	var clean []*source
	for i := range src {
		s := &src[i]
		if len(clean) < enough && s.snr > 15 && !s.full && s.lonely(src, m) {
			clean = append(clean, s)
		}
	}
	m.misfit = 0.03
	if len(clean) >= 5 {
		g := newGather(nodeStep(m))
		p.residuals(clean, m, func(u, v, light, left, amp, variance float64) {
			g.add(u, v, left/amp, amp*amp/(variance+4e-4*amp*amp))
		})
		m.rest = g.settle()
	}
	var bins scatter
	p.residuals(clean, m, func(_, _, light, left, _, variance float64) {
		bins.add(light, left, variance)
	})
	m.invGain, m.misfit = bins.solve()
}

// nodeStep is the distance of a rest's nodes, about half a pixel, in rms widths.
func nodeStep(m *model) float64 {
	long, short, _ := m.at(m.w/2, m.h/2).axes()
	return math.Min(math.Max(0.5/math.Sqrt(long*short), 0.2), 0.6)
}

// residuals fits the stars and reports for each of their pixels the place in
// rms widths, the model's light, what is left, the amplitude and the variance
// of the background.
func (p *picture) residuals(stars []*source, m *model, report func(u, v, light, left, amp, variance float64)) {
	type pixel struct{ u, v, light, left, amp, variance float64 }
	out := make([][]pixel, len(stars))
	pool := sync.Pool{New: func() any { return new(stamp) }}
	p.parallel(len(stars), func(i int) {
		s := pool.Get().(*stamp)
		defer pool.Put(s)
		k := stars[i]
		pr := m.profile(m.at(float64(k.x), float64(k.y)))
		if !k.cut(s, p, pr.q, nil) {
			return
		}
		f, ok := s.fit(m, &pr, float64(k.x)-float64(s.x0), float64(k.y)-float64(s.y0))
		if !ok || f.strange > 0.5 {
			return
		}
		// Each parameter takes a little of the scatter with it.
		free := math.Sqrt(float64(f.pixels) / float64(f.pixels-f.params))
		rx, ry := cutoff*math.Sqrt(pr.q.xx), cutoff*math.Sqrt(pr.q.yy)
		for y := max(int(f.y-ry), 0); y <= min(int(f.y+ry)+1, s.h-1); y++ {
			for x := max(int(f.x-rx), 0); x <= min(int(f.x+rx)+1, s.w-1); x++ {
				v := s.v[y*s.w+x]
				dx, dy := float64(x)-f.x, float64(y)-f.y
				g, _, _, in := pr.at(dx, dy)
				c := s.classAt(s.x0+x, s.y0+y)
				if v != v || v == inf || !in || !(f.amp[c] > 3*s.sigma[c]) {
					continue
				}
				light := f.amp[c] * g
				out[i] = append(out[i], pixel{pr.a * dx, pr.b*dx + pr.c*dy, light, (float64(v) - light) * free, f.amp[c], s.sigma[c] * s.sigma[c]})
			}
		}
	})
	for _, list := range out {
		for _, q := range list {
			report(q.u, q.v, q.light, q.left, q.amp, q.variance)
		}
	}
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
