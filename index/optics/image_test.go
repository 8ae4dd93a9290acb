package optics

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// Project agrees with the lens itself, and its derivatives with differences of
// the lens.
func TestProject(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 6000))
	for k := range 300 {
		l := NewLens(1280, 960, 90*sphere.Arcsecond)
		l.K1, l.K2, l.CX, l.Mirrored = 0.05*rng.NormFloat64(), 0.02*rng.NormFloat64(), l.CX+9, k%2 == 0
		v := l.Cam(1280*rng.Float64(), 960*rng.Float64()).Vec()
		var im Image
		x, y, ok := l.PixelVec(v)
		if got := im.Project(&l, v); got != ok || !ok {
			t.Fatalf("Project says %v, the lens %v", got, ok)
		}
		if d := math.Hypot(im.X-x, im.Y-y); d > 1e-9 {
			t.Fatalf("%.3g px from the lens' pixel", d)
		}
		checkDerivatives(t, &l, v, &im)
	}
	var im Image
	l := NewLens(100, 100, sphere.Degree)
	if im.Project(&l, r3.Vec{Z: -1}) {
		t.Error("a direction behind the camera has a pixel")
	}
}

// checkDerivatives compares the derivatives of an image with differences.
func checkDerivatives(t *testing.T, l *Lens, v r3.Vec, im *Image) {
	t.Helper()
	const h = 1e-6
	for p := range Turns + LensParams {
		at := func(s float64) (float64, float64) {
			if p < Turns {
				x, y, _ := l.PixelVec(sphere.TurnVec(r3.Scale(s, [...]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}}[p])).Apply(v))
				return x, y
			}
			var d [LensParams]float64
			d[p-Turns] = s
			x, y, _ := l.Moved(d).PixelVec(v)
			return x, y
		}
		x1, y1 := at(h)
		x0, y0 := at(-h)
		dx, dy := (x1-x0)/(2*h), (y1-y0)/(2*h)
		if d := math.Hypot(dx-im.DX[p], dy-im.DY[p]); d > 1e-5*(1+math.Hypot(dx, dy)) {
			t.Fatalf("%+v: derivative %d: %.6g, %.6g; by differences %.6g, %.6g", *l, p, im.DX[p], im.DY[p], dx, dy)
		}
	}
}
