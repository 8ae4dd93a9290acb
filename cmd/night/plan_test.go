package night

import (
	"math"
	"math/rand/v2"
	"testing"

	"pintle/axis"
	"pintle/axis/plan"
	"pintle/axis/unrest"
	"pintle/index/sphere"
)

// What a plan expects of a mount of which nothing is known, with the scatter that the
// plan verb takes for usual, is what nights of ordinary mounts then show, and what the
// fit then states: the same frames through all three.
func TestPlanExpectsWhatNightsShow(t *testing.T) {
	if testing.Short() {
		t.Skip("many nights")
	}
	nights := 12
	if *long {
		nights = 120
	}
	shown, stated := 0.0, 0.0
	for i := range nights {
		rng := rand.New(rand.NewPCG(seed, 7700+uint64(i)))
		s := kindred(rng)
		Unsettle(&s)
		n := build(t, s)
		ss := n.sightings(rng)
		r, err := axis.Fit(ss)
		if err != nil {
			t.Fatal(err)
		}
		e, err := n.expected(ss, unrest.Usual)
		if err != nil {
			t.Fatal(err)
		}
		d := float64(r.Axis.Sep(n.Truth(0).Axis) / e.Total())
		shown += d * d
		stated += math.Log(math.Sqrt(r.Cov[0][0]+r.Cov[1][1]) / float64(e.Total()))
	}
	z, q := math.Sqrt(shown/float64(nights)), math.Exp(stated/float64(nights))
	t.Logf("seed %d, %d nights: error over expected rms %.2f; the fit states %.2f of what was expected", seed, nights, z, q)
	if z < 0.7 || z > 1.3 || q < 0.7 || q > 1.3 {
		t.Errorf("seed %d: error over expected rms %.2f, stated %.2f of expected, want 0.7 to 1.3", seed, z, q)
	}
}

// expected is what a plan expects of the night's frames when they hold still to wobble.
func (n *Night) expected(ss []axis.Sighting, wobble sphere.Angle) (plan.Expected, error) {
	var frames []plan.Pointing
	for i := range ss {
		look := sphere.LocalVec(n.Truth(i).LocalFromCam.Apply(unitZ))
		frames = append(frames, plan.Pointing{Dir: look, Stars: float64(len(ss[i].Matches))})
	}
	scale := sphere.Angle(1 / n.Truth(0).Lens.F)
	c := plan.NewCamera(scale*sphere.Angle(n.spec.Camera.W), scale*sphere.Angle(n.spec.Camera.H), scale, wobble)
	still := func(sphere.Local) sphere.Angle { return 0 }
	return plan.Night{Pole: n.Truth(0).Axis, South: n.spec.Site.Lat < 0, Refraction: still}.Expect(c, frames)
}
