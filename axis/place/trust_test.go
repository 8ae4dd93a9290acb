package place

import (
	"math"
	"testing"

	"pintle/index/sphere"
)

func TestTrust(t *testing.T) {
	for alt, want := range map[sphere.Angle]float64{-5: 0, 0: 0, 4.9: 0, 5: 0, 7.5: 0.5, 10: 1, 45: 1, 90: 1} {
		if got := Trust(sphere.LocalAt(1, alt*sphere.Degree)); math.Abs(got-want) > 1e-9 {
			t.Errorf("trust at %g degrees = %g, want %g", float64(alt), got, want)
		}
	}
}
