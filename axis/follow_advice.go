package axis

import (
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// Advice says whether the axis should be measured anew.
type Advice int

// Reasons to measure the axis anew. Of several the first is given.
const (
	NoNeed         Advice = iota
	DecTurned             // the declination axis was turned, or may have been
	TripodMoved           // the tripod was
	CameraMoved           // the camera was
	TripodOrCamera        // one of the two was
	Unclear               // the frames leave open what was done, and it matters
	Worn                  // the error has grown with the turns, too large for the tolerance
	Rough                 // the axis was not measured well enough for the tolerance
)

// String names the advice for developers.
func (a Advice) String() string {
	return name(int(a), "no need", "declination turned", "tripod moved", "camera moved", "tripod or camera moved", "unclear", "worn", "rough")
}

// advise looks for a reason to measure anew.
func (f *Follower) advise(s *State) Advice {
	var dec, tripod, camera float64
	for i := range f.branches {
		b := &f.branches[i]
		switch {
		case b.touched.Has(TouchTripod):
			tripod += b.weight
		case b.touched.Has(TouchCamera):
			camera += b.weight
		case b.touched.Has(TouchDec):
			dec += b.weight
		}
	}
	const likely = 0.3 // no source, as the factor 3 below and those of the errors: chosen on simulated nights
	tolerance := f.Tolerance
	if tolerance <= 0 {
		tolerance = sphere.Arcminute
	}
	err := sphere.Angle(math.Sqrt(s.Cov[0][0] + s.Cov[1][1]))
	rough := err > tolerance/3 && s.Offset.Total < tolerance+4*err
	switch {
	case dec+tripod+camera < likely:
	case dec > tripod+camera:
		return DecTurned
	case tripod > 3*camera:
		return TripodMoved
	case camera > 3*tripod:
		return CameraMoved
	default:
		return TripodOrCamera
	}
	switch {
	case !rough:
		return NoNeed
	case err > 2*f.branches[0].axisError(): // the branches say different things
		return Unclear
	case float64(err) > 1.3*f.first:
		return Worn
	}
	return Rough
}

// Ahead is the standard error of the axis, on the sky, after the adjusters will
// have been turned by any amount while the camera looks where it does: what it
// is now and what one more frame like the last cannot tell. It is large where the
// camera cannot see a turn well: altitude when it looks along the adjuster's
// axis, east or west at the horizon; azimuth when it looks to the zenith; both
// when RA is also turned and the field is narrow.
type Ahead struct{ Alt, Az, Both sphere.Angle }

// ahead works out the errors to expect on the likeliest branch, as if a frame
// like the last were taken 20 s later.
func (f *Follower) ahead() (a Ahead) {
	b := &f.branches[0]
	cov := f.view
	for p := range 3 {
		cov[p][p] += f.calm.Variance
	}
	x, s := b.expect(20*time.Second, b.drive, f.sign)
	q := b.after(&x)
	g, ok := newGlimpse(q.camFromLocal, cov, r3.Vec{})
	if !ok {
		return a
	}
	const wide = 10 * float64(sphere.Degree)
	for _, t := range []struct {
		to    *sphere.Angle
		turns spreads
	}{{&a.Alt, spreads{{pAlt: wide}}}, {&a.Az, spreads{{pAz: wide}}}, {&a.Both, spreads{{pAlt: wide}, {pAz: wide}}}} {
		all := append(slices.Clone(s), t.turns...)
		u := b.see(&x, all, &g)
		next := b.stepped(&u.mean, u.spreads(all))
		*t.to = next.axisError()
	}
	return a
}

// axisError returns the expected length of the axis' error on the sky, root mean
// square.
func (b *belief) axisError() sphere.Angle {
	ex, ey := b.square()
	sum := 0.0
	for _, c := range b.spreads() {
		move := r3.Sub(r3.Scale(c[pAxis+1], ex), r3.Scale(c[pAxis], ey))
		sum += r3.Norm2(r3.Sub(move, r3.Cross(vec3(c[pCam:]), b.pose.axis)))
	}
	return sphere.Angle(math.Sqrt(sum))
}
