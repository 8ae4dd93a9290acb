package night

import (
	"math"
	"math/rand/v2"
	"time"

	"pintle/axis/place"
	"pintle/index/sphere"
)

// Random invents a night for a demonstration: a portable mount up to two degrees
// out of true under the standard atmosphere, a small camera, three frames. The
// same seed gives the same night.
func Random(seed uint64, south bool) Spec {
	rng := rand.New(rand.NewPCG(seed, 0x9e3779b97f4a7c15))
	return invent(rng, func() (Spec, wish) {
		s := Spec{Name: placeName(rng), Seed: rng.Uint64(), Site: demoSite(rng, south)}
		s.Air = place.StandardAir(s.Site.Elev)
		s.Sky = Sky{Brightness: between(rng, 19, 21.3), Extinction: between(rng, 0.15, 0.3), Scatter: 1, Faint: true}
		s.Sky.DX, s.Sky.DY = 0.1*rng.NormFloat64(), 0.1*rng.NormFloat64()
		s.Camera = demoCamera(rng)
		s.Setup = outOfTrue(rng, s.Site.Lat, 0.7*sphere.Degree, 1.9*sphere.Degree)
		return s, wish{stars: 25, frames: 3, low: 28 * sphere.Degree, span: between(rng, 55, 80), shortest: pick(rng, 2., 3)}
	})
}

// RandomFrame invents a single frame under a clear sky for measurements: a
// camera of 0.5 to 12 megapixels over 0.6 to 60 degrees, stars 1.2 to 6 pixels
// wide, any site and sky brightness, exposed until 6 to 40 listed stars show (to 12 in the narrowest).
// Alter may change sky and camera before the exposure is chosen.
func RandomFrame(rng *rand.Rand, alter func(*Spec)) Spec {
	diagonal := sphere.Angle(spread(rng, 0.6, 60)) * sphere.Degree
	pixels, aspect := spread(rng, 0.5e6, 12e6), pick(rng, 4/3., 3/2., 16/9., 1)
	size := [2]int{2 * int(math.Sqrt(pixels*aspect)/2), 2 * int(math.Sqrt(pixels/aspect)/2)}
	stars := int(spread(rng, 6, min(40, 20*diagonal.Degrees()))) // the list holds about 10 in 0.6 degrees
	return invent(rng, func() (Spec, wish) {
		s := Spec{Seed: rng.Uint64(), Site: anySite(rng)}
		s.Air = place.StandardAir(s.Site.Elev)
		s.Sky = Sky{Brightness: between(rng, 17.8, 21.8), Extinction: between(rng, 0.1, 0.4), Scatter: 1, Faint: true}
		s.Camera = anyCamera(rng, diagonal, size)
		s.Camera.PSF.FWHM = spread(rng, 1.2, 6)
		alter(&s)
		s.Setup = outOfTrue(rng, s.Site.Lat, 1.2*sphere.Degree, 4*sphere.Degree)
		return s, wish{stars: stars, frames: 1, low: 20 * sphere.Degree, shortest: pick(rng, 0.25, 0.5, 1, 2, 4)}
	})
}

// wish is what the frames of a night must meet.
type wish struct {
	stars    int // of the list, that show in every frame
	frames   int
	low      sphere.Angle // the least altitude of a frame's middle
	span     float64      // degrees of RA turn from the first frame to the last
	shortest float64      // exposure, s
}

// invent completes drafts until one can be photographed: dark sky, all frames
// high enough, an exposure that shows enough stars.
func invent(rng *rand.Rand, draft func() (Spec, wish)) Spec {
	for range 10000 { // far more than it ever takes
		s, w := draft()
		s.Camera.Exposure = time.Second
		if setDark(rng, &s) && aim(rng, &s, w) && expose(&s, w) {
			return s
		}
	}
	panic("night: impossible: no draft of a night will do")
}

// outOfTrue invents how a portable mount stands: its axis off by about sigma
// per direction, at most most in all.
func outOfTrue(rng *rand.Rand, lat, sigma, most sphere.Angle) Setup {
	up, side := 2*most, sphere.Angle(0)
	for math.Hypot(float64(up), float64(side)) > float64(most) {
		up, side = sigma*sphere.Angle(rng.NormFloat64()), sigma*sphere.Angle(rng.NormFloat64())
	}
	deg := sphere.Degree
	return Setup{
		ErrAlt: up, ErrAz: side / sphere.Angle(lat.Cos()),
		Lean: sphere.Angle(math.Abs(0.8*rng.NormFloat64())) * deg, LeanAz: sphere.Angle(between(rng, 0, 360)) * deg,
		Cone: sphere.Angle(25*rng.NormFloat64()) * sphere.Arcminute, Roll: sphere.Angle(between(rng, -180, 180)) * deg,
		Tracking: true, Worm: sphere.Angle(between(rng, 3, 20)) * sphere.Arcsecond, Period: time.Duration(between(rng, 240, 640)) * time.Second,
	}
}

func between(rng *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*rng.Float64() }

func pick[T any](rng *rand.Rand, list ...T) T { return list[rng.IntN(len(list))] }

// spread draws a value whose logarithm is uniform.
func spread(rng *rand.Rand, lo, hi float64) float64 { return lo * math.Pow(hi/lo, rng.Float64()) }
