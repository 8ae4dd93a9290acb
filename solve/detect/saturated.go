package detect

import "math"

// widestCore is the radius, in pixels, of the largest saturated core of a star (no
// source).
const widestCore = 40

// saturated measures a star whose core is full from its flanks: the profile,
// widened as the flanks ask for, is fitted to the pixels that are not.
func (e *examiner) saturated(k *source, q shape) (st Star, v verdict) {
	core, smear, x, y := e.p.core(k)
	long, _, _ := q.axes()
	if core > widestCore {
		return st, broad
	}
	inner := core + 2*cutoff*long
	s := e.s
	if !s.load(e.p, x, y, inner, inner+math.Max(6, inner/4), nil) {
		return st, noSky
	}
	x, y = x-float64(s.x0), y-float64(s.y0)
	plain := &model{invGain: e.m.invGain, misfit: math.Max(e.m.misfit, 0.1)}
	best := math.Inf(1)
	var f fit
	var wide shape
	for scale, worse := 1.0, 0; scale < 40 && worse < 2; scale *= 1.7 {
		t := shape{q.xx * scale, q.xy * scale, q.yy * scale}
		pr := plain.profile(t)
		got, ok := s.fit(plain, &pr, x, y)
		if !ok || got.pixels < 3*got.params {
			continue
		}
		worse++
		if c := s.flanks(&pr, &got); c < best {
			best, f, wide, worse = c, got, t, 0
		}
	}
	if math.IsInf(best, 1) {
		return st, noFit
	}
	st = Star{X: f.x + float64(s.x0), Y: f.y + float64(s.y0), Flux: f.flux, Peak: float64(e.p.full), Flags: Saturated}
	st.FWHM, st.Elongation = wide.fwhm(), wide.elongation()
	excess := math.Sqrt(math.Max(1, f.chi2/float64(f.pixels-f.params)))
	// What the flanks are not like the profile shifts the place by a small part
	// of the core (found on synthetic frames); overflow hides more of them.
	unlike := 0.015*core + 0.03*smear
	st.ErrX = math.Hypot(f.ex*excess, unlike)
	st.ErrY = math.Hypot(f.ey*excess, unlike)
	st.ErrFlux = math.Hypot(f.ef, 0.3*f.flux)
	if s.edge {
		st.Flags |= Edge
	}
	return st, star
}

// flanks is the mean square deviation of the flanks from a fit in a fixed
// region, for comparison between widths.
func (s *stamp) flanks(p *profile, f *fit) float64 {
	var sum, n float64
	for j := range s.h {
		for i := range s.w {
			v := s.v[j*s.w+i]
			if v != v || v == inf {
				continue
			}
			c := s.classAt(s.x0+i, s.y0+j)
			g, _, _, _ := p.at(float64(i)-f.x, float64(j)-f.y)
			light := f.amp[c] * g
			d := float64(v) - light
			sum += d * d / (s.sigma[c]*s.sigma[c] + 0.01*float64(v)*float64(v))
			n++
		}
	}
	return sum / n
}

// core returns the radius of a circle with as many pixels as the saturated
// patch under a source, half the difference between its height and width, and
// its centre.
func (p *picture) core(k *source) (r, smear, x, y float64) {
	cx, cy := int(k.x+0.5), int(k.y+0.5)
	for size := int(2) << k.level; ; size *= 2 {
		var n, sx, sy float64
		x0, x1, y0, y1 := cx+size, cx-size, cy+size, cy-size
		for j := max(cy-size, 0); j <= min(cy+size, p.im.H-1); j++ {
			for i := max(cx-size, 0); i <= min(cx+size, p.im.W-1); i++ {
				if at(p.im, i, j) >= p.full {
					n++
					sx += float64(i)
					sy += float64(j)
					x0, x1, y0, y1 = min(x0, i), max(x1, i), min(y0, j), max(y1, j)
				}
			}
		}
		if n == 0 {
			return 0, 0, float64(k.x), float64(k.y)
		}
		inside := x0 > cx-size && x1 < cx+size && y0 > cy-size && y1 < cy+size
		if inside || size > 2*widestCore {
			return math.Sqrt(n / math.Pi), math.Abs(float64(y1-y0-x1+x0)) / 2, sx / n, sy / n
		}
	}
}
