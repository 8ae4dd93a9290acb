package place

import (
	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// South is true when the elevated pole is the southern one. On the equator
// itself the northern pole counts as the elevated one.
func (p *Place) South() bool { return p.site.Lat < 0 }

// TruePole returns the elevated celestial pole as it would be seen without air:
// due north at the altitude of the latitude, or due south in the southern
// hemisphere (with polar motion given, up to 0.6 arcsec from there). Diurnal
// aberration, which shifts the centre of the stars' daily circles east by up to
// 0.3 arcsec, is not counted as a motion of the pole.
func (p *Place) TruePole() sphere.Local {
	if p.South() {
		return sphere.LocalVec(r3.Scale(-1, p.pole))
	}
	return sphere.LocalVec(p.pole)
}

// RefractedPole returns the elevated pole lifted by refraction, the point to
// which a mount is aligned: the root of z + A tan z + B tan^3 z = 90 deg - |lat|,
// not a formula of the unrefracted altitude. Within a few degrees of the
// equator it stands in the haze of the horizon; RefractionErr at the pole says
// how well it is known.
func (p *Place) RefractedPole() sphere.Local {
	return sphere.LocalVec(p.lift.raise(p.TruePole().Vec()))
}
