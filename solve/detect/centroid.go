package detect

import "math"

// fit is the result of fitting a profile to one stamp.
type fit struct {
	x, y     float64    // stamp coordinates
	amp      [4]float64 // by colour
	flux     float64
	ex, ey   float64 // standard errors
	ef       float64
	empty    float64 // standard error of the flux of empty sky
	chi2     float64
	pixels   int
	params   int
	strange  float64 // rms of what the model leaves, noise taken off, over the model's rms
	skyShare float64 // of the variance in the star's core
	eq       normal  // factored
}

// normal is the normal equations of a fit.
type normal struct {
	n int
	a [36]float64
	b [6]float64
}

// add enters one pixel: its residual, derivatives by place and amplitude.
func (q *normal) add(w, res, jx, jy, g float64, class int) {
	n, k := q.n, 2+class
	q.a[0] += w * jx * jx
	q.a[n] += w * jx * jy
	q.a[n+1] += w * jy * jy
	q.a[k*n] += w * jx * g
	q.a[k*n+1] += w * jy * g
	q.a[k*n+k] += w * g * g
	q.b[0] += w * res * jx
	q.b[1] += w * res * jy
	q.b[k] += w * res * g
}

// noiseAt returns the variance of a pixel with star light.
func (m *model) noiseAt(sigma, light float64) float64 {
	light = math.Max(light, 0)
	return sigma*sigma + light*m.invGain + light*light*m.misfit*m.misfit
}

// fit finds place and amplitudes of a star by weighted least squares with one
// amplitude for each colour, the weights following the model's light
// (Gauss-Newton; for normal noise the maximum of likelihood).
func (s *stamp) fit(m *model, p *profile, x, y float64) (f fit, ok bool) {
	f.x, f.y, f.params = x, y, 2+s.classes
	size := math.Sqrt(math.Sqrt(p.q.det()))
	slack := 0.1 * 0.1 // of the amplitude, what a good pixel may differ beyond noise
	if m.rest != nil {
		slack = 0.05 * 0.05
	}
	for iter := range 20 {
		eq := normal{n: f.params}
		f.chi2, f.pixels = 0, 0
		s.eachLit(p, f.x, f.y, func(c int, v, g, gx, gy float64) {
			light := f.amp[c] * g
			res := v - light
			variance := m.noiseAt(s.sigma[c], light)
			if m.known && iter > 2 && res*res > 36*(variance+slack*f.amp[c]*f.amp[c]) {
				return // a bad pixel
			}
			w := 1 / variance
			f.chi2 += w * res * res
			f.pixels++
			eq.add(w, res, f.amp[c]*gx, f.amp[c]*gy, g, c)
		})
		if f.pixels < f.params+1 {
			return f, false
		}
		if iter == 0 {
			// Amplitudes first: without them the place has no weight.
			for c := range s.classes {
				k := 2 + c
				if !(eq.a[k*eq.n+k] > 0) {
					return f, false
				}
				f.amp[c] = eq.b[k] / eq.a[k*eq.n+k]
			}
			continue
		}
		if !factor(eq.a[:], eq.n) {
			return f, false
		}
		d := eq.b
		substitute(eq.a[:], d[:], eq.n)
		step := math.Hypot(d[0], d[1])
		scale := math.Min(1, 0.7*size/step)
		f.x += d[0] * scale
		f.y += d[1] * scale
		for c := range s.classes {
			f.amp[c] += d[2+c] * scale
		}
		if !(math.Hypot(f.x-x, f.y-y) < 2*size+1.5) {
			return f, false
		}
		if iter > 3 && step < 1e-3*size || iter == 19 {
			f.eq = eq
			return f, f.finish(s, m, p)
		}
	}
	return f, false
}

// eachLit calls fn for the usable pixels within the profile's cutoff around
// (x, y) with the pixel's colour and value and the profile there.
func (s *stamp) eachLit(p *profile, x, y float64, fn func(c int, v, g, gx, gy float64)) {
	rx, ry := cutoff*math.Sqrt(p.q.xx), cutoff*math.Sqrt(p.q.yy)
	i0, i1 := max(int(math.Ceil(x-rx)), 0), min(int(math.Floor(x+rx)), s.w-1)
	j0, j1 := max(int(math.Ceil(y-ry)), 0), min(int(math.Floor(y+ry)), s.h-1)
	for j := j0; j <= j1; j++ {
		for i := i0; i <= i1; i++ {
			v := s.v[j*s.w+i]
			if v != v || v == inf {
				continue
			}
			if g, gx, gy, in := p.at(float64(i)-x, float64(j)-y); in {
				fn(int(s.classAt(s.x0+i, s.y0+j)), float64(v), g, gx, gy)
			}
		}
	}
}

// load returns the variance of a linear combination of the parameters: the
// quadratic form of the inverse normal matrix.
func (q *normal) load(v [6]float64) float64 {
	b := v
	substitute(q.a[:], b[:], q.n)
	var sum float64
	for i := range q.n {
		sum += v[i] * b[i]
	}
	return sum
}

// leverage returns the share of a pixel's scatter that the fit takes with it.
func (f *fit) leverage(w, jx, jy, g float64, class int) float64 {
	v := [6]float64{jx, jy}
	v[2+class] = g
	return w * f.eq.load(v)
}

// finish derives the errors and how well the model fits.
func (f *fit) finish(s *stamp, m *model, p *profile) bool {
	f.ex = math.Sqrt(f.eq.load([6]float64{1}))
	f.ey = math.Sqrt(f.eq.load([6]float64{0, 1}))
	var load [6]float64
	var light, sky float64
	for c := range s.classes {
		load[2+c] = p.area / float64(s.classes)
		f.flux += f.amp[c] * load[2+c]
		light += f.amp[c] / float64(s.classes)
		sky += s.sigma[c] * s.sigma[c] / float64(s.classes)
	}
	f.ef = math.Sqrt(f.eq.load(load))
	f.skyShare = sky / m.noiseAt(math.Sqrt(sky), light/2)
	var left, all float64
	var weight [4]float64
	s.eachLit(p, f.x, f.y, func(c int, v, g, _, _ float64) {
		weight[c] += g * g
		model := f.amp[c] * g
		left += (v-model)*(v-model) - s.sigma[c]*s.sigma[c] - math.Max(model, 0)*m.invGain
		all += model * model
	})
	f.strange = math.Sqrt(math.Max(left, 0) / all)
	for c := range s.classes {
		f.empty += load[2+c] * load[2+c] * s.sigma[c] * s.sigma[c] / weight[c]
	}
	f.empty = math.Sqrt(f.empty)
	return f.ex > 0 && f.ey > 0 && f.ef > 0 && f.flux > 0
}
