package main

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/optics"
	"pintle/index/sphere"
	"pintle/index/stars"
	"pintle/solve"
	"pintle/solve/detect"
)

// field is a star list with its truth.
type field struct {
	list           *detect.Field
	lens           optics.Lens
	camFromSky     sphere.Rot
	diagonal       float64 // radians
	truly, missing int     // true stars in the list, true stars that were left out
	noise, k1      float64
	law            optics.Law
	offX, offY     float64 // of the optical axis, px
}

const width, height = 1280, 960

// detect lists the stars seen down to a depth, a share of them lost, none where
// something is in the way, and returns the magnitudes of those listed.
func (f *field) detect(rng *rand.Rand, seen []placed, depth int, lost float64, blocked func(x, y float64) bool) (mags []float64) {
	for _, s := range seen {
		if blocked(s.x, s.y) {
			continue
		}
		if f.truly+f.missing == depth {
			break
		}
		if rng.Float64() < lost {
			f.missing++
			continue
		}
		f.truly++
		mags = append(mags, s.mag)
		f.add(s.x+f.noise*rng.NormFloat64(), s.y+f.noise*rng.NormFloat64(), s.mag+0.3*rng.NormFloat64())
	}
	return mags
}

// makeField draws a field: place, orientation and parity at random, the
// diagonal from 0.6 to 60 degrees (uniform in its logarithm), distortion up to
// 6 % at the corner, and a list that goes to a random depth, lacks 20 to 60 %
// of the stars, has as many false ones, noise of 0.1 to 1 px and 0.3 mag.
func makeField(rng *rand.Rand, list *stars.List) field {
	f := field{diagonal: 0.6 * math.Pow(100, rng.Float64()) * math.Pi / 180}
	f.k1 = 0.06 * (2*rng.Float64() - 1)
	f.noise = 0.1 * math.Pow(10, rng.Float64())
	seen := f.aim(rng, list)
	depth := int(6 * math.Pow(30, rng.Float64())) // true stars before some go missing
	lost := 0.2 + 0.4*rng.Float64()
	nothing := func(x, y float64) bool { return false }
	for _, m := range f.detect(rng, seen, depth, lost, nothing) {
		f.add(width*rng.Float64(), height*rng.Float64(), m)
	}
	f.sort()
	return f
}

// placed is a star of the catalogue and where it falls on the frame.
type placed struct{ x, y, mag float64 }

// aim points a camera of the field's diagonal and distortion anywhere, starts an
// empty list, and returns the stars on the frame, brightest first.
func (f *field) aim(rng *rand.Rand, list *stars.List) (out []placed) {
	half := math.Hypot(width, height) / 2
	f.lens = optics.Lens{
		F: focal(f.law, f.diagonal), CX: (width-1)/2.0 + f.offX, CY: (height-1)/2.0 + f.offY, Half: half,
		K1: f.k1, Mirrored: rng.IntN(2) == 0, Law: f.law,
	}
	f.camFromSky = sphere.TurnVec(r3.Scale(math.Pi, randomDirection(rng))).Mul(sphere.Turn(randomDirection(rng), sphere.Angle(2*math.Pi*rng.Float64())))
	f.list = &detect.Field{W: width, H: height}
	centre := sphere.SkyVec(f.camFromSky.Inv().Apply(r3.Vec{Z: 1}))
	seen := list.Cone(nil, centre, sphere.Angle(f.diagonal/2*1.25), f.deepest(), 2026.9)
	slices.SortFunc(seen, func(a, b stars.Star) int { return cmp.Compare(a.V, b.V) })
	for _, s := range seen {
		if x, y, ok := f.lens.PixelVec(f.camFromSky.Apply(s.Pos.Vec())); ok && x >= 0 && y >= 0 && x < width && y < height {
			out = append(out, placed{x, y, float64(s.V)})
		}
	}
	return out
}

func (f *field) add(x, y, mag float64) {
	f.list.Stars = append(f.list.Stars, detect.Star{X: x, Y: y, ErrX: f.noise, ErrY: f.noise, Flux: math.Pow(10, -0.4*mag)})
}

func (f *field) sort() {
	slices.SortStableFunc(f.list.Stars, func(a, b detect.Star) int { return cmp.Compare(b.Flux, a.Flux) })
}

// apart returns the angle, radians, between the true and the solved direction
// of a place in the frame, given in fractions of its sides.
func (f *field) apart(s *solve.Solution, x, y float64) float64 {
	x, y = x*width, y*height
	truth := sphere.SkyVec(f.camFromSky.Inv().Apply(f.lens.Cam(x, y).Vec()))
	return float64(truth.Sep(s.Sky(x, y)))
}

func randomDirection(rng *rand.Rand) r3.Vec {
	return r3.Unit(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
}

// randomList returns 8 to most points at random.
func randomList(rng *rand.Rand, most int) *detect.Field {
	var f field
	f.list = &detect.Field{W: width, H: height}
	f.noise = 0.1 * math.Pow(10, rng.Float64())
	for range int(8 * math.Pow(float64(most)/8, rng.Float64())) {
		f.add(width*rng.Float64(), height*rng.Float64(), 8+3*math.Log10(1e-3+rng.Float64()))
	}
	f.sort()
	return f.list
}

// scramble gives each star of a list a new place.
func scramble(rng *rand.Rand, l *detect.Field) {
	for i := range l.Stars {
		l.Stars[i].X, l.Stars[i].Y = width*rng.Float64(), height*rng.Float64()
	}
}

// deepest is the faintest V magnitude that a field may show.
func (f *field) deepest() float64 {
	if f.diagonal > 1.1 {
		return 7.5
	}
	return 99
}
