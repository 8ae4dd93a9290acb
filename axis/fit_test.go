package axis

import (
	"math"
	"math/rand/v2"
	"testing"
)

func TestCoverage(t *testing.T) {
	for _, frames := range []int{2, 3, 5} {
		rng := rand.New(rand.NewPCG(seed, uint64(frames)))
		var chi, sum float64
		var worst float64
		trials := 200
		for k := range trials {
			n := random(rng, frames)
			r, err := Fit(n.sightings(t, rng))
			if err != nil {
				t.Fatalf("trial %d: %v", k, err)
			}
			alt, az := altAz(n.axis.Vec())
			d := [2]float64{}
			a := r.Axis.Vec()
			d[0] = a.X*alt.X + a.Y*alt.Y + a.Z*alt.Z
			d[1] = a.X*az.X + a.Y*az.Y + a.Z*az.Z
			c := r.Cov
			det := c[0][0]*c[1][1] - c[0][1]*c[1][0]
			q := (c[1][1]*d[0]*d[0] - 2*c[0][1]*d[0]*d[1] + c[0][0]*d[1]*d[1]) / det
			chi += q / 2
			worst = math.Max(worst, q)
			sum += r.Axis.Sep(n.axis).Arcseconds()
		}
		t.Logf("%d frames: rms error/sigma %.3f, worst chi2 %.1f, mean error %.2f arcsec", frames, math.Sqrt(chi/float64(trials)), worst, sum/float64(trials))
	}
}
