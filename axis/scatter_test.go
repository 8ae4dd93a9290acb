package axis

import (
	"math"
	"math/rand/v2"
	"testing"

	"pintle/index/sphere"
)

// Three frames of a narrow field show scatter of the frames in nothing but their
// field orientation, which is poor: more than half of it goes unnoticed, and worse
// stars than stated can pass for it. All the same the stated error is large enough
// for frames that scatter, by little and by much, and the axis is no worse than the
// stars allow where they do not, even with stars half again as bad as stated.
func TestScatterOfThreeNarrowFrames(t *testing.T) {
	statistical(t)
	for _, c := range []struct {
		tilt  sphere.Angle
		floor float64 // px
		worst float64 // rms error, arcsec
		least float64 // error over stated error
	}{
		{0, 0.1, 3, 0}, {0, 0, 2, 0}, {0.7 * sphere.Arcsecond, 0, 6, 0.5}, {5 * sphere.Arcsecond, 0, 40, 0.5},
	} {
		var pulls, errs []float64
		const nights = 60 // of half as many one wild night moves the ratio by as much as the limits allow
		for k := range nights {
			rng := rand.New(rand.NewPCG(seed, 9300+uint64(k)))
			n := random(rng, 3)
			n.lens.F = 45000 // 1280 x 960 px: 2 degrees
			n.lens.K1, n.lens.K2 = 0, 0
			n.stars, n.err, n.catErr, n.wrong = 40, 0.1, 0, 0
			n.turns = []sphere.Angle{0, 0.6, 1.2}
			n.tilt, n.floor = c.tilt, c.floor
			r, err := Fit(n.sightings(t, rng))
			if err != nil {
				t.Fatalf("seed %d, night %d: %v", seed, k, err)
			}
			d := r.Axis.Sep(n.axis)
			errs = append(errs, d.Arcseconds())
			pulls = append(pulls, float64(d)/math.Sqrt(r.Cov[0][0]+r.Cov[1][1]))
		}
		rms := func(x []float64) float64 {
			sum := 0.0
			for _, v := range x {
				sum += v * v
			}
			return math.Sqrt(sum / float64(len(x)))
		}
		t.Logf("seed %d, scatter %.1f arcsec, floor %.2f px: error rms %.2f arcsec, %.2f of the stated", seed, c.tilt.Arcseconds(), c.floor, rms(errs), rms(pulls))
		if e := rms(errs); e > c.worst {
			t.Errorf("scatter %v, floor %g px: error rms %.2f arcsec, want below %g", c.tilt, c.floor, e, c.worst)
		}
		if p := rms(pulls); p < c.least || p > 1.4 {
			t.Errorf("scatter %v, floor %g px: error %.2f of the stated, want about 1", c.tilt, c.floor, p)
		}
	}
}
