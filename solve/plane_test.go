package solve

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index"
	"pintle/index/optics"
	"pintle/index/sphere"
	"pintle/solve/detect"
)

// A view made from two stars draws every other star where the lens does, and
// the focal length is the lens's: the ideal lens of optics is the other way.
func TestViewDrawsAsTheLens(t *testing.T) {
	const seed = 71
	rng := rand.New(rand.NewPCG(seed, 1))
	const w, h = 1280, 960
	half := math.Hypot(w, h) / 2
	for i := range 400 {
		f := half / math.Tan(math.Pi/180*0.3*math.Pow(100, rng.Float64()))
		lens := optics.Lens{F: f, CX: (w - 1) / 2.0, CY: (h - 1) / 2.0, Half: half, Mirrored: i%2 == 0}
		rot := sphere.TurnVec(r3.Scale(3*rng.Float64(), sphere.Unit(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})))
		var field detect.Field
		field.W, field.H = w, h
		var sky []r3.Vec
		for range 5 {
			x, y := w*rng.Float64()-0.5, h*rng.Float64()-0.5
			field.Stars = append(field.Stars, detect.Star{X: x, Y: y, ErrX: 0.1, ErrY: 0.1, Flux: 1})
			sky = append(sky, rot.Inv().Apply(lens.Cam(x, y).Vec()))
		}
		p := makePlane(makeCloud(&field, 5), 0)
		got, ok := focal(p.at[0], p.at[1], r3.Norm2(r3.Cross(sky[0], sky[1])))
		if !ok || math.Abs(got*half/f-1) > 1e-6 {
			t.Fatalf("seed %d, case %d: focal length %g px, want %g", seed, i, got*half, f)
		}
		cam := func(k int) r3.Vec { return sphere.Unit(r3.Vec{X: p.at[k].X, Y: p.at[k].Y, Z: got}) }
		v := makeView(sky[0], sky[1], cam(0), cam(1), got, lens.Mirrored)
		var dots []index.Dot
		for _, v := range sky {
			dots = append(dots, index.Dot{X: float32(v.X), Y: float32(v.Y), Z: float32(v.Z)})
		}
		var seen drawn
		seen.draw(v.drawing(10, 10), dots)
		for k := range sky {
			x, y, ok := float64(seen.x[k]), float64(seen.y[k]), seen.seen[k/drawnAtOnce]>>(k%drawnAtOnce)&1 != 0
			if d := math.Hypot(x-p.at[k].X, y-p.at[k].Y) * half; !ok || d > 1e-3+2e-7*f { // directions have seven digits
				t.Fatalf("seed %d, case %d: star %d is drawn %g px from its place", seed, i, k, d)
			}
			if p.find(x, y, 0.001, &[4]int{-1, -1, -1, -1}) != k || p.find(x, y, 1e-9, &[4]int{0, 1, 2, 3}) >= 0 && k != 4 {
				t.Fatalf("seed %d, case %d: point %d is not found at its place, or found when it is not to count", seed, i, k)
			}
		}
	}
}
