package detect

import (
	"cmp"
	"math"
	"slices"
)

// measure fits every peak and keeps those that are stars, brightest first.
func (p *picture) measure(peaks []peak, m *model, least float64) []Star {
	src := p.sources(peaks, m)
	p.learnLight(src, m)
	stars := make([]Star, len(src))
	verdicts := make([]verdict, len(src))
	pass := func(want func(k *source) bool) {
		next := slices.Clone(src)
		p.parallel(len(src), func(i int) {
			if !want(&src[i]) {
				return
			}
			s := stamps.Get().(*stamp)
			defer stamps.Put(s)
			e := examiner{p: p, m: m, s: s, src: src, least: least}
			stars[i], verdicts[i] = e.examine(&src[i], &next[i])
		})
		src = next
	}
	pass(func(*source) bool { return true })
	// Where stars overlap, once more with the neighbours' measured light.
	pass(func(k *source) bool { return !k.full && !k.lonely(src, m) })
	var list []Star
	for i, v := range verdicts {
		p.verdicts[v]++
		if v == star && stars[i].Flux > 0 {
			list = append(list, stars[i])
		}
	}
	slices.SortFunc(list, func(a, b Star) int { return cmp.Compare(b.Flux, a.Flux) })
	return p.distinct(list)
}

// examiner measures one source and judges it.
type examiner struct {
	p     *picture
	m     *model
	s     *stamp
	src   []source
	least float64
}

func (e *examiner) examine(k, next *source) (st Star, v verdict) {
	q := e.m.at(k.fx, k.fy)
	if k.full {
		return e.saturated(k, q)
	}
	s := e.s
	if !k.cut(s, e.p, q, k.without(e.src, e.m)) {
		return st, noSky
	}
	pr := e.m.profile(q)
	f, ok := s.fit(e.m, &pr, k.fx-float64(s.x0), k.fy-float64(s.y0))
	if !ok {
		return st, noFit
	}
	st = Star{X: f.x + float64(s.x0), Y: f.y + float64(s.y0), Flux: f.flux, FWHM: q.fwhm(), Elongation: q.elongation(), Peak: s.peak(f.x, f.y)}
	next.fx, next.fy, next.amps, next.seen = st.X, st.Y, f.amp, true
	grow := 1 + (e.correlation(k, q)-1)*f.skyShare // of the variance
	st.ErrX, st.ErrY, st.ErrFlux = f.ex*math.Sqrt(grow), f.ey*math.Sqrt(grow), f.ef*math.Sqrt(grow)
	if excess := f.chi2 / float64(f.pixels-f.params) / grow; excess > 1.3 {
		st.ErrX *= math.Sqrt(excess)
		st.ErrY *= math.Sqrt(excess)
	}
	if s.edge {
		st.Flags |= Edge
	}
	return st, e.judge(k, &st, &f, &pr)
}

// correlation returns how much larger the variance of a flux is than for noise
// that is independent from pixel to pixel, at least 1.
func (e *examiner) correlation(k *source, q shape) float64 {
	m := e.p.mesh
	// On the level that resembles the star the noise was measured as it is.
	n := min(max(int(math.Round(0.25*math.Log2(q.det()))), 0), levels-1)
	i, j := min(max(int(k.fx), 0)/m.size, m.nx-1), min(max(int(k.fy), 0)/m.size, m.ny-1)
	if e.p.local[n] == nil {
		return 1
	}
	filtered := float64(e.p.local[n][j*m.nx+i] * m.noise[j*m.nx+i])
	var sky float64
	for c := range e.s.classes {
		sky += e.s.sigma[c] * e.s.sigma[c] / float64(e.s.classes)
	}
	white := whiteNoise / 2 * math.Sqrt(sky) / float64(int(1)<<n)
	ratio := filtered / white
	return 1 + math.Max(ratio*ratio-1.2, 0)
}

// judge decides whether what was fitted is a star, and flags it.
func (e *examiner) judge(k *source, st *Star, f *fit, pr *profile) verdict {
	s, q := e.s, pr.q
	switch {
	case st.X < -0.5 || st.Y < -0.5 || st.X > float64(e.p.im.W)-0.5 || st.Y > float64(e.p.im.H)-0.5:
		return outside
	case st.Flux < (e.least-0.2)*f.empty*math.Sqrt(e.correlation(k, q)):
		return faint
	case e.p.blocky && st.Flux < 4*float64(e.p.step)*pr.area:
		return faint // a square one step brighter looks like that
	case s.spike(f, pr):
		return spiky
	case s.streak(f, pr):
		return streak
	case e.p.gap(st.X, st.Y) || s.ragged(f, pr, e.p.pixelNoise(k.fx, k.fy)):
		return ragged
	}
	e.blend(k, st, q)
	if st.Flux < 12*st.ErrFlux {
		return star
	}
	excess := f.chi2 / float64(f.pixels-f.params)
	_, _, own, ok := s.moments(f.x, f.y, q, relative(f.amp, s.classes))
	if !ok {
		if excess > 3 && f.strange > 0.6 {
			return strange
		}
		st.Flags |= Uncertain
		return star
	}
	st.FWHM, st.Elongation = own.fwhm(), own.elongation()
	area := math.Sqrt(own.det() / q.det())
	switch {
	case area > 8:
		return broad
	case area > 0.8 && excess > 3 && f.strange > 0.6:
		return strange
	case area < 0.5 && excess > 3 && f.strange > 0.3 && q.fwhm() > sampled:
		return spiky // sharper than light can be: a bad pixel that was smoothed
	case area > 2.5 || area < 0.5 || excess > 3 && f.strange > 0.3:
		st.Flags |= Uncertain
	}
	if st.Elongation > 1.4*q.elongation() {
		st.Flags |= Elongated
	}
	return star
}

// blend flags a star whose neighbour overlaps it, and widens its errors by
// what the two profiles have in common.
func (e *examiner) blend(k *source, st *Star, q shape) {
	det := q.det()
	for _, id := range k.near {
		o := &e.src[id]
		dx, dy := o.fx-st.X, o.fy-st.Y
		d2 := (q.yy*dx*dx - 2*q.xy*dx*dy + q.xx*dy*dy) / det
		common := math.Exp(-d2 / 4)
		if common*math.Min(o.amp, k.amp) > 0.05*k.amp {
			st.Flags |= Blended
			grow := 1 / math.Sqrt(1-math.Min(common, 0.95))
			st.ErrX *= grow
			st.ErrY *= grow
			st.ErrFlux *= grow
		}
	}
}

// distinct removes what coincides with a brighter star.
func (p *picture) distinct(stars []Star) []Star {
	g := newGrid(p.im.W, p.im.H, 32)
	out := stars[:0]
	for _, s := range stars {
		free := true
		g.near(float32(s.X), float32(s.Y), 32, func(id int) bool {
			o := out[id]
			r := 0.5 * math.Max(s.FWHM, 1)
			if o.Flags&Saturated != 0 {
				r = math.Max(r, 0.8*o.FWHM)
			}
			free = math.Hypot(o.X-s.X, o.Y-s.Y) > r
			return free
		})
		if free {
			g.add(float32(s.X), float32(s.Y), len(out))
			out = append(out, s)
		} else {
			p.verdicts[double]++
		}
	}
	return out
}
