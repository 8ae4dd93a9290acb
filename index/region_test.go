package index

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// onPlane returns where a direction is on a region's plane, to the east and to the
// north of the middle. ok is false for one more than some 80 degrees away.
func onPlane(r *Region, v r3.Vec) (x, y float64, ok bool) {
	east, north, middle := r.Axes()
	z := r3.Dot(v, middle)
	return r3.Dot(v, east) / z, r3.Dot(v, north) / z, z > 0.2
}

// Every direction is within the extent of a cell.
func TestExtentsCoverTheSky(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 30))
	for _, size := range []sphere.Angle{3 * sphere.Degree, 11 * sphere.Degree, 45 * sphere.Degree} {
		g := makeSquares(size)
		area := 0.0
		for k := range g.total() {
			w, h := g.extent(k)
			area += 4 * w * h
		}
		if ratio := area / (4 * math.Pi); ratio > 1.8 {
			t.Errorf("squares of %v: the extents cover the sky %.2f times", size, ratio)
		}
		for range 3000 {
			v := sphere.Unit(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: 2 * rng.NormFloat64()})
			covered := false
			for _, k := range g.near(nil, v, 1.5*g.height) {
				r := Region{}
				r.east, r.north, r.middle = g.middle(k)
				r.Width, r.Height = g.extent(k)
				x, y, ok := onPlane(&r, v)
				covered = covered || ok && math.Abs(x) <= r.Width && math.Abs(y) <= r.Height
			}
			if !covered {
				t.Fatalf("seed %d: squares of %v: %v is in no cell's extent", seed, size, sphere.SkyVec(v))
			}
		}
	}
}

// A region comes with all stars of its level around it.
func TestRegionHasItsStars(t *testing.T) {
	r, s := session(t)
	for level, n := range r.Regions() {
		all, err := s.within(nil, level, r3.Vec{Z: 1}, math.Pi)
		if err != nil {
			t.Fatal(err)
		}
		if len(all) < 100 {
			t.Fatalf("level %d has %d stars", level, len(all))
		}
		const radius = 1.05
		for k := 0; k < n; k += 1 + n/50 {
			region, dots, err := s.Region(nil, level, k, radius)
			if err != nil {
				t.Fatal(err)
			}
			within := func(list []Dot) (count int) {
				for _, d := range list {
					x, y, ok := onPlane(&region, d.Vec())
					if ok && math.Hypot(x, y) < math.Tan(min(1.3, radius*float64(r.Band.Square(level)))) {
						count++
					}
				}
				return count
			}
			if got, want := within(dots), within(all); got != want {
				t.Fatalf("region %d of level %d comes with %d stars, want %d", k, level, got, want)
			}
		}
	}
}
