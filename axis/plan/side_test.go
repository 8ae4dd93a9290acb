package plan

import (
	"math"
	"testing"

	"pintle/index/sphere"
)

// From one side of the meridian to the other leads over it above the pole, at hour angle
// 0, and below it, at 180 degrees.
func TestOneSide(t *testing.T) {
	for _, c := range []struct {
		from, to float64
		want     bool
	}{{-60, -20, true}, {-60, 0, true}, {-20, 20, false}, {0, 60, true}, {120, 180, true}, {150, 200, false}, {-180, -150, true}} {
		if got := oneSide(sphere.Angle(c.from)*sphere.Degree, sphere.Angle(c.to)*sphere.Degree); got != c.want {
			t.Errorf("hour angles %g to %g degrees: on one side %v", c.from, c.to, got)
		}
	}
}

// A camera that sags makes the axis uncertain by about as much as it sags, and no more
// stars cure that.
func TestSagIsExpected(t *testing.T) {
	night := Night{Pole: sphere.LocalAt(0, 50*sphere.Degree), Refraction: func(sphere.Local) sphere.Angle { return 0 }}
	var frames []Pointing
	for _, az := range []float64{140, 180, 220} {
		frames = append(frames, Pointing{Dir: sphere.LocalAt(sphere.Angle(az)*sphere.Degree, 50*sphere.Degree), Stars: 300})
	}
	total := func(sag sphere.Angle) float64 {
		e, err := night.Expect(Camera{Width: 2 * sphere.Degree, Height: 1.5 * sphere.Degree, StarErr: 0.1 * sphere.Arcsecond, Sag: sag}, frames)
		if err != nil {
			t.Fatal(err)
		}
		return float64(e.Total() / sphere.Arcsecond)
	}
	firm, loose := total(0), total(10*sphere.Arcsecond)
	if by := math.Sqrt(loose*loose - firm*firm); !(by > 3 && by < 20) {
		t.Errorf("a sag of 10 arcsec makes the axis uncertain by %.2f arcsec (%.2f without, %.2f with)", by, firm, loose)
	}
}
