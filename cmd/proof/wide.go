package main

import (
	"fmt"
	"math"
	"math/rand/v2"

	"pintle/index/optics"
	"pintle/index/sphere"
	"pintle/index/stars"
)

// lensKinds are the kinds of lenses that fields are drawn with: the range of the
// diagonal, degrees, and the laws.
var lensKinds = map[string]struct {
	from, to float64
	laws     []optics.Law
}{
	"rectilinear": {60, 120, []optics.Law{optics.Rectilinear}},
	"fisheye":     {90, 180, []optics.Law{optics.Stereographic, optics.Equidistant, optics.Equisolid}},
}

// checkLens returns an error for a kind of lens that is not known.
func checkLens(kind string) error {
	if _, ok := lensKinds[kind]; kind != "" && !ok {
		return fmt.Errorf("lens %q, want rectilinear or fisheye", kind)
	}
	return nil
}

// makeWideField draws a field of a wide lens: of its kind with up to 10 %
// distortion at the corner, an axis up to 1 % of the width off the middle, a third
// of the frame hidden by ground with a slanting edge, and as many false spots as
// true ones: anywhere, or in half of the fields all on the ground. Lists go to
// a depth of 16 to 192 stars, of which 20 to 60 % are missing; the rest is as in
// makeField.
func makeWideField(rng *rand.Rand, list *stars.List, kind string) field {
	k := lensKinds[kind]
	f := field{diagonal: k.from * math.Pow(k.to/k.from, rng.Float64()) * math.Pi / 180}
	f.k1 = 0.1 * (2*rng.Float64() - 1)
	f.noise = 0.1 * math.Pow(10, rng.Float64())
	f.law = k.laws[rng.IntN(len(k.laws))]
	if f.law != optics.Rectilinear && rng.IntN(4) == 0 { // between the kinds
		f.law = optics.Law(between(rng, float64(optics.Stereographic), float64(optics.Equisolid)))
	}
	f.offX, f.offY = 0.01*width*(2*rng.Float64()-1), 0.01*width*(2*rng.Float64()-1)
	ground := hidden(rng)
	seen := f.aim(rng, list)
	depth := int(16 * math.Pow(12, rng.Float64())) // true stars before some go missing
	lost := 0.2 + 0.4*rng.Float64()
	lights := rng.IntN(2) == 0
	for _, m := range f.detect(rng, seen, depth, lost, ground) {
		x, y := width*rng.Float64(), height*rng.Float64()
		for lights && !ground(x, y) {
			x, y = width*rng.Float64(), height*rng.Float64()
		}
		f.add(x, y, m)
	}
	f.sort()
	return f
}

// hidden returns what of a frame is ground: a third, on one side of a straight line
// of any direction.
func hidden(rng *rand.Rand) func(x, y float64) bool {
	s, c := math.Sincos(2 * math.Pi * rng.Float64())
	behind := func(edge float64) float64 {
		n := 0
		for i := range 64 {
			for j := range 48 {
				if s*(float64(i)-31.5)+c*(float64(j)-23.5) > edge {
					n++
				}
			}
		}
		return float64(n) / (64 * 48)
	}
	lo, hi := -40.0, 40.0
	for range 40 {
		if mid := (lo + hi) / 2; behind(mid) > 1./3 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return func(x, y float64) bool { return s*(x/20-31.5)+c*(y/20-23.5) > lo }
}

// focal returns the focal length, pixels, of a law that spans a diagonal, radians.
func focal(law optics.Law, diagonal float64) float64 {
	return math.Hypot(width, height) / 2 / law.Radius(sphere.Angle(diagonal/2))
}
