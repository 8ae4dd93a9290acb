package drive

import (
	"fmt"
	"math"

	"pintle/axis/place"
	"pintle/index/sphere"
)

// Refraction is that of the air at a site: dZ = A tan Z + B tan^3 Z, Z the
// observed zenith distance; A and B in radians. Good to 0.1 arcsec down to
// Z = 75 degrees and to 30 arcsec at 85 degrees (ERFA refco.c, note 1).
type Refraction struct{ A, B float64 }

// observed returns the observed zenith distance for one outside the air.
// Newton's method; zenith distances beyond 83 degrees refract as at 83.
func (r Refraction) observed(vacuum float64) float64 {
	const most = 83 * math.Pi / 180 // no source, chosen below any target and above where the two terms turn over
	z := vacuum
	for range 8 {
		t := math.Tan(math.Min(z, most))
		slope := 1 + (r.A+3*r.B*t*t)*(1+t*t)
		step := (z + r.A*t + r.B*t*t*t - vacuum) / slope
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
	Lat        sphere.Angle // south negative
	Refraction Refraction
}

// KingAt returns the rates at a site, in its air.
func KingAt(p *place.Place) King {
	a, b := p.RefractionConstants()
	return King{p.Site().Lat, Refraction{a, b}}
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
	sky := NewFrame(sphere.LocalAt(0, lat), false)
	mount := NewFrame(sphere.LocalAt(0, lat+gamma), false)
	seen := func(h sphere.Angle) (sphere.Angle, sphere.Angle) {
		az, alt := sky.At(h, d).AzAlt()
		z := k.Refraction.observed(math.Pi/2 - float64(alt))
		return mount.Read(sphere.LocalAt(az, math.Pi/2-sphere.Angle(z)))
	}
	const step = 1e-3 // radian; rounding 1e-13, cubic terms below 1e-10
	h0, d0 := seen(ha - step)
	h1, d1 := seen(ha + step)
	h2, d2 := seen(ha - 2*step)
	h3, d3 := seen(ha + 2*step)
	slope := func(a, b, a2, b2 sphere.Angle) float64 {
		return float64(8*(b-a).Wrap()-(b2-a2).Wrap()) / (12 * step)
	}
	return Motion{HA: slope(h0, h1, h2, h3), Dec: sign * slope(d0, d1, d2, d3)}
}

func (k King) cosZ(ha, dec sphere.Angle) float64 {
	return k.Lat.Sin()*dec.Sin() + k.Lat.Cos()*dec.Cos()*ha.Cos()
}

// maxZ is the largest zenith distance for which a pole is named: beyond it
// the first-order refraction is more than 3.5 % off (B tan^2 Z / A).
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
	return sphere.Angle(k.Refraction.A * lat.Sin() * lat.Cos() / (z.Cos() * z.Cos())), nil
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
