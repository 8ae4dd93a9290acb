package gear

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// Turned is what one adjuster did between two looks at the sky: the motion of
// the axis, with standard errors. Alt is up positive, Az clockwise seen from
// above positive (larger azimuth), as the adjuster's own angle.
type Turned struct {
	Alt, Az       sphere.Angle
	SigAlt, SigAz sphere.Angle
	RA            sphere.Angle // turn about the RA axis, with the sky positive; 0 from axes alone
}

// Attitude is the camera's direction in the local frame, with the covariance
// of its small rotation vector (rad^2, local axes).
type Attitude struct {
	LocalFromCam sphere.Rot
	Cov          *mat.SymDense
}

// BetweenAxes returns what turned between two measured axes, each known to
// sigma a coordinate on the sky.
func BetweenAxes(before, after sphere.Local, sigma sphere.Angle) Turned {
	az0, alt0 := before.AzAlt()
	az1, alt1 := after.AzAlt()
	s := sigma * math.Sqrt2
	return Turned{Alt: alt1 - alt0, Az: (az1 - az0).Wrap(), SigAlt: s, SigAz: s / sphere.Angle(alt0.Cos())}
}

// BetweenAttitudes returns what turned between two attitudes of a camera that
// is fixed to the mount. The motion is taken apart, exactly, into a turn about
// the vertical, one about the horizontal axis across the mount and one about
// the RA axis (tracking, or the user), carried by each other in that order.
// The axis need only be known roughly: an error of one degree in it costs 2 %
// of the RA turn. It fails where two of the three axes nearly coincide: with
// the pole in the zenith.
func BetweenAttitudes(before, after Attitude, axis sphere.Local) (Turned, error) {
	p := axis.Vec()
	up := r3.Vec{Z: 1}
	across := r3.Cross(p, up) // turning about it raises the axis
	if r3.Norm(across) < 0.05 {
		_, alt := axis.AzAlt()
		return Turned{}, fmt.Errorf("axis at altitude %.1f deg: within 3 degrees of the zenith azimuth and RA turns look alike", alt.Degrees())
	}
	across = r3.Unit(across)
	want := after.LocalFromCam.Mul(before.LocalFromCam.Inv())
	var x [3]float64 // az (right-handed about up), alt, RA (right-handed about p)
	var j mat.Dense
	for range 20 {
		az, alt := sphere.Turn(up, sphere.Angle(x[0])), sphere.Turn(across, sphere.Angle(x[1]))
		got := az.Mul(alt).Mul(sphere.Turn(p, sphere.Angle(x[2])))
		miss := want.Mul(got.Inv()).Vec()
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
	sig, err := spread(&j, before.Cov, after.Cov)
	if err != nil {
		return Turned{}, err
	}
	// With the sky: westward, which is against the right-handed sense about the
	// north pole and with it about the south pole.
	ra := sphere.Angle(x[2])
	if p.Y >= 0 {
		ra = -ra
	}
	return Turned{Alt: sphere.Angle(x[1]), Az: -sphere.Angle(x[0]), SigAlt: sig[1], SigAz: sig[0], RA: ra}, nil
}

// spread returns the standard errors of the three turns.
func spread(j *mat.Dense, a, b *mat.SymDense) (sig [3]sphere.Angle, err error) {
	var sum mat.SymDense
	sum.AddSym(a, b)
	var inv mat.Dense
	if err := inv.Inverse(j); err != nil {
		return sig, fmt.Errorf("the motion cannot be taken apart: %w", err)
	}
	var t, c mat.Dense
	t.Mul(&inv, &sum)
	c.Mul(&t, inv.T())
	for i := range sig {
		sig[i] = sphere.Angle(math.Sqrt(math.Max(0, c.At(i, i))))
	}
	return sig, nil
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
