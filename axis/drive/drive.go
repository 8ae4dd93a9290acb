// Package drive says what a polar error costs and how much of it is allowed: how
// stars leave a telescope that turns at the sidereal rate about an axis which
// misses the pole, what of that an exposure forgives, and which pole refraction
// asks for (King's). All angles are in local axes, as package place has them.
package drive

import (
	"math"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// Sidereal is the rate of the sky's turn in radians a second of time: one turn
// in 86164.0905 s, 15.041069 arcsec/s.
const Sidereal = 2 * math.Pi / 86164.0905

// SkyTurn returns the angle by which the sky turns in t.
func SkyTurn(t time.Duration) sphere.Angle {
	return sphere.Angle(Sidereal * t.Seconds())
}

// Drive is a mount that turns at exactly the sidereal rate about an axis which
// misses the pole, and so loses the stars by and by. All its formulas are exact
// spherical trigonometry in the local frame; only refraction's change along
// the star's path is left out (see King for that). Hour angles and declinations
// are those of a Frame.
type Drive struct {
	pole, axis Frame
}

// New returns the drive with the given axis; pole is the elevated pole to which
// it should be aligned, and south is true when that is the south pole.
func New(pole, axis sphere.Local, south bool) Drive {
	return Drive{NewFrame(pole, south), NewFrame(axis, south)}
}

// Off returns the drive whose axis is off the pole by alt in altitude, too high
// positive, and by azKnob in azimuth as an adjuster turns, clockwise seen from
// above positive.
func Off(pole sphere.Local, alt, azKnob sphere.Angle, south bool) Drive {
	az, up := pole.AzAlt()
	return New(pole, sphere.LocalAt(az+azKnob, up+alt), south)
}

// Sep returns the angle on the sky between pole and axis.
func (d Drive) Sep() sphere.Angle {
	return sphere.LocalVec(d.pole.north).Sep(sphere.LocalVec(d.axis.north))
}

// Star returns where the star at hour angle ha and declination dec stands.
func (d Drive) Star(ha, dec sphere.Angle) sphere.Local {
	return d.pole.At(ha, dec)
}

// Circles returns the hour angle and declination of a star in the mount's own
// frame, the hour angle counted from the vertical plane through the axis.
func (d Drive) Circles(ha, dec sphere.Angle) (mountHA, mountDec sphere.Angle) {
	v, _ := d.pole.at(ha, dec)
	return d.axis.read(v)
}

// Rates returns how fast a star leaves the driven telescope: the declination
// drift, north positive, and by how much the star's hour angle in the mount's
// frame runs ahead of the drive. Radians on the circles a second of time.
func (d Drive) Rates(ha, dec sphere.Angle) (decRate, haExcess float64) {
	v, dv := d.pole.at(ha, dec)
	x, y := r3.Dot(v, d.axis.noon), r3.Dot(v, d.axis.west)
	dx, dy, dz := r3.Dot(dv, d.axis.noon), r3.Dot(dv, d.axis.west), r3.Dot(dv, d.axis.north)
	r2 := x*x + y*y
	return Sidereal * dz / math.Sqrt(r2), Sidereal * ((x*dy-y*dx)/r2 - 1)
}

// Drift returns by how much the star moves north in the mount's frame in time
// t, starting at hour angle ha.
func (d Drive) Drift(ha, dec sphere.Angle, t time.Duration) sphere.Angle {
	_, a := d.Circles(ha, dec)
	_, b := d.Circles(ha+SkyTurn(t), dec)
	return b - a
}

// parallactic returns the position angle, from celestial north toward east,
// of the mount's north at a star.
func (d Drive) parallactic(ha, dec sphere.Angle) sphere.Angle {
	v, dHA := d.pole.at(ha, dec)
	east := r3.Scale(-1, r3.Unit(dHA))
	north := r3.Cross(v, east) // v out, east, north: right-handed
	return sphere.Angle(math.Atan2(r3.Dot(d.axis.north, east), r3.Dot(d.axis.north, north)))
}

// Guided returns the rotation of the field about a star that is held in place
// by corrections in both axes, over time t from hour angle ha. It is positive
// when the mount's north turns from celestial north toward east.
func (d Drive) Guided(ha, dec sphere.Angle, t time.Duration) sphere.Angle {
	return (d.parallactic(ha+SkyTurn(t), dec) - d.parallactic(ha, dec)).Wrap()
}

// slip returns the rotation by which the sky has moved against the unguided
// camera after t, as a vector in the local frame at the start.
func (d Drive) slip(t time.Duration) r3.Vec {
	phi := -SkyTurn(t)
	// Right-handed about celestial north the sky turns backwards in both
	// hemispheres.
	return sphere.Turn(d.axis.north, -phi).Mul(sphere.Turn(d.pole.north, phi)).Vec()
}

// Unguided returns how far a star moves on the sensor in time t, as an angle
// on the sky, and how much the field turns about it, when nobody corrects the
// drive. The sense of the rotation is that of Guided.
func (d Drive) Unguided(ha, dec sphere.Angle, t time.Duration) (move, rotation sphere.Angle) {
	m := d.slip(t)
	v, _ := d.pole.at(ha, dec)
	return chord(r3.Norm(m), r3.Norm(r3.Cross(m, v))), sphere.Angle(r3.Dot(m, v))
}

// chord returns the angle through which a direction moves in a turn by the
// length of a rotation vector; across is that length times the sine of the
// direction's angle to the vector.
func chord(length, across float64) sphere.Angle {
	if length == 0 {
		return 0
	}
	return 2 * sphere.Angle(math.Asin(math.Min(1, math.Sin(length/2)*across/length)))
}

// farthest returns the largest movement in time t of any direction within
// radius of the star.
func (d Drive) farthest(ha, dec, radius sphere.Angle, t time.Duration) sphere.Angle {
	m := d.slip(t)
	n := r3.Norm(m)
	if n == 0 {
		return 0
	}
	v, _ := d.pole.at(ha, dec)
	a := math.Atan2(r3.Norm(r3.Cross(m, v)), math.Abs(r3.Dot(m, v))) // 0 to pi/2
	a = math.Min(a+float64(radius), math.Pi/2)
	return chord(n, n*math.Sin(a))
}
