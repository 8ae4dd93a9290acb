package detect

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pintle/solve/render"
)

// Long straight trails are found as a whole: their middles, with errors that are
// stated as they are, and no pieces of them; the picture is said to be trailed, not
// out of focus.
func TestLongTrails(t *testing.T) {
	if testing.Short() {
		t.Skip("slow, and nothing runs beside it")
	}
	for _, c := range []struct {
		trail, fwhm float64
		part        float64 // of the stars
		rms         float64 // px
	}{{20, 3, 0.88, 0.25}, {30, 2, 0.9, 0.5}, {40, 3, 0.88, 0.8}, {60, 2, 0.7, 0.8}, {60, 3, 0.65, 1}} {
		t.Run(fmt.Sprintf("%g px", c.trail), func(t *testing.T) {
			switch {
			case c.trail == 60 && c.fwhm == 3:
			case c.trail == 20:
				slow(t)
			default:
				another(t)
			}
			s := render.Scene{W: 1280, H: 960, Seed: seed, PSF: render.PSF{FWHM: c.fwhm, Trail: c.trail, Angle: 0.6},
				Sky: render.Sky{Level: 100}, Sensor: render.Sensor{Read: 3, Bias: 300}}
			truth := field(150, s.W, s.H, 200*c.trail, rand.New(rand.NewPCG(seed, 3)))
			f := find(t, s.Render(truth), Options{})
			pairs, missed, left := match(truth, f, 6)
			sum, pull := 0.0, 0.0
			for _, p := range pairs {
				sum += (p.dx()*p.dx() + p.dy()*p.dy()) / float64(len(pairs))
				pull += p.dx() * p.dx() / (p.got.ErrX * p.got.ErrX) / float64(len(pairs))
			}
			t.Logf("seed %d: found %d, missed %d, false %d, rms %.2f px, %.2f of the stated, %q", seed, len(pairs), len(missed), len(left), math.Sqrt(sum), math.Sqrt(pull), f.Troubles())
			if part := float64(len(pairs)) / float64(len(truth)); part < c.part || len(left) > 4 {
				t.Errorf("seed %d: %.0f %% found, want %.0f; %d false ones, at most 4", seed, 100*part, 100*c.part, len(left))
			}
			if math.Sqrt(sum) > c.rms || math.Sqrt(pull) > 1.6 {
				t.Errorf("seed %d: rms %.2f px, want below %g; %.2f of the stated", seed, math.Sqrt(sum), c.rms, math.Sqrt(pull))
			}
			if all := f.words(); !strings.Contains(all, "trailed") || strings.Contains(all, "focus") {
				t.Errorf("said to be %q", all)
			}
		})
	}
}
