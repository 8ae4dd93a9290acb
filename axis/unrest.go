package axis

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// Beliefs, before any frame is seen, about how much mount and air turn the frames
// besides the turn about the axis. They matter where frames are too few to tell:
// three pointings lie on one circle always.
//
// Scatter has a size per frame and axis. Either everything stands still but for
// what the stars show (photographs by simulators; long exposures on a firm pier), or
// it moves by fractions of an arcsecond to a few: a telescope of 5 cm shows 0.3
// arcsec of slow image motion in 2 s under seeing of 2 arcsec, see imageMotion in the
// tests; wind, gears and tripods add as much and more (common practice, no source).
// A share is left for anything. The logarithm of the size is normal about the usual
// one, and even for anything. A mount whose scatter is known from other evenings has
// that instead, see [Manner].
//
// Sag is the turn of the camera against the mount that grows with the part of
// gravity along it: most of it a droop, a third in any other way. A few arcsec are
// usual (common practice, no source), but what stands still to a thousandth of an
// arcsecond does not bend by arcseconds either: the sag that is believed grows with
// the root of the scatter. The frames cannot say: a droop moves them across the turn
// as another axis would, and shows in nothing but how they are turned about the line
// of sight.
//
// The shares are chosen by simulation (TestDisturbedNights of cmd/night) so that the
// error of a mount that moves is stated whole. Three and four narrow frames cannot
// tell it from one that stands still, whose error is then stated too large.
const (
	firmShare, firmScatter, firmSpread    = 0.52, 0.0015 * sphere.Arcsecond, 0.6
	looseShare, looseScatter, looseSpread = 0.45, 0.6 * sphere.Arcsecond, 1.4
	wildScatter                           = 2 * sphere.Arcsecond
	usualSag, sagAt, sagPower, sagSpread  = 3 * sphere.Arcsecond, 0.5 * sphere.Arcsecond, 0.5, 0.8

	leastScatter = 0.0006 * sphere.Arcsecond
	mostTurned   = 2 * sphere.Degree
)

// unrest is one belief about the sizes, radians.
type unrest struct {
	scatter float64
	sag     []float64 // each as likely as its weight
	log     float64   // of the scatter's prior
}

// Manner is what other evenings have shown of a mount. The zero value is a mount of
// which nothing is known.
type Manner struct {
	// Scatter is the usual scatter of its frames about one rotation, standard
	// deviation per axis, as in [Result.Tilt].
	Scatter sphere.Angle
	// Evenings is how many evenings say so; 0 when the owner does.
	Evenings int
}

// How well a scatter is known: its logarithm varies from evening to evening (wind,
// seeing; common practice, no source), and one evening of a few frames is known to
// about as much. What the owner says counts as ownWord evenings. One evening in ten
// is like that of any mount.
const (
	eveningSpread = 0.5
	frameSpread   = 0.6
	ownWord       = 4
	otherwise     = 0.10
)

// beliefs is the grid over which the answers are averaged.
type beliefs []unrest

var anyMount = Manner{}.beliefs()

// sagWeights are those of sags at -sqrt(3), 0 and sqrt(3) standard deviations of their
// logarithm (Gauss-Hermite).
var sagWeights = [3]float64{1. / 6, 2. / 3, 1. / 6}

func (m Manner) beliefs() (out beliefs) {
	const step = 1.6
	for s := leastScatter; s < mostTurned; s *= step {
		u := unrest{scatter: float64(s), log: math.Log(m.density(s))}
		for i := range sagWeights {
			u.sag = append(u.sag, float64(usualSag)*math.Pow(float64(s/sagAt), sagPower)*math.Exp(math.Sqrt(3)*float64(i-1)*sagSpread))
		}
		out = append(out, u)
	}
	return out
}

// density returns the density of the logarithm of the scatter.
func (m Manner) density(s sphere.Angle) float64 {
	normal := func(s, middle sphere.Angle, spread float64) float64 {
		u := math.Log(float64(s/middle)) / spread
		return math.Exp(-u*u/2) / (math.Sqrt(2*math.Pi) * spread)
	}
	p := firmShare*normal(s, firmScatter, firmSpread) + looseShare*normal(s, looseScatter, looseSpread)
	if s > wildScatter {
		p += (1 - firmShare - looseShare) * 3 * math.Pow(float64(wildScatter/s), 3)
	}
	if m.Scatter <= 0 {
		return p
	}
	n := float64(m.Evenings)
	if n < 1 {
		n = ownWord
	}
	spread := math.Sqrt(eveningSpread*eveningSpread + (eveningSpread*eveningSpread+frameSpread*frameSpread)/n)
	return otherwise*p + (1-otherwise)*normal(s, max(m.Scatter, 2*leastScatter), spread)
}

// sags is the number of columns of sag.
const sags = 7

// sag returns how the frames turn, each in its camera's frame, when gravity bends
// the camera: a droop toward the ground first, then each of two tilts by each part
// of gravity.
func (a attitudes) sag() [][]float64 {
	z := make([][]float64, sags)
	for i := range z {
		z[i] = make([]float64, 3*len(a.camFromLocal))
	}
	for i, r := range a.camFromLocal {
		down := r.Apply(r3.Vec{Z: -1})
		droop := r3.Cross(unitZ, down)
		z[0][3*i], z[0][3*i+1] = droop.X, droop.Y
		for k, d := range [3]float64{down.X, down.Y, down.Z} {
			z[1+k][3*i], z[4+k][3*i+1] = d/3, d/3
		}
	}
	return z
}
