package optics

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// The table draws what the lens draws.
func TestFactorsAreTheLaws(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 6001))
	for _, w := range append(Kinds(), 0.3, 0.9, 1.02) {
		f := MakeFactors(w)
		l := Lens{F: 1000, CX: 640, CY: 480, Half: 800, K1: 0.02, Law: w}
		for range 3000 {
			v := sphere.Unit(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
			x, y, ok := l.PixelVec(v)
			fx, fy, fok := f.Pixel(&l, v)
			if edge := math.Abs(v.Z-math.Cos(float64(w.Reach()))) < 1e-9; ok != fok && !edge {
				t.Fatalf("seed %d, law %g: drawn by the table %v, by the lens %v", seed, float64(w), fok, ok)
			}
			if ok && math.Hypot(x-l.CX, y-l.CY) < 4*l.Half && math.Hypot(fx-x, fy-y) > 0.02 {
				t.Fatalf("seed %d, law %g, %v: the table is off by %.3g px", seed, float64(w), v, math.Hypot(fx-x, fy-y))
			}
		}
	}
}
