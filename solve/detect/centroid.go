package detect

import (
	"math"
)

// fit is the result of fitting the frame's star shape to one stamp.
type fit struct {
	x, y       float64 // stamp coordinates
	amp        [4]float64
	cov        [36]float64
	n          int // parameters
	chi2       float64
	pixels     int
	flux, eflx float64
	ex, ey     float64
}

// noiseAt returns the variance of a pixel of a colour with star light m.
func (m *model) noiseAt(sigma, light float64) float64 {
	light = math.Max(light, 0)
	return sigma*sigma + light*m.invGain + light*light*m.misfit*m.misfit
}

// fit finds place and amplitudes of a star by weighted least squares: the
// frame's shape q, one amplitude for each colour, iterated with the weights
// that the model's light calls for (Gauss-Newton; equal to maximum likelihood
// for normal noise).
func (s *stamp) fit(m *model, x, y float64, q shape) (f fit, ok bool) {
	f.x, f.y = x, y
	f.n = 2 + s.classes
	n := f.n
	det := q.det()
	ixx, ixy, iyy := q.yy/det, -q.xy/det, q.xx/det
	size := math.Sqrt(math.Sqrt(det))
	startX, startY := x, y
	lightest := [4]float64{}
	f.amp = lightest
	for iter := range 15 {
		var a [36]float64
		var b [6]float64
		f.chi2, f.pixels = 0, 0
		s.ellipse(f.x, f.y, q, 3.3, func(i, j int, v float64) {
			dx, dy := float64(i)-f.x, float64(j)-f.y
			gx, gy := ixx*dx+ixy*dy, ixy*dx+iyy*dy
			e := gx*dx + gy*dy
			if e > 3.3*3.3 {
				return
			}
			c := int(s.classAt(s.x0+i, s.y0+j))
			g := math.Exp(-e / 2)
			light := f.amp[c] * g
			res := v - light
			variance := m.noiseAt(s.sigma[c], light)
			if iter > 2 && res*res > 36*(variance+0.01*light*light) {
				return
			}
			w := 1 / variance
			f.chi2 += w * res * res
			f.pixels++
			jx, jy := light*gx, light*gy
			k := 2 + c
			a[0] += w * jx * jx
			a[n] += w * jx * jy
			a[n+1] += w * jy * jy
			a[k*n] += w * jx * g
			a[k*n+1] += w * jy * g
			a[k*n+k] += w * g * g
			b[0] += w * res * jx
			b[1] += w * res * jy
			b[k] += w * res * g
		})
		if f.pixels < n+1 {
			return f, false
		}
		if iter == 0 { // amplitudes only
			for c := range s.classes {
				k := 2 + c
				if !(a[k*n+k] > 0) {
					return f, false
				}
				f.amp[c] = b[k] / a[k*n+k]
			}
			continue
		}
		keep := a
		if !solveSym(a[:n*n], b[:n], n) {
			return f, false
		}
		step := math.Hypot(b[0], b[1])
		scale := math.Min(1, 0.7*size/step)
		f.x += b[0] * scale
		f.y += b[1] * scale
		for c := range s.classes {
			f.amp[c] += b[2+c] * scale
		}
		if math.Hypot(f.x-startX, f.y-startY) > 2*size+1.5 {
			return f, false
		}
		if iter > 3 && step < 1e-3*size {
			copy(f.cov[:], keep[:])
			break
		}
		if iter == 14 {
			copy(f.cov[:], keep[:])
		}
	}
	return f, f.errors(q, s.classes)
}

// errors inverts the normal matrix held in cov.
func (f *fit) errors(q shape, classes int) bool {
	n := f.n
	if !factor(f.cov[:n*n], n) {
		return false
	}
	area := 2 * math.Pi * math.Sqrt(q.det())
	variance := func(load [6]float64) float64 {
		b := load
		substitute(f.cov[:n*n], b[:n], n)
		var v float64
		for i := range n {
			v += load[i] * b[i]
		}
		return v
	}
	f.ex = math.Sqrt(variance([6]float64{1}))
	f.ey = math.Sqrt(variance([6]float64{0, 1}))
	var load [6]float64
	for c := range classes {
		load[2+c] = area / float64(classes)
		f.flux += f.amp[c] * area / float64(classes)
	}
	f.eflx = math.Sqrt(variance(load))
	return f.ex > 0 && f.ey > 0 && f.eflx > 0
}
