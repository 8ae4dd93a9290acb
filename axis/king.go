package axis

import (
	"fmt"
	"math"

	"pintle/index/sphere"
)

// Bend is the refraction of the air at a site: dZ = A tan Z + B tan^3 Z, Z the
// observed zenith distance; A and B in radians. Good to 0.1 arcsec down to
// Z = 75 degrees and to 30 arcsec at 85 degrees.
type Bend struct{ A, B float64 }

// observed returns the observed zenith distance for one outside the air.
// Newton's method; zenith distances beyond 83 degrees refract as at 83.
func (b Bend) observed(vacuum float64) float64 {
	const most = 83 * math.Pi / 180
	z := vacuum
	for range 8 {
		t := math.Tan(math.Min(z, most))
		slope := 1 + (b.A+3*b.B*t*t)*(1+t*t)
		step := (z + b.A*t + b.B*t*t*t - vacuum) / slope
		z -= step
		if math.Abs(step) < 1e-15 {
			break
		}
	}
	return z
}

// King holds what refraction does to the rates of a star for a mount in the
// meridian whose axis is raised above the true pole. The pole at which
// refraction takes a star steadily along depends on where the star is: E. S.
// King, Manual of Celestial Photography (1931); formulas derived anew.
type King struct {
	Lat  sphere.Angle // south negative
	Bend Bend
}

// Motion is how a star moves on a driven mount because of refraction.
type Motion struct {
	HA  float64 // hour-angle rate in the mount's frame over the sidereal rate
	Dec float64 // declination drift in radians per radian of hour angle, north positive
}

// DecPerHour returns the declination drift in an hour by the clock.
func (m Motion) DecPerHour() sphere.Angle { return sphere.Angle(m.Dec * Sidereal * 3600) }

// elevated returns the latitude without sign, and the declination counted
// from the elevated pole; north and south mirror each other.
func (k King) elevated(dec sphere.Angle) (lat, d sphere.Angle, sign float64) {
	if k.Lat < 0 {
		return -k.Lat, -dec, -1
	}
	return k.Lat, dec, 1
}

// Motion returns the motion of the star at true hour angle ha and declination
// dec for an axis raised by gamma, exactly: refracted places, differenced.
func (k King) Motion(gamma, ha, dec sphere.Angle) Motion {
	lat, d, sign := k.elevated(dec)
	sky := newFrame(sphere.LocalAt(0, lat).Vec(), false)
	mount := newFrame(sphere.LocalAt(0, lat+gamma).Vec(), false)
	place := func(h sphere.Angle) (sphere.Angle, sphere.Angle) {
		v, _ := sky.at(h, d)
		az, alt := sphere.LocalVec(v).AzAlt()
		z := k.Bend.observed(math.Pi/2 - float64(alt))
		return mount.read(sphere.LocalAt(az, math.Pi/2-sphere.Angle(z)).Vec())
	}
	const step = 1e-3 // radian; rounding 1e-13, cubic terms below 1e-10
	h0, d0 := place(ha - step)
	h1, d1 := place(ha + step)
	h2, d2 := place(ha - 2*step)
	h3, d3 := place(ha + 2*step)
	slope := func(a, b, a2, b2 sphere.Angle) float64 {
		return float64(8*(b-a).Wrap()-(b2-a2).Wrap()) / (12 * step)
	}
	return Motion{HA: slope(h0, h1, h2, h3), Dec: sign * slope(d0, d1, d2, d3)}
}

// Linear returns Motion by the first-order formulas for R = A tan z.
func (k King) Linear(gamma, ha, dec sphere.Angle) Motion {
	lat, d, sign := k.elevated(dec)
	c := k.cosZ(ha, dec)
	a, g := k.Bend.A, float64(gamma)
	return Motion{
		HA: 1 - a*lat.Cos()/d.Cos()*(lat.Cos()*d.Cos()+lat.Sin()*d.Sin()*ha.Cos())/(c*c) +
			g*d.Tan()*ha.Cos(),
		Dec: sign * ha.Sin() * (a*lat.Sin()*lat.Cos()/(c*c) - g),
	}
}

func (k King) cosZ(ha, dec sphere.Angle) float64 {
	return k.Lat.Sin()*dec.Sin() + k.Lat.Cos()*dec.Cos()*ha.Cos()
}

// maxZ is the largest zenith distance for which a pole is named: beyond it
// the first-order refraction is too coarse.
const maxZ = 80 * sphere.Degree

// Pole returns how far above the true pole an axis must point so that
// refraction causes no drift in declination at zenith distance z, to first
// order. It is the refracted pole for a star at the pole's own zenith
// distance, and much less near the zenith of low latitudes.
func (k King) Pole(z sphere.Angle) (sphere.Angle, error) {
	if !(z >= 0 && z <= maxZ) {
		return 0, fmt.Errorf("zenith distance %.1f deg is outside 0 to %g: too low for a choice of pole", z.Degrees(), maxZ.Degrees())
	}
	lat, _, _ := k.elevated(0)
	return sphere.Angle(k.Bend.A * lat.Sin() * lat.Cos() / (z.Cos() * z.Cos())), nil
}

// PoleFor returns the height above the true pole that leaves the least
// declination drift, in the mean square over the hour angles of a window. It
// refuses a window in which the target sinks below 10 degrees altitude.
func (k King) PoleFor(w Window) (sphere.Angle, error) {
	const n = 64
	var num, den float64
	for i := range n + 1 {
		h := w.From + (w.To-w.From)*sphere.Angle(i)/n
		z := sphere.Angle(math.Acos(math.Max(-1, math.Min(1, k.cosZ(h, w.Dec)))))
		g, err := k.Pole(z)
		if err != nil {
			return 0, err
		}
		weight := h.Sin()*h.Sin() + 1e-9 // a window of one moment on the meridian still has a value
		num += weight * float64(g)
		den += weight
	}
	return sphere.Angle(num / den), nil
}

// RefractedPole returns how far the refracted pole stands above the true one,
// to first order: A cot(lat). For the exact place see package place.
func (k King) RefractedPole() sphere.Angle {
	lat, _, _ := k.elevated(0)
	return sphere.Angle(k.Bend.A / lat.Tan())
}
