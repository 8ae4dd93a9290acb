package night

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis/drive"
	"pintle/index/sphere"
	"pintle/index/stars"
)

// Star is a star before the camera.
type Star struct {
	Sky    sphere.Sky // ICRS at the date: its true direction
	V, BV  float64    // BV is NaN when unknown
	ID     uint32     // in the embedded list
	Listed bool       // false for an invented faint star
	// X, Y is its pixel at the middle of the exposure, Flux the electrons it
	// brings to a bare or a green sensor in front of which is no cloud or ground.
	X, Y, Flux float64
	// Trail is from the pixel at the start to the pixel at the end of the exposure.
	Trail [2]float64
	// Way is where it stands at equal steps of the exposure, which need not lie on a
	// line; nil when it hardly moves.
	Way [][2]float64
}

// path returns the length of the star's way, px.
func (s *Star) path() (l float64) {
	for i := 1; i < len(s.Way); i++ {
		l += math.Hypot(s.Way[i][0]-s.Way[i-1][0], s.Way[i][1]-s.Way[i-1][1])
	}
	return l
}

// within reports whether some of the star's light falls on the frame or on a rim around
// it, px.
func (s *Star) within(c *Camera, rim float64) bool {
	x0, y0, x1, y1 := s.X, s.Y, s.X, s.Y
	for _, p := range s.Way {
		x0, x1 = min(x0, p[0]), max(x1, p[0])
		y0, y1 = min(y0, p[1]), max(y1, p[1])
	}
	return x1 > -rim && y1 > -rim && x0 < float64(c.W)+rim && y0 < float64(c.H)+rim
}

// Stars returns the stars above the horizon that fall on frame i or on a rim of
// a few pixels around it, listed ones first.
func (n *Night) Stars(i int) []Star { return n.shots[i].stars() }

// rim is how far outside the frame stars are still drawn, in widths of a star.
const rim = 4

// stars projects the sky.
func (s *shot) stars() []Star {
	spec := &s.night.spec
	t := s.truth()
	limit := math.Min(spec.faintest(trace), 20)
	epoch := julianYear(t.Mid)
	radius := s.reach(&t)
	list := stars.Embedded().Cone(nil, t.Centre, radius, limit, epoch)
	seen := make([]Star, 0, len(list))
	move := newScatter(spec.Seed, spec.Sky.Scatter)
	see := s.newEye(&t, limit)
	for _, c := range list {
		star := Star{Sky: move.place(c), V: float64(c.V), BV: float64(c.BV), ID: c.ID, Listed: true}
		if see.project(&star) {
			seen = append(seen, star)
		}
	}
	if spec.Sky.Faint {
		for _, star := range faintStars(spec.Seed, t.Centre, radius, limit, epoch) {
			if see.project(&star) {
				seen = append(seen, star)
			}
		}
	}
	return seen
}

// reach returns the radius about the middle that holds all that crosses the
// frame during the exposure.
func (s *shot) reach(t *Truth) sphere.Angle {
	c := &s.night.spec.Camera
	r := sphere.Angle(0)
	m := rim * c.PSF.FWHM
	for _, x := range []float64{-m, float64(c.W) + m} {
		for _, y := range []float64{-m, float64(c.H) + m} {
			r = max(r, t.Sky(x, y).Sep(t.Centre))
		}
	}
	return r + sphere.Arcminute + sphere.Angle(drive.Sidereal*c.Exposure.Seconds()) + s.motion.Turn.Abs() + s.motion.Dec.Abs()
}

// scatter moves listed stars to where they truly are, the same way every time.
type scatter struct {
	seed   uint64
	factor float64
	source *rand.PCG
	rng    *rand.Rand
}

func newScatter(seed uint64, factor float64) *scatter {
	src := rand.NewPCG(0, 0)
	return &scatter{seed, factor, src, rand.New(src)}
}

func (s *scatter) place(c stars.Star) sphere.Sky {
	if s.factor == 0 {
		return c.Pos
	}
	s.source.Seed(s.seed^0x5ca77e4, uint64(c.ID))
	v := c.Pos.Vec()
	k := s.factor * float64(c.Err)
	// Three components: the one along the line of sight does nothing.
	return sphere.SkyVec(r3.Add(v, r3.Vec{X: k * s.rng.NormFloat64(), Y: k * s.rng.NormFloat64(), Z: k * s.rng.NormFloat64()}))
}
