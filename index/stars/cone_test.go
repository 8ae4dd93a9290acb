package stars

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

const seed = 20261125

func randomSky(rng *rand.Rand) sphere.Sky {
	return sphere.SkyVec(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
}

// everything returns all stars by their number, the slow way: one by one.
func everything(t testing.TB, l *List, epoch float64) []Star {
	all := make([]Star, l.Len())
	for i := range all {
		s, ok := l.At(uint32(i), epoch)
		if !ok || s.ID != uint32(i) {
			t.Fatalf("star %d: got %v, %v", i, s.ID, ok)
		}
		all[i] = s
	}
	return all
}

// same compares stars, NaN colours being equal to each other.
func same(a, b Star) bool {
	return a.ID == b.ID && a.V == b.V && a.Err == b.Err && a.Pos == b.Pos &&
		(a.BV == b.BV || a.BV != a.BV && b.BV != b.BV)
}

// naive is the twin of Cone: every star is looked at. The cosine spares the
// exact angle to all but those near the rim.
func naive(all []Star, centre sphere.Sky, radius sphere.Angle, maxV float64) (in []Star) {
	c, cos := centre.Vec(), min(radius, math.Pi).Cos()
	for i := range all {
		s := &all[i]
		if math.Round(float64(s.V)*1000) > maxV*1000+1e-6 {
			continue
		}
		d := r3.Dot(s.Pos.Vec(), c) - cos
		if d > 1e-9 || d > -1e-9 && s.Pos.Sep(centre) <= radius {
			in = append(in, *s)
		}
	}
	return in
}

// cones returns places and radii that include the hard ones.
func cones(rng *rand.Rand, n int) (centres []sphere.Sky, radii []sphere.Angle) {
	const deg = sphere.Degree
	special := []sphere.Sky{
		sphere.SkyAt(0, 90*deg), sphere.SkyAt(0, -90*deg), sphere.SkyAt(77*deg, 89.9*deg), sphere.SkyAt(200*deg, -89.3*deg),
		sphere.SkyAt(0, 0), sphere.SkyAt(359.999*deg, 40*deg), sphere.SkyAt(0.001*deg, -75*deg), sphere.SkyAt(180*deg, 0.75*deg),
	}
	for _, c := range special {
		for _, r := range []float64{0, 0.01, 0.3, 1, 10, 60, 89.5, 90, 91, 135, 179.9, 180, 400} {
			centres, radii = append(centres, c), append(radii, sphere.Angle(r)*deg)
		}
	}
	for range n {
		r := sphere.Angle(math.Exp(rng.Float64()*9-8)) * deg * 10 // 12 arcsec to 27 degrees
		centres, radii = append(centres, randomSky(rng)), append(radii, r)
	}
	return centres, radii
}

func compareWithNaive(t *testing.T, l *List, epoch float64, rng *rand.Rand, centres []sphere.Sky, radii []sphere.Angle) {
	t.Helper()
	all := everything(t, l, epoch)
	var got []Star
	for i, c := range centres {
		maxV := []float64{1, 6.5, 9.3, 11.3, 99}[rng.IntN(5)]
		want := naive(all, c, radii[i], maxV)
		got = l.Cone(got[:0], c, radii[i], maxV, epoch)
		if !slices.EqualFunc(got, want, same) {
			ra, dec := c.RADec()
			t.Errorf("seed %d: cone at %v %v, radius %v, V %v, %v: %d stars, want %d", seed, ra, dec, radii[i], maxV, epoch, len(got), len(want))
		}
	}
}

func TestConeAgainstNaive(t *testing.T) {
	if testing.Short() {
		t.Skip("slow, and nothing runs beside it")
	}
	rng := rand.New(rand.NewPCG(seed, 2))
	n := 15
	if testing.Short() {
		n = 3
	}
	centres, radii := cones(rng, n)
	compareWithNaive(t, Embedded(), 2026.9, rng, centres[len(centres)-n:], radii[len(radii)-n:])
}

// An invented list makes the hard places crowded and moves its stars far out
// of their cells: a tenth of them by up to 19 arcsec a year.
func TestConeAgainstNaiveInvented(t *testing.T) {
	if testing.Short() {
		t.Skip("slow, and nothing runs beside it")
	}
	rng := rand.New(rand.NewPCG(seed, 3))
	l, err := Open(mustEncode(t, invented(rng, 5_000)))
	if err != nil {
		t.Fatal(err)
	}
	centres, radii := cones(rng, 200)
	for _, epoch := range []float64{1800, 2000, 2025, 2026.9, 2300} {
		compareWithNaive(t, l, epoch, rng, centres, radii)
	}
}
