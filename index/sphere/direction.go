package sphere

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Sky is a direction in the ICRS: a unit vector toward right ascension 0,
// right ascension 6 h, and the north pole of the frame. The zero value is not
// a direction.
type Sky struct{ v r3.Vec }

// Local is a direction seen from a site: a unit vector with components east,
// north, up, fixed to the ground. Whether refraction is included is said where
// one is made. The zero value is not a direction.
type Local struct{ v r3.Vec }

// Cam is a direction in the camera's frame: x toward increasing column, y
// toward increasing row (down in a picture with its first row on top), z out
// of the lens along the optical axis. The three are right-handed, so an
// ordinary (not mirrored) photograph of the sky needs no change of sign.
type Cam struct{ v r3.Vec }

// polar returns the unit vector at longitude lon (from x toward y) and
// latitude lat.
func polar(lon, lat Angle) r3.Vec {
	sl, cl := math.Sincos(float64(lon))
	sb, cb := math.Sincos(float64(lat))
	return r3.Vec{X: cb * cl, Y: cb * sl, Z: sb}
}

// lonLat is the inverse of polar; the longitude of a pole is 0.
func lonLat(v r3.Vec) (lon, lat Angle) {
	return Angle(math.Atan2(v.Y, v.X)), Angle(math.Atan2(v.Z, math.Hypot(v.X, v.Y)))
}

// Unit returns v at length 1. Its square root is several times faster than the
// careful one of r3.Unit; the components here are nowhere near overflow.
func Unit(v r3.Vec) r3.Vec { return r3.Scale(1/math.Sqrt(r3.Norm2(v)), v) }

// between returns the angle between two vectors by atan2 of cross and dot
// product, which is exact to rounding for small and for large angles.
func between(a, b r3.Vec) Angle {
	return Angle(math.Atan2(r3.Norm(r3.Cross(a, b)), r3.Dot(a, b)))
}

// SkyAt returns the direction at right ascension ra and declination dec.
func SkyAt(ra, dec Angle) Sky { return Sky{polar(ra, dec)} }

// SkyVec returns the direction of v, which need not have unit length.
func SkyVec(v r3.Vec) Sky { return Sky{Unit(v)} }

// RADec returns right ascension in [0, 2 pi) and declination.
func (s Sky) RADec() (ra, dec Angle) {
	ra, dec = lonLat(s.v)
	return ra.Turn(), dec
}

// Vec returns the unit vector.
func (s Sky) Vec() r3.Vec { return s.v }

// Sep returns the angle between two directions, 0 to pi.
func (s Sky) Sep(t Sky) Angle { return between(s.v, t.v) }

// Axes returns the unit vectors at right angles to s toward greater right ascension,
// east, and toward the north pole of the frame.
func (s Sky) Axes() (east, north r3.Vec) {
	ra, dec := s.RADec()
	sa, ca := math.Sincos(float64(ra))
	sd, cd := math.Sincos(float64(dec))
	return r3.Vec{X: -sa, Y: ca}, r3.Vec{X: -sd * ca, Y: -sd * sa, Z: cd}
}

// Toward returns the position angle of t as seen from s: from north through
// east, in [0, 2 pi).
func (s Sky) Toward(t Sky) Angle {
	east, north := s.Axes()
	return Angle(math.Atan2(r3.Dot(t.v, east), r3.Dot(t.v, north))).Turn()
}

// LocalAt returns the direction at azimuth az, from north through east, and
// altitude alt.
func LocalAt(az, alt Angle) Local {
	v := polar(Angle(math.Pi/2)-az, alt)
	return Local{v}
}

// LocalVec returns the direction of v (east, north, up), which need not have
// unit length.
func LocalVec(v r3.Vec) Local { return Local{Unit(v)} }

// AzAlt returns the azimuth, from north through east in [0, 2 pi), and the
// altitude. The azimuth of the zenith is 0.
func (l Local) AzAlt() (az, alt Angle) {
	return Angle(math.Atan2(l.v.X, l.v.Y)).Turn(), Angle(math.Atan2(l.v.Z, math.Hypot(l.v.X, l.v.Y)))
}

// Vec returns the unit vector (east, north, up).
func (l Local) Vec() r3.Vec { return l.v }

// Sep returns the angle between two directions, 0 to pi.
func (l Local) Sep(m Local) Angle { return between(l.v, m.v) }

// Tangents returns the unit vectors along which altitude and azimuth grow at l.
// In the zenith they are those of the way there from the south.
func (l Local) Tangents() (alt, az r3.Vec) {
	az = r3.Vec{X: l.v.Y, Y: -l.v.X}
	if r3.Norm(az) < 1e-12 {
		az = r3.Vec{X: 1}
	}
	az = r3.Unit(az)
	return r3.Cross(az, l.v), az
}

// CamVec returns the direction of v (column, row, forward), which need not
// have unit length.
func CamVec(v r3.Vec) Cam { return Cam{Unit(v)} }

// Vec returns the unit vector (column, row, forward).
func (c Cam) Vec() r3.Vec { return c.v }

// Sep returns the angle between two directions, 0 to pi.
func (c Cam) Sep(d Cam) Angle { return between(c.v, d.v) }
