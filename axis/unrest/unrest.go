// Package unrest is what is believed, before any frame is seen, of how much mount and
// air turn whole frames besides the turn about the axis. The fit averages over it and
// a plan expects by it.
//
// It matters where frames are too few to tell: three pointings lie on one circle
// always.
package unrest

import (
	"math"

	"pintle/index/sphere"
)

// Scatter has a size per frame and axis. Either everything stands still but for what
// the stars show, as only photographs by simulators do; or it moves, at least by what
// the air does: a telescope of 3 to 40 cm shows 0.1 to 0.7 arcsec of slow image motion
// in 0.5 to 60 s under seeing of 1 to 4 arcsec, see [ImageMotion]. Wind, gears and
// tripods add as much and more (common practice, no source). The logarithm of the size
// is normal about the usual one; a share is left for wild ones, whose number falls with
// the square of the size.
//
// Sag is the turn of the camera against the mount that grows with the part of
// gravity along it: most of it a droop, a third in any other way. A few arcsec are
// usual (common practice, no source), more on what scatters more. What stands as no real
// sky lets it stand is not believed to sag, but for one in seven: few frames may look so
// by chance. Of a mount that is known to stand so, one in fifty is. The frames cannot say: a
// droop turns them, whole, as another axis, another place of the camera and other turns
// do (TestNoFramesShowDroop of package axis), however many and wide they are.
//
// The shares are chosen by simulation (on other nights than those that DEVELOPERS.md
// tells of) so that the error of a mount that moves is stated whole with any number of
// frames; what that costs with a mount that stands still is told there.
const (
	stillShare, stillScatter, stillSpread    = 0.45, 0.0015 * sphere.Arcsecond, 0.6
	movingShare, movingScatter, movingSpread = 0.50, 0.7 * sphere.Arcsecond, 1.0
	wildScatter, wildPower                   = 2 * sphere.Arcsecond, 2.5

	usualSag, sagAt, sagPower, sagSpread = 1.5 * sphere.Arcsecond, 0.5 * sphere.Arcsecond, 0.5, 0.75

	// Usual is the scatter to reckon with where nothing is known.
	Usual = movingScatter

	unreal     = 0.02 * sphere.Arcsecond // of scatter: less than any sky
	stillSags  = 0.15                    // share of what stands still that sags all the same
	firmSags   = 0.02                    // the same of what is known to stand still
	noSag      = 0.001 * sphere.Arcsecond
	stillsSag  = 3.0 * sphere.Arcsecond
	least      = 0.0006 * sphere.Arcsecond
	mostTurned = 2 * sphere.Degree
)

// Belief is one belief about the sizes: a scatter, radians, with the logarithm of how
// likely it is, and the sags that go with it.
type Belief struct {
	Scatter, Log float64
	Sags         []Sag
}

// Sag is a size of the sag, radians, with the logarithm of its share.
type Sag struct{ Size, Log float64 }

// Manner is what other evenings have shown of a mount. The zero value is a mount of
// which nothing is known.
type Manner struct {
	// Scatter is the usual scatter of its frames about one rotation, standard
	// deviation per axis.
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

// Beliefs returns a grid over the sizes of the scatter, the same whatever the manner but
// for how likely each is.
func (m Manner) Beliefs() (out []Belief) {
	const step = 1.6
	for s := least; s < mostTurned; s *= step {
		out = append(out, Belief{Scatter: float64(s), Log: math.Log(m.density(s)), Sags: m.sags(s)})
	}
	return out
}

// density returns the density of the logarithm of the scatter.
func (m Manner) density(s sphere.Angle) float64 {
	p := stillShare*normal(s, stillScatter, stillSpread) + movingShare*normal(s, movingScatter, movingSpread)
	if s > wildScatter {
		p += (1 - stillShare - movingShare) * wildPower * math.Pow(float64(wildScatter/s), wildPower)
	}
	if m.Scatter <= 0 {
		return p
	}
	n := float64(m.Evenings)
	if n < 1 {
		n = ownWord
	}
	spread := math.Sqrt(eveningSpread*eveningSpread + (eveningSpread*eveningSpread+frameSpread*frameSpread)/n)
	return otherwise*p + (1-otherwise)*normal(s, max(m.Scatter, 2*least), spread)
}

// normal is the density of the logarithm of s when that is normal about that of middle.
func normal(s, middle sphere.Angle, spread float64) float64 {
	u := math.Log(float64(s/middle)) / spread
	return math.Exp(-u*u/2) / (math.Sqrt(2*math.Pi) * spread)
}

// sags returns the sags believed of what scatters by s: the logarithm is normal, by its
// values at -sqrt(3), 0 and sqrt(3) standard deviations (Gauss-Hermite).
func (m Manner) sags(s sphere.Angle) []Sag {
	if s < unreal {
		share := stillSags
		if m.Scatter > 0 {
			share = firmSags
		}
		return []Sag{{float64(noSag), math.Log(1 - share)}, {float64(stillsSag), math.Log(share)}}
	}
	usual := usualSag * sphere.Angle(math.Pow(float64(s/sagAt), sagPower))
	var out []Sag
	for i, w := range [3]float64{1. / 6, 2. / 3, 1. / 6} {
		out = append(out, Sag{float64(usual) * math.Exp(math.Sqrt(3)*float64(i-1)*sagSpread), math.Log(w)})
	}
	return out
}

// SagOf returns the root mean square of the sags that are believed of what scatters by
// s, a standard error of what cannot be seen.
func SagOf(s sphere.Angle) sphere.Angle {
	sum := 0.0
	for _, x := range (Manner{}).sags(s) {
		sum += math.Exp(x.Log) * x.Size * x.Size
	}
	return sphere.Angle(math.Sqrt(sum))
}
