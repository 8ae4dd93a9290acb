package optics

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

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

// With any distortion every pixel has a direction. One short of the fold, which is found
// here by steps, comes back; one beyond it, as the corners of many a fisheye's picture
// are, has the direction of the fold, and no direction beyond the fold has a pixel.
func TestPixelsBeyondTheFold(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 2))
	folds, outAgain := 0, 0
	for range 300 {
		l := Lens{F: 970, CX: 1417, CY: 1440, Half: 2000, K1: 1.2*rng.Float64() - 0.9, K2: 0.5*rng.Float64() - 0.2, Law: Equidistant}
		rho := func(r float64) float64 { return r * (1 + l.K1*r*r + l.K2*r*r*r*r) }
		fold, most := 0.0, 0.0
		for r := 0.0; r < 2 && rho(r) >= most; r += 1e-5 {
			fold, most = r, rho(r)
		}
		if fold < 1.99 {
			folds++
		}
		for range 20 {
			d := 1.5 * rng.Float64()
			if math.Abs(d-most) < 1e-4 || fold > 1.99 && d > most {
				continue
			}
			from := 2 * math.Pi * rng.Float64()
			x, y := l.CX+l.Half*d*math.Cos(from), l.CY+l.Half*d*math.Sin(from)
			c := l.Cam(x, y)
			if d > most {
				got := math.Atan2(math.Hypot(c.Vec().X, c.Vec().Y), c.Vec().Z)
				if want := min(fold*l.Half/l.F, farthest); !(math.Abs(got-want) < 1e-3) {
					t.Fatalf("seed %d, %+v: %g half-diagonals out, beyond the fold: %g off axis, want %g", seed, l, d, got, want)
				}
				continue
			}
			if rho(min(fold, farthest*l.F/l.Half)) < d {
				continue // the law does not reach there
			}
			gx, gy, ok := l.Pixel(c)
			if off := math.Hypot(gx-x, gy-y); !ok || !(off < 1e-6) {
				t.Fatalf("seed %d, %+v: %g half-diagonals out comes back %g px away, ok %v", seed, l, d, off, ok)
			}
		}
		for r := fold + 1e-3; fold < 1.99 && r < 2*math.Pi/2*l.F/l.Half; r += 0.01 {
			s, c := math.Sincos(r * l.Half / l.F)
			var im Image
			x, y, ok := l.PixelVec(r3.Vec{X: s, Z: c})
			if ok || im.Project(&l, r3.Vec{X: s, Z: c}) {
				t.Fatalf("seed %d, %+v: a direction beyond the fold at %g has the pixel %g, %g", seed, l, fold, x, y)
			}
			if 1+3*l.K1*r*r+5*l.K2*r*r*r*r > 0 {
				outAgain++
			}
		}
	}
	if folds < 50 || outAgain < 50 {
		t.Errorf("%d lenses with a fold, %d directions where the slope is positive again: too few to tell", folds, outAgain)
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
