package place

import (
	"math"

	"pintle/index/sphere"
)

// Apparent returns the apparent place of a star: right ascension and
// declination of the true equator and equinox of date, with aberration (that of
// the Earth's spin too) and light bending, without refraction. s is as for
// Observed.
func (p *Place) Apparent(s sphere.Sky) (ra, dec sphere.Angle) {
	v := p.vacuum(s.Vec())
	// From east, north, up to the meridian, east and the pole.
	sin, cos := p.site.Lat.Sin(), p.site.Lat.Cos()
	meridian := cos*v.Z - sin*v.Y
	z := sin*v.Z + cos*v.Y
	ha := sphere.Angle(math.Atan2(-v.X, meridian))
	return (p.sidereal - ha).Turn(), sphere.Angle(math.Atan2(z, math.Hypot(v.X, meridian)))
}
