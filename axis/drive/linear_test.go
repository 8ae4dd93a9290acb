package drive

import (
	"math"

	"pintle/index/sphere"
)

// linear is a Drive to first order in the axis' error, as a check of the exact
// formulas. Up is the altitude part of the error, East its
// part toward east on the sky: plus the azimuth part in the north, minus it in
// the south.
type linear struct {
	Up, East sphere.Angle
	Lat      sphere.Angle // signed: south negative
}

func (l linear) sign() float64 { return math.Copysign(1, float64(l.Lat)) }

// u and v are the parts of the error along the star's hour circle and across
// it.
func (l linear) u(ha sphere.Angle) float64 {
	return float64(l.Up)*ha.Cos() - float64(l.East)*ha.Sin()
}

func (l linear) v(ha sphere.Angle) float64 {
	return float64(l.Up)*ha.Sin() + float64(l.East)*ha.Cos()
}

func (l linear) tan(dec sphere.Angle) float64 { return l.sign() * dec.Tan() }

// Circles returns by how much the mount's circles are off: hour angle and
// declination in the mount's frame minus the true ones.
func (l linear) Circles(ha, dec sphere.Angle) (dHA, dDec sphere.Angle) {
	az := l.sign() * float64(l.East) / l.Lat.Cos()
	return sphere.Angle(-az*l.Lat.Sin() + l.tan(dec)*l.v(ha)), sphere.Angle(l.sign() * l.u(ha))
}

// Rates returns the declination drift and the hour-angle excess in radians a
// second, as Drive.Rates.
func (l linear) Rates(ha, dec sphere.Angle) (decRate, haExcess float64) {
	return -l.sign() * Sidereal * l.v(ha), Sidereal * l.tan(dec) * l.u(ha)
}

// Drift returns the motion north in the mount's frame from hour angle a to b.
func (l linear) Drift(a, b sphere.Angle) sphere.Angle {
	return sphere.Angle(l.sign() * (l.u(b) - l.u(a)))
}

// Guided returns the field rotation about a guided star from hour angle a to
// b.
func (l linear) Guided(a, b, dec sphere.Angle) sphere.Angle {
	return sphere.Angle(l.sign() * (l.v(b) - l.v(a)) / dec.Cos())
}

// Unguided returns the movement of a star and the field rotation from hour
// angle a to b. The rotation is cos^2 of the declination times the guided one.
func (l linear) Unguided(a, b, dec sphere.Angle) (move, rotation sphere.Angle) {
	du, dv := l.u(b)-l.u(a), l.v(b)-l.v(a)
	return sphere.Angle(math.Hypot(du, dec.Sin()*dv)), sphere.Angle(l.sign() * dec.Cos() * dv)
}

// linear returns Motion by the first-order formulas for R = A tan z.
func (k King) linear(gamma, ha, dec sphere.Angle) Motion {
	lat, d, sign := k.elevated(dec)
	c := k.cosZ(ha, dec)
	a, g := k.Refraction.A, float64(gamma)
	return Motion{
		HA: 1 - a*lat.Cos()/d.Cos()*(lat.Cos()*d.Cos()+lat.Sin()*d.Sin()*ha.Cos())/(c*c) +
			g*d.Tan()*ha.Cos(),
		Dec: sign * ha.Sin() * (a*lat.Sin()*lat.Cos()/(c*c) - g),
	}
}

// refractedPole returns how far the refracted pole stands above the true one,
// to first order: A cot(lat). For the exact place see package place.
func (k King) refractedPole() sphere.Angle {
	lat, _, _ := k.elevated(0)
	return sphere.Angle(k.Refraction.A / lat.Tan())
}
