package night

import (
	"math"
	"math/rand/v2"
	"time"

	"pintle/axis/place"
	"pintle/index/optics"
	"pintle/index/sphere"
)

// Nights for measurements: tests alone invent them, those of this package and those
// beside it that see only what is exported.

// RandomSpec invents a night for measurements: any camera from 0.6 to 60 degrees
// over the diagonal, any site from 2 to 68 degrees latitude, measured weather,
// an axis up to four degrees out of true, 3 to 5 frames, some through cloud and
// some with a motor that stands still.
func RandomSpec(rng *rand.Rand) Spec {
	diagonal := sphere.Angle(spread(rng, 0.6, 60)) * sphere.Degree
	return invent(rng, func() (Spec, wish) { return draft(rng, diagonal) })
}

// draft invents a night for measurements, its frames and exposure left open.
func draft(rng *rand.Rand, diagonal sphere.Angle) (Spec, wish) {
	s := Spec{Name: placeName(rng), Seed: rng.Uint64(), Site: anySite(rng)}
	s.Air = place.StandardAir(s.Site.Elev)
	s.Air = place.Air{
		Pressure: s.Air.Pressure * (1 + 0.01*rng.NormFloat64()),
		Temp:     s.Air.Temp + between(rng, -20, 10), Humidity: between(rng, 0.1, 0.95),
	}
	s.Sky = Sky{
		Brightness: between(rng, 17.8, 21.8), Extinction: between(rng, 0.1, 0.4),
		Skyline: sphere.Angle(between(rng, 0, 8)) * sphere.Degree, Scatter: 1, Faint: true,
	}
	s.Sky.DX, s.Sky.DY = 0.2*rng.NormFloat64(), 0.2*rng.NormFloat64()
	if rng.IntN(8) == 0 {
		s.Sky.Cloud = between(rng, 0.05, 0.35)
	}
	s.Camera = anyCamera(rng, diagonal, pick(rng, [2]int{640, 480}, [2]int{1280, 960}, [2]int{1500, 1000}, [2]int{1936, 1216}, [2]int{2400, 1600}))
	s.Setup = outOfTrue(rng, s.Site.Lat, 1.2*sphere.Degree, 4*sphere.Degree)
	s.Setup.Tracking = rng.IntN(5) > 0
	return s, wish{stars: 12, frames: 3 + rng.IntN(3), low: 20 * sphere.Degree, span: between(rng, 40, 100), shortest: pick(rng, 0.25, 0.5, 1, 2, 4)}
}

// Unsettle makes mount and air of a night ordinary ones: frames that scatter by 0.7
// arcsec per axis, a camera that sags by 3 arcsec (common practice, no source).
func Unsettle(s *Spec) {
	s.Setup.Shake, s.Setup.Sag = 0.7*sphere.Arcsecond, 3*sphere.Arcsecond
}

// WideSpec invents a night for measurements, as RandomSpec does, with a wide lens:
// half of them rectilinear, of 60 to 118 degrees over the diagonal, half fisheyes of
// 90 to 175, of any kind. Ground is in most of the pictures.
func WideSpec(rng *rand.Rand) Spec {
	law, diagonal := optics.Rectilinear, spread(rng, 60, 118)
	if rng.IntN(2) == 0 {
		law, diagonal = pick(rng, optics.Stereographic, optics.Equidistant, optics.Equisolid), spread(rng, 90, 175)
	}
	return invent(rng, func() (Spec, wish) {
		s := Spec{Name: placeName(rng), Seed: rng.Uint64(), Site: anySite(rng)}
		s.Air = place.StandardAir(s.Site.Elev)
		s.Air.Err = 0
		s.Sky = Sky{
			Brightness: between(rng, 18.5, 21.8), Extinction: between(rng, 0.1, 0.4),
			Skyline: sphere.Angle(between(rng, 0, 8)) * sphere.Degree, Scatter: 1,
		}
		s.Sky.DX, s.Sky.DY = 0.2*rng.NormFloat64(), 0.2*rng.NormFloat64()
		s.Camera = wideCamera(rng, law, sphere.Angle(diagonal)*sphere.Degree)
		s.Setup = outOfTrue(rng, s.Site.Lat, 1.2*sphere.Degree, 4*sphere.Degree)
		return s, wish{stars: 60, frames: 3 + rng.IntN(2), low: 30 * sphere.Degree, span: between(rng, 40, 90), shortest: pick(rng, 1., 2, 4)}
	})
}

// wideCamera invents a camera with a wide lens.
func wideCamera(rng *rand.Rand, law optics.Law, diagonal sphere.Angle) Camera {
	c := anyCamera(rng, 60*sphere.Degree, pick(rng, [2]int{1280, 960}, [2]int{1500, 1000}, [2]int{1936, 1216}, [2]int{2400, 1600}))
	half := math.Hypot(float64(c.W), float64(c.H)) / 2 * c.Pixel * 1e-3
	c.Law, c.Focal = law, half/law.Radius(diagonal/2)
	c.Aperture = c.Focal / between(rng, 1.4, 4)
	c.Nominal = 0
	if c.Focal > 2 && rng.IntN(2) == 0 {
		c.Nominal = math.Round(c.Focal)
	}
	c.K1, c.K2 = between(rng, -0.05, 0.03), between(rng, -0.01, 0.01)
	c.Exposure = time.Second
	return c
}

// Long reports whether tests may take minutes.
func Long() bool { return *long }

// SmallSpec invents a clear night of so many frames for measurements of what their stars
// look like: pictures of half a megapixel, 1 to 12 degrees, a motor that runs.
func SmallSpec(rng *rand.Rand, frames int) Spec {
	diagonal := sphere.Angle(spread(rng, 1, 12)) * sphere.Degree
	return invent(rng, func() (Spec, wish) {
		s, w := draft(rng, diagonal)
		s.Camera = anyCamera(rng, diagonal, [2]int{820, 614})
		s.Sky.Cloud, s.Setup.Tracking, s.Sky.Faint = 0, true, false
		w.frames, w.stars, w.shortest = frames, 20, 2
		return s, w
	})
}
