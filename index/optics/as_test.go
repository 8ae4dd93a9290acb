package optics

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// An equisolid lens of 180 degrees is an equidistant one with distortion, to 0.02 px
// on a frame of 1600 px over the diagonal; others are to 0.1.
func TestLensAsAnother(t *testing.T) {
	for _, c := range []struct {
		from, to Law
		half     float64 // degrees
		within   float64 // px
	}{{Equisolid, Equidistant, 90, 0.02}, {Stereographic, Equidistant, 70, 0.1}, {Rectilinear, Stereographic, 30, 0.05}} {
		off := sphere.Angle(c.half) * sphere.Degree
		l := Lens{Half: 800, Law: c.from}
		l.F = l.Half / l.Law.Radius(off)
		m := l
		if !m.As(c.to, off) || m.Law != c.to {
			t.Fatalf("%v is no %v", c.from, c.to)
		}
		for i := range 51 {
			s, k := math.Sincos(float64(off) * float64(i) / 50)
			v := sphere.CamVec(r3.Vec{X: s, Z: k})
			x, _, ok1 := l.Pixel(v)
			y, _, ok2 := m.Pixel(v)
			if !ok1 || !ok2 || math.Abs(x-y) > c.within {
				t.Fatalf("%v as %v: %.3f px off at %d / 50 of %g degrees", c.from, c.to, x-y, i, c.half)
			}
		}
	}
	l := Lens{F: 100, Half: 200, Law: Equidistant}
	if l.As(Rectilinear, 85*sphere.Degree) || l.Law != Equidistant {
		t.Error("a rectilinear lens reaches 85 degrees")
	}
}
