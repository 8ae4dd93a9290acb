package compass

import (
	"math"

	"pintle/index/sphere"
)

// WGS84 ellipsoid and the model's reference sphere, km.
const (
	equator    = 6378.137
	flattening = 1 / 298.257223563
	reference  = 6371.2
)

// geocentric returns the geocentric latitude and radius (km) of a place given
// by geodetic latitude and height above the ellipsoid (km).
func geocentric(lat sphere.Angle, height float64) (sphere.Angle, float64) {
	const e2 = flattening * (2 - flattening)
	s, c := lat.Sin(), lat.Cos()
	n := equator / math.Sqrt(1-e2*s*s)
	r, z := (n+height)*c, (n*(1-e2)+height)*s
	return sphere.Angle(math.Atan2(z, r)), math.Hypot(r, z)
}

// at returns the field and its yearly change, t years after the epoch, in the
// geodetic frame north, east, down.
func (m *model) at(lat, lon sphere.Angle, height, t float64) (now, dot vec) {
	gc, r := geocentric(lat, height)
	p := functions(gc)
	for n := 1; n <= degree; n++ {
		scale := math.Pow(reference/r, float64(n+2))
		for k := 0; k <= n; k++ {
			c, f := m.c[n][k], p[n][k]
			s, co := math.Sincos(float64(k) * float64(lon))
			add(&now, scale, n, k, c.g+t*c.gDot, c.h+t*c.hDot, s, co, f)
			add(&dot, scale, n, k, c.gDot, c.hDot, s, co, f)
		}
	}
	return tilt(now, lat-gc), tilt(dot, lat-gc)
}

// add adds the term of degree n and order k to v (geocentric north, east,
// down): minus the gradient of the potential.
func add(v *vec, scale float64, n, k int, g, h, s, c float64, f legendre) {
	v.x += scale * (g*c + h*s) * f.dTheta
	v.y += scale * (g*s - h*c) * f.overSin * float64(k)
	v.z -= scale * (g*c + h*s) * f.p * float64(n+1)
}

// tilt turns geocentric components to geodetic ones; d is geodetic minus
// geocentric latitude.
func tilt(v vec, d sphere.Angle) vec {
	s, c := d.Sin(), d.Cos()
	return vec{v.x*c + v.z*s, v.y, v.z*c - v.x*s}
}

// legendre is one Schmidt semi-normalised associated Legendre function of
// cos(theta), theta the colatitude: its value, its derivative by theta, and,
// for order 1 and up, its quotient by sin(theta), which stays finite at the
// poles because it is carried along and never divided.
type legendre struct{ p, dTheta, overSin float64 }

// functions returns all functions at geocentric latitude lat. Recursion in
// Gauss normalisation, then scaled (Langel 1987, in Jacobs, Geomagnetism 1,
// equations 26 and 27, from memory).
func functions(lat sphere.Angle) (f [degree + 1][degree + 1]legendre) {
	c, s := lat.Sin(), lat.Cos()
	f[0][0] = legendre{p: 1}
	for n := 1; n <= degree; n++ {
		for k := 0; k < n; k++ {
			a := f[n-1][k]
			f[n][k] = legendre{c * a.p, c*a.dTheta - s*a.p, c * a.overSin}
			if n > 1 {
				b, w := f[n-2][k], float64((n-1)*(n-1)-k*k)/float64((2*n-1)*(2*n-3))
				f[n][k].p -= w * b.p
				f[n][k].dTheta -= w * b.dTheta
				f[n][k].overSin -= w * b.overSin
			}
		}
		a := f[n-1][n-1]
		f[n][n] = legendre{s * a.p, s*a.dTheta + c*a.p, s * a.overSin}
		if n == 1 {
			f[1][1].overSin = 1
		}
	}
	schmidt(&f)
	return f
}

// schmidt turns Gauss-normalised functions into semi-normalised ones.
func schmidt(f *[degree + 1][degree + 1]legendre) {
	zonal := 1.0
	for n := 1; n <= degree; n++ {
		zonal *= float64(2*n-1) / float64(n)
		w := zonal
		for k := 0; k <= n; k++ {
			if k > 0 {
				two := 1.0
				if k == 1 {
					two = 2
				}
				w *= math.Sqrt(two * float64(n-k+1) / float64(n+k))
			}
			f[n][k].p *= w
			f[n][k].dTheta *= w
			f[n][k].overSin *= w
		}
	}
}
