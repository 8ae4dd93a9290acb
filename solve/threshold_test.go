package solve

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index"
	"pintle/index/optics"
	"pintle/index/sphere"
	"pintle/index/stars"
	"pintle/solve/detect"
)

// frameOfTargets is a checker that knows the pose and expects stars all over a frame,
// each as likely to be seen as share says; away moves their points, px, and which
// of them have one is what seen says.
func frameOfTargets(n int, share float64, seen func(i int) bool, away func(i int) float64) (*checker, *pose) {
	const w, h = 1280, 960
	p := &pose{camFromSky: sphere.TurnVec(r3.Vec{X: 0.3, Y: -0.4, Z: 0.5}), lens: optics.NewLens(w, h, 20*sphere.Arcsecond)}
	f := &detect.Field{W: w, H: h}
	k := &checker{epoch: 2026.9}
	rng := rand.New(rand.NewPCG(seed, 60))
	for i := range n {
		x, y := 40+(w-80)*rng.Float64(), 40+(h-80)*rng.Float64()
		k.targets = append(k.targets, target{v: p.camFromSky.Inv().Apply(p.lens.Cam(x, y).Vec()), share: share})
		if seen(i) {
			f.Stars = append(f.Stars, detect.Star{X: x + away(i), Y: y, ErrX: 0.3, ErrY: 0.3, Flux: 1})
		}
	}
	k.cloud = makeCloud(f, n)
	k.cloud.compare()
	return k, p
}

func nowhere(int) float64 { return 0 }

// However well the other stars of a frame are seen, one that is missing is no proof: it
// may stand behind a twig, on a bad column, in another star's light. It weighs 1 to 20,
// and where less is expected of it less, so that the odds stay finite. (No source for
// the 20: see cmd/proof.)
func TestOneMissingStarIsNoProof(t *testing.T) {
	for _, c := range []struct{ share, want float64 }{{1, math.Log(1 - 0.95)}, {0.5, math.Log(1 - 0.5*0.95)}} {
		const n = 80
		all, p := frameOfTargets(n, c.share, func(i int) bool { return i != n-1 }, nowhere)
		with := all.grow(p, 0)
		all, p = frameOfTargets(n, c.share, func(i int) bool { return i != n-1 }, nowhere)
		all.targets = all.targets[:n-1]
		if got := with - all.grow(p, 0); !(math.Abs(got-c.want) < 0.05) {
			t.Errorf("seed %d, share %g: the last of %d stars, alone missing, weighs %.2f, want %.2f", seed, c.share, n, got, c.want)
		}
	}
}

// A point within four standard errors of where a star is expected is taken for it, one
// farther away is not: of Gaussian errors e^-8 lie beyond.
func TestGateOfFourStandardErrors(t *testing.T) {
	for _, c := range []struct {
		off   float64 // standard errors
		found bool
	}{{3, true}, {3.8, true}, {4.2, false}, {5.2, false}} {
		k, p := frameOfTargets(8, 1, func(int) bool { return true }, func(i int) float64 {
			if i == 7 {
				return 0.3 * c.off
			}
			return 0
		})
		k.grow(p, 0)
		if found := len(k.grown) == 8; len(k.grown) < 7 || found != c.found {
			t.Errorf("seed %d: %d of 8 stars found, the last of which is %g standard errors off", seed, len(k.grown), c.off)
		}
	}
}

// Points at random are at the widest gate of a crowded frame in a tenth of all places,
// the share of stars that chance may match there; the gate is never wider than the lens
// is understood to, nor narrower than places are good to.
func TestWidestGateKeepsChanceOut(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 61))
	for _, n := range []int{800, 1500} {
		c := makeCloud(randomField(rng, n), n)
		gate, hit := c.widest(), 0
		const places = 20000
		for range places {
			found, x, y := false, 1280*rng.Float64(), 960*rng.Float64()
			c.near(x, y, gate, func(_ int, q *point) { found = found || math.Hypot(q.x-x, q.y-y) <= gate })
			if found {
				hit++
			}
		}
		if share := float64(hit) / places; share < 0.08 || share > 0.15 {
			t.Errorf("seed %d, %d points: %.1f %% of random places have one within %.2f px, want about 11", seed, n, 100*share, gate)
		}
	}
	for density, want := range map[float64]float64{1e-6: 8, 1: 1} {
		if got := (&cloud{density: density}).widest(); got != want {
			t.Errorf("%g points a square pixel: gate of %g px, want %g", density, got, want)
		}
	}
}

// Frames narrower than most have so few stars of the embedded list that a proposal has
// little to fail by: it must be e^3 likelier there, not with a deeper list, nor in wider
// frames. (No source for the 3: see cmd/proof.)
func TestNarrowFramesNeedMore(t *testing.T) {
	deep := &index.Library{List: stars.Embedded()}
	for _, c := range []struct {
		diagonal sphere.Angle
		deep     bool
		want     float64
	}{{0.5 * sphere.Degree, false, 3}, {0.5 * sphere.Degree, true, 0}, {0.6 * sphere.Degree, false, 0}} {
		tr := made{diagonal: c.diagonal, stars: 12, noise: 0.2}.make(rand.New(rand.NewPCG(seed, 62)))
		r := (&Solver{Library: lib, Deep: deep}).run(tr.field, Options{Epoch: 2026.9})
		st := stage{pass: sweepPass, library: lib}
		if c.deep {
			st.library = deep
		}
		w := newWorker(r, st, nil, 0)
		pts := r.cloud.pts
		sky := func(i int) r3.Vec { return tr.camFromSky.Inv().Apply(tr.lens.Cam(pts[i].x, pts[i].y).Vec()) }
		pair := twosome{points: [2]int{0, 1}, va: sky(0), vb: sky(1)}
		odds, _ := w.start(&pair, false)
		const chances = 1000
		if w.weigh(&pair, false, chances, 1); !(math.Abs(odds-chances-r.contest.best()-c.want) < 1e-6) {
			t.Errorf("seed %d, %v, deep %v: the odds lose %.3f, want %g", seed, c.diagonal, c.deep, odds-chances-r.contest.best(), c.want)
		}
	}
}
