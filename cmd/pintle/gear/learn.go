package gear

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis"
	"pintle/axis/drive"
	"pintle/index/sphere"
)

// Turned is what one adjuster did between two looks at the sky: the motion of
// the axis, with standard errors. Alt is up positive, Az clockwise seen from
// above positive (larger azimuth), as the adjuster's own angle.
type Turned struct {
	Alt, Az       sphere.Angle
	SigAlt, SigAz sphere.Angle
	RA, SigRA     sphere.Angle // turn about the RA axis, with the sky positive; 0 from axes alone
	// cov is the covariance of Alt, Az and RA, rad^2; zero from axes alone.
	cov [3][3]float64
}

// WithRA returns the motion when the RA turn is known to be ra, as of a mount
// that tracks, or stands still: a narrow field tells the turn about its own
// line of sight poorly, and what is known of RA makes good for it.
func (t Turned) WithRA(ra, sigma sphere.Angle) Turned {
	v := t.cov[2][2] + float64(sigma*sigma)
	if !(t.cov[2][2] > 0) {
		return t
	}
	miss := float64(ra - t.RA)
	gain := [3]float64{t.cov[0][2] / v, t.cov[1][2] / v, t.cov[2][2] / v}
	t.Alt += sphere.Angle(gain[0] * miss)
	t.Az += sphere.Angle(gain[1] * miss)
	t.RA += sphere.Angle(gain[2] * miss)
	row := t.cov[2]
	for i := range 3 {
		for j := range 3 {
			t.cov[i][j] -= gain[i] * row[j]
		}
	}
	t.setSigmas()
	return t
}

func (t *Turned) setSigmas() {
	for i, s := range []*sphere.Angle{&t.SigAlt, &t.SigAz, &t.SigRA} {
		*s = sphere.Angle(math.Sqrt(math.Max(0, t.cov[i][i])))
	}
}

// Between returns what turned between two looks at the sky, the axis being near
// the pole. tracking is "on", "off", or "" when it is not known. An
// *axis.WeakError says that the stars do not tell.
func Between(before, after axis.Sighting, tracking string) (Turned, error) {
	motion, cov, err := axis.Between(before, after)
	if err != nil {
		return Turned{}, err
	}
	t, err := takeApart(motion, cov, before.Place.RefractedPole())
	if err != nil {
		return t, err
	}
	return settleRA(t, sphere.Angle(drive.Sidereal*after.Time.Sub(before.Time).Seconds()), tracking), nil
}

// rateKept is how well a drive keeps its rate over a minute (no source).
const rateKept = 15 * sphere.Arcsecond

// settleRA uses that the mount either tracked or stood still: as it was told,
// or else when only one of the two fits.
func settleRA(t Turned, sky sphere.Angle, tracking string) Turned {
	fits := func(ra sphere.Angle) bool { return (t.RA - ra).Abs() < 4*(t.SigRA+rateKept) }
	switch {
	case tracking == "on" || tracking == "" && fits(sky) && !fits(0):
		return t.WithRA(sky, rateKept)
	case tracking == "off" || tracking == "" && fits(0) && !fits(sky):
		return t.WithRA(0, sphere.Arcsecond)
	}
	return t
}

// takeApart returns what turned when a camera that is fixed to the mount has
// made a motion, known with the covariance cov (a rotation vector, local axes,
// square radians). The motion is taken apart, exactly, into a turn about the
// vertical, one about the horizontal axis across the mount and one about the
// RA axis (tracking, or the user), carried by each other in that order. The
// axis need only be known roughly: one degree off is allowed for in the errors.
// It fails where two of the three axes nearly coincide: with the
// pole in the zenith.
func takeApart(motion sphere.Rot, cov *mat.SymDense, axis sphere.Local) (_ Turned, err error) {
	p := axis.Vec()
	up := r3.Vec{Z: 1}
	across := r3.Cross(p, up) // turning about it raises the axis
	if r3.Norm(across) < 0.05 {
		_, alt := axis.AzAlt()
		return Turned{}, fmt.Errorf("axis at altitude %.1f deg: within 3 degrees of the zenith azimuth and RA turns look alike", alt.Degrees())
	}
	across = r3.Unit(across)
	var x [3]float64 // az (right-handed about up), alt, RA (right-handed about p)
	var j mat.Dense
	for range 20 {
		az, alt := sphere.Turn(up, sphere.Angle(x[0])), sphere.Turn(across, sphere.Angle(x[1]))
		got := az.Mul(alt).Mul(sphere.Turn(p, sphere.Angle(x[2])))
		miss := motion.Mul(got.Inv()).Vec()
		cols := []r3.Vec{up, az.Apply(across), az.Apply(alt.Apply(p))}
		j = *mat.NewDense(3, 3, []float64{
			cols[0].X, cols[1].X, cols[2].X,
			cols[0].Y, cols[1].Y, cols[2].Y,
			cols[0].Z, cols[1].Z, cols[2].Z})
		var step mat.VecDense
		if err := step.SolveVec(&j, mat.NewVecDense(3, []float64{miss.X, miss.Y, miss.Z})); err != nil {
			return Turned{}, fmt.Errorf("the motion cannot be taken apart: %w", err)
		}
		for i := range x {
			x[i] += step.AtVec(i)
		}
		if mat.Norm(&step, 2) < 1e-14 {
			break
		}
	}
	// With the sky: westward, which is against the right-handed sense about the
	// north pole and with it about the south pole.
	sky := 1.0
	if p.Y >= 0 {
		sky = -1
	}
	t := Turned{Alt: sphere.Angle(x[1]), Az: -sphere.Angle(x[0]), RA: sphere.Angle(sky * x[2])}
	if t.cov, err = spread(&j, cov, [3]float64{1, -1, sky}); err != nil {
		return Turned{}, err
	}
	rough := float64(t.RA) * float64(offAxis)
	t.cov[0][0] += rough * rough
	t.cov[1][1] += rough * rough / (1 - p.Z*p.Z)
	t.setSigmas()
	return t, nil
}

// offAxis is how far the axis may be from where it is taken to be: a part of
// the RA turn then passes for turns of the adjusters.
const offAxis = sphere.Degree

// spread returns the covariance of altitude, azimuth and RA turns, signed as
// in Turned, from that of the motion.
func spread(j *mat.Dense, motion *mat.SymDense, sign [3]float64) (cov [3][3]float64, err error) {
	var inv mat.Dense
	if err := inv.Inverse(j); err != nil {
		return cov, fmt.Errorf("the motion cannot be taken apart: %w", err)
	}
	var t, c mat.Dense
	t.Mul(&inv, motion)
	c.Mul(&t, inv.T())
	from := [3]int{1, 0, 2} // the fit's order is azimuth, altitude, RA
	for i := range 3 {
		for k := range 3 {
			cov[i][k] = sign[i] * sign[k] * c.At(from[i], from[k])
		}
	}
	return cov, nil
}

// Pitch is what one turn of an adjuster does.
type Pitch struct {
	PerTurn sphere.Angle // positive
	Sigma   sphere.Angle
	Sense   string // as it goes into the file
}

// Learn returns an adjuster's pitch from what it did in a number of turns,
// clockwise positive; which is KindAlt or KindAz. It refuses a motion that is
// lost in its error, or one that was mostly the other adjuster's.
func Learn(which string, t Turned, turns float64) (Pitch, error) {
	if !(math.Abs(turns) >= 0.05 && math.Abs(turns) <= 100) {
		return Pitch{}, fault("", "one full turn is best; a turn counter-clockwise is -1", "%g turns is outside 0.05 to 100", turns)
	}
	own, sig, other, otherSig, sense := t.Alt, t.SigAlt, t.Az, t.SigAz, [2]string{Raises, Lowers}
	if which == KindAz {
		own, sig, other, otherSig, sense = t.Az, t.SigAz, t.Alt, t.SigAlt, [2]string{Clockwise, Counter}
	}
	switch {
	case own.Abs() < 5*sig:
		return Pitch{}, fault("", "turn the adjuster further, or take longer exposures with more stars",
			"the %s changed by %.1f arcmin with a standard error of %.1f", which, own.Arcminutes(), sig.Arcminutes())
	case other.Abs()-3*otherSig > own.Abs()/2:
		return Pitch{}, fault("", "turn only one adjuster, and do not touch the tripod",
			"not only the %s changed: altitude by %.1f and azimuth by %.1f arcmin", which, t.Alt.Arcminutes(), t.Az.Arcminutes())
	}
	p := Pitch{PerTurn: own.Abs() / sphere.Angle(math.Abs(turns)), Sigma: sig / sphere.Angle(math.Abs(turns)), Sense: sense[0]}
	if (own > 0) != (turns > 0) {
		p.Sense = sense[1]
	}
	return p, nil
}

// The adjusters.
const (
	KindAlt = "altitude"
	KindAz  = "azimuth"
)
