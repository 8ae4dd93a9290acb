package drive

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// Frame is an equatorial frame about a pole, or about the axis of a mount, in
// local axes. Hour angles are from the upper meridian, or the vertical plane
// through the axis, west positive; declinations are north positive, in either
// hemisphere.
type Frame struct{ north, noon, west r3.Vec } // noon: the point of the equator on the upper meridian

// NewFrame returns the frame about the elevated end of an axis; south is true
// when that is its southern end.
func NewFrame(elevated sphere.Local, south bool) Frame {
	n := elevated.Vec()
	if south {
		n = r3.Scale(-1, n)
	}
	east := r3.Cross(n, r3.Vec{Z: 1})
	if r3.Norm(east) < 1e-12 { // a pole in the zenith has no meridian: take 180 deg, as on the way there
		east = r3.Vec{X: 1}
	}
	east = r3.Unit(east)
	return Frame{n, r3.Cross(east, n), r3.Scale(-1, east)}
}

// North returns the northern end of the frame's axis.
func (f Frame) North() r3.Vec { return f.north }

// At returns the direction at hour angle ha and declination dec.
func (f Frame) At(ha, dec sphere.Angle) sphere.Local {
	v, _ := f.at(ha, dec)
	return sphere.LocalVec(v)
}

// Read is the inverse of At; the hour angle lies between -180 and 180 degrees.
func (f Frame) Read(l sphere.Local) (ha, dec sphere.Angle) { return f.read(l.Vec()) }

// West returns the unit vector along which the hour angle grows at l.
func (f Frame) West(l sphere.Local) r3.Vec {
	_, west := f.at(f.read(l.Vec()))
	return r3.Unit(west)
}

// at returns the direction at hour angle ha and declination dec, and its
// derivative by the hour angle.
func (f Frame) at(ha, dec sphere.Angle) (v, dHA r3.Vec) {
	s, c := math.Sincos(float64(ha))
	cd := dec.Cos()
	v = r3.Add(r3.Scale(dec.Sin(), f.north), r3.Scale(cd, r3.Add(r3.Scale(c, f.noon), r3.Scale(s, f.west))))
	return v, r3.Scale(cd, r3.Sub(r3.Scale(c, f.west), r3.Scale(s, f.noon)))
}

// read is the inverse of at.
func (f Frame) read(v r3.Vec) (ha, dec sphere.Angle) {
	x, y, z := r3.Dot(v, f.noon), r3.Dot(v, f.west), r3.Dot(v, f.north)
	return sphere.Angle(math.Atan2(y, x)), sphere.Angle(math.Atan2(z, math.Hypot(x, y)))
}

// Beside returns the direction at angle eps from pole: turn is counted from
// upward through increasing azimuth.
func Beside(pole sphere.Local, eps, turn sphere.Angle) sphere.Local {
	return NewFrame(pole, false).At(-turn, math.Pi/2-eps)
}
