package optics

import (
	"math"
	"math/rand/v2"
	"testing"

	"pintle/index/sphere"
)

const seed = 20261125

func TestPixelAndBack(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 1))
	for _, mirrored := range []bool{false, true} {
		for _, k1 := range []float64{0, -0.06, 0.06} {
			l := NewLens(1280, 960, 78*sphere.Arcsecond)
			l.K1, l.K2, l.CX, l.Mirrored = k1, -k1/5, l.CX+7, mirrored
			for range 200 {
				x, y := 1280*rng.Float64(), 960*rng.Float64()
				gx, gy, ok := l.Pixel(l.Cam(x, y))
				if d := math.Hypot(gx-x, gy-y); !ok || d > 1e-9 {
					t.Fatalf("seed %d, %+v: pixel %.3f, %.3f comes back %g px away, ok %v", seed, l, x, y, d, ok)
				}
			}
		}
	}
}

// The optical axis falls on its pixel, and one pixel beside it is one scale
// away; a mirrored picture shows it on the other side.
func TestScaleAtTheAxis(t *testing.T) {
	l := NewLens(1001, 801, 10*sphere.Arcsecond)
	c := l.Cam(501, 400)
	if got := c.Sep(l.Cam(500, 400)).Arcseconds(); math.Abs(got-10) > 1e-6 {
		t.Errorf("one pixel = %.9f arcsec, want 10", got)
	}
	if c.Vec().X <= 0 {
		t.Errorf("a larger column gives x = %g, want it positive", c.Vec().X)
	}
	l.Mirrored = true
	if x := l.Cam(501, 400).Vec().X; x >= 0 {
		t.Errorf("mirrored: a larger column gives x = %g, want it negative", x)
	}
}

func TestBehindTheCameraIsNowhere(t *testing.T) {
	l := NewLens(100, 100, sphere.Degree)
	v := l.Cam(10, 10).Vec()
	v.Z = -v.Z
	if _, _, ok := l.PixelVec(v); ok {
		t.Error("a direction behind the camera has a pixel")
	}
}
