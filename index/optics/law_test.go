package optics

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// The kinds are the closed forms of the textbooks, both ways, as far as they
// reach.
func TestKindsAreTheClosedForms(t *testing.T) {
	for law, want := range map[Law]func(float64) float64{
		Rectilinear:   math.Tan,
		Stereographic: func(x float64) float64 { return 2 * math.Tan(x/2) },
		Equidistant:   func(x float64) float64 { return x },
		Equisolid:     func(x float64) float64 { return 2 * math.Sin(x/2) },
		Orthographic:  math.Sin,
	} {
		reach := float64(law.Reach())
		for i := range 101 {
			x := reach * float64(i) / 100
			r := law.Radius(sphere.Angle(x))
			if d := math.Abs(r - want(x)); d > 1e-14*(1+r) {
				t.Errorf("%v: %.3f rad falls at %.15g, want %.15g", law, x, r, want(x))
			}
			if d := math.Abs(float64(law.Angle(r)) - x); d > 1e-14 {
				t.Errorf("%v: %.3f rad comes back %.3g off", law, x, d)
			}
		}
		if law.Kind() != law || !law.Valid() {
			t.Errorf("%v is of kind %v, valid %v", law, law.Kind(), law.Valid())
		}
	}
}

// Between the kinds the law is odd, grows, and changes smoothly with its number.
func TestLawBetweenTheKinds(t *testing.T) {
	for law := Law(0); law <= 1.5; law += 0.01 {
		last := -1.0
		for x := 0.0; x <= float64(law.Reach()); x += 0.01 {
			r, slope := law.radius(x)
			if back, s := law.radius(-x); back != -r || s != slope {
				t.Fatalf("law %.2f is not odd at %.2f rad", law, x)
			}
			if !(r > last) || slope <= 0 {
				t.Fatalf("law %.2f does not grow at %.2f rad: %g after %g, slope %g", law, x, r, last, slope)
			}
			last = r
			const h = 1e-6
			a, _ := law.radius(x + h)
			b, _ := law.radius(x - h)
			if d := math.Abs((a-b)/(2*h) - slope); d > 1e-6*(1+slope*slope) {
				t.Fatalf("law %.2f at %.2f rad: slope %g, by differences %g", law, x, slope, (a-b)/(2*h))
			}
			if x < 1 {
				if c, _ := (law + 1e-9).radius(x); math.Abs(c-r) > 2e-9 {
					t.Fatalf("law %.2f jumps by %g at %.2f rad", law, c-r, x)
				}
			}
		}
	}
}

// wideLens draws a lens of any law with distortion and an axis off the middle.
func wideLens(rng *rand.Rand) Lens {
	l := NewLens(1280, 960, sphere.Degree)
	l.Law = Law(1.5 * rng.Float64())
	half := min(75, 0.8*l.Law.Reach().Degrees()) * (0.5 + 0.5*rng.Float64())
	l.F = l.Half / l.Law.Radius(sphere.Angle(half)*sphere.Degree)
	l.K1, l.K2 = 0.1*(2*rng.Float64()-1), 0.02*rng.NormFloat64()
	l.CX, l.CY, l.Mirrored = l.CX+12*rng.NormFloat64(), l.CY+12*rng.NormFloat64(), rng.IntN(2) == 0
	return l
}

func TestWideLensAndBack(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 2))
	for range 300 {
		l := wideLens(rng)
		for range 20 {
			x, y := 1280*rng.Float64(), 960*rng.Float64()
			gx, gy, ok := l.Pixel(l.Cam(x, y))
			if d := math.Hypot(gx-x, gy-y); !ok || d > 1e-8 {
				t.Fatalf("seed %d, %+v: pixel %.3f, %.3f comes back %g px away, ok %v", seed, l, x, y, d, ok)
			}
		}
	}
}

// The derivatives of lenses of any law agree with differences of the lens.
func TestProjectWide(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 3))
	for range 300 {
		l := wideLens(rng)
		v := l.Cam(1280*rng.Float64(), 960*rng.Float64()).Vec()
		var im Image
		x, y, _ := l.PixelVec(v)
		if !im.Project(&l, v) || math.Hypot(im.X-x, im.Y-y) > 1e-9 {
			t.Fatalf("%+v: %g, %g, the lens says %g, %g", l, im.X, im.Y, x, y)
		}
		checkDerivatives(t, &l, v, &im)
	}
	l := wideLens(rng)
	var im Image
	if !im.Project(&l, r3.Vec{Z: 1}) || math.Hypot(im.X-l.CX, im.Y-l.CY) > 1e-12 {
		t.Errorf("the axis falls on %g, %g, want %g, %g", im.X, im.Y, l.CX, l.CY)
	}
	checkDerivatives(t, &l, r3.Vec{Z: 1}, &im)
}

// The field over the diagonal: 24 mm, 20 mm and 14 mm lenses on 36 x 24 mm, whose
// makers state 84, 94 and 114 degrees (common practice, no source), and a fisheye.
func TestDiagonal(t *testing.T) {
	for mm, want := range map[float64]float64{24: 84, 20: 94, 14: 114} {
		l := Lens{F: mm, Half: math.Hypot(36, 24) / 2}
		if got := l.Diagonal().Degrees(); math.Abs(got-want) > 0.5 {
			t.Errorf("%g mm: %.2f degrees, want %g", mm, got, want)
		}
	}
	l := Lens{F: 100, Half: 100 * math.Pi / 2, Law: Equidistant}
	if got := l.Diagonal().Degrees(); math.Abs(got-180) > 1e-9 {
		t.Errorf("fisheye: %.9f degrees, want 180", got)
	}
}

// A lens of which only the focal length is known is a fisheye where no other would
// do: 8 mm on 36 x 24 mm, whose makers state 180 degrees; 14 mm is not.
func TestTaken(t *testing.T) {
	half := math.Hypot(36, 24) / 2
	if w := Taken(14, half); w != Rectilinear {
		t.Errorf("14 mm: %v", w)
	}
	w := Taken(8, half)
	if w != Equidistant || w.Off(half/8).Degrees() != 90 {
		t.Errorf("8 mm: %v, %v off axis in the corner", w, w.Off(half/8))
	}
}
