package axis

import (
	"math"
	"math/rand/v2"
	"testing"

	"pintle/axis/plan"
	"pintle/index/optics"
	"pintle/index/sphere"
)

// What is expected is what the joint fit then states: the same frames through
// both. Stars of uneven quality count by their mean weight, and the scatter of
// frames that the fit found counts as wobble. The fit also pays for its lens.
func TestExpectAgainstFit(t *testing.T) {
	statistical(t)
	rng := rand.New(rand.NewPCG(seed, 33))
	for range 12 {
		n := random(rng, 3)
		n.lens = optics.NewLens(n.w, n.h, 3*sphere.Arcsecond)
		n.stars, n.err, n.catErr = 150, 0.1, 0
		r, err := Fit(n.sightings(t, rng))
		if err != nil {
			t.Fatal(err)
		}
		var frames []plan.Pointing
		weight := math.Exp(2 * 0.7 * 0.7) // mean of 1/e^2 for e lognormal with 0.7
		for i := range n.turns {
			b := n.localFromCam(i, rng).Apply(unitZ)
			frames = append(frames, plan.Pointing{Dir: sphere.LocalVec(b), Stars: float64(n.stars)})
		}
		c := plan.Camera{Width: sphere.Angle(n.w) * 3 * sphere.Arcsecond, Height: sphere.Angle(n.h) * 3 * sphere.Arcsecond,
			StarErr: sphere.Angle(n.err/math.Sqrt(weight)) * 3 * sphere.Arcsecond}
		night := plan.Night{Pole: n.axis, South: n.site.Lat < 0, Refraction: func(sphere.Local) sphere.Angle { return 0 }}
		e, err := night.Expect(c, frames)
		if err != nil {
			t.Fatal(err)
		}
		if q := float64(e.Total()) / math.Sqrt(r.StarCov[0][0]+r.StarCov[1][1]); q < 0.75 || q > 1.15 {
			t.Errorf("seed %d: lat %v: expected %v arcsec, the fit states %.2f times that", seed, n.site.Lat, e.Total().Arcseconds(), 1/q)
		}
	}
}

// What a plan expects of a mount that scatters and sags is what its nights then show.
func TestExpectAgainstMovingNights(t *testing.T) {
	const scale, wobble = 3 * sphere.Arcsecond, 0.7 * sphere.Arcsecond
	rng := rand.New(rand.NewPCG(seed, 34))
	sum, nights := 0.0, 80
	for range nights {
		n := random(rng, 3+rng.IntN(2))
		n.lens = optics.NewLens(n.w, n.h, scale)
		n.stars, n.err, n.catErr = 60, 0.1, 0
		c := plan.NewCamera(sphere.Angle(n.w)*scale, sphere.Angle(n.h)*scale, scale, wobble)
		n.tilt, n.sag = wobble, c.Sag*sphere.Angle(rng.NormFloat64())
		r, err := FitAs(n.sightings(t, rng), Manner{Scatter: wobble})
		if err != nil {
			t.Fatal(err)
		}
		var frames []plan.Pointing
		still := *n
		still.tilt, still.sag = 0, 0
		for i := range n.turns {
			frames = append(frames, plan.Pointing{Dir: sphere.LocalVec(still.localFromCam(i, rng).Apply(unitZ)), Stars: float64(n.stars)})
		}
		e, err := plan.Night{Pole: n.axis, South: n.site.Lat < 0, Refraction: func(sphere.Local) sphere.Angle { return 0 }}.Expect(c, frames)
		if err != nil {
			t.Fatal(err)
		}
		d := float64(r.Axis.Sep(n.axis) / e.Total())
		sum += d * d
	}
	z := math.Sqrt(sum / float64(nights))
	t.Logf("seed %d: error over expected rms %.2f of %d nights", seed, z, nights)
	if z < 0.75 || z > 1.3 {
		t.Errorf("seed %d: error over expected rms %.2f, want 0.75 to 1.3", seed, z)
	}
}
