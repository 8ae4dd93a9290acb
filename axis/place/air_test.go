package place

import (
	"math"
	"testing"

	"pintle/index/sphere"
)

// Relative air mass at some altitudes (Kasten & Young 1989, table I; from memory: 38 at
// the horizon, 10.3 at 5 degrees, 2 at 30).
func TestAirMass(t *testing.T) {
	for alt, want := range map[float64]float64{90: 1, 30: 1.994, 5: 10.31, 0: 37.92} {
		if got := AirMass(sphere.Angle(alt) * sphere.Degree); math.Abs(got/want-1) > 0.01 {
			t.Errorf("altitude %g: %.3f, want %.3f", alt, got, want)
		}
	}
}
