package solve

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/optics"
	"pintle/index/sphere"
	"pintle/solve/detect"
)

// sweepOnly recognises a frame with a sweep alone.
func sweepOnly(t *testing.T, tr *truth, lens *optics.Lens) (*Solution, error) {
	t.Helper()
	r := (&Solver{Library: lib}).run(tr.field, Options{Epoch: 2026.9})
	st := stage{pass: sweepPass, library: lib, bands: lib.Bands(), min: minDiagonal, max: maxDiagonal, lens: lens}
	if lens != nil {
		d := sphere.Angle(2 * math.Atan(lens.Half/lens.F))
		st.min, st.max = d/1.01, d*1.01
	}
	return r.search(context.Background(), st)
}

func TestSweepFindsFrames(t *testing.T) {
	if testing.Short() {
		t.Skip("slow, and nothing runs beside it")
	}
	rng := rand.New(rand.NewPCG(seed, 20))
	solved, n := 0, 0
	for i, o := range []made{
		{diagonal: 6 * sphere.Degree, stars: 20, lost: 0.3, false: 12, noise: 0.2},
		{diagonal: 9 * sphere.Degree, stars: 20, lost: 0.4, false: 10, noise: 0.2, k1: 0.03},
		{diagonal: 16 * sphere.Degree, stars: 20, lost: 0.4, false: 10, noise: 0.4, mirrored: true},
		{diagonal: 35 * sphere.Degree, stars: 20, lost: 0.3, false: 10, noise: 0.3, k1: -0.04},
		{diagonal: 60 * sphere.Degree, stars: 20, lost: 0.3, false: 10, noise: 0.3, mirrored: true},
	} {
		if testing.Short() && i != 3 {
			continue
		}
		for j := range rounds(2) {
			tr := o.make(rng)
			var lens *optics.Lens
			if j%2 == 1 {
				lens = &tr.lens
			}
			s, err := sweepOnly(t, &tr, lens)
			if err != nil {
				t.Fatal(err)
			}
			n++
			if s == nil {
				t.Logf("seed %d, %+v: not found", seed, o)
				continue
			}
			solved++
			t.Run(fmt.Sprintf("%v %d", o.diagonal, j), func(t *testing.T) { tr.check(t, s, o.noise) })
		}
	}
	if 20*solved < 17*n {
		t.Errorf("seed %d: %d of %d frames found", seed, solved, n)
	}
}

func TestSweepFindsNothingInChance(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 21))
	if testing.Short() {
		t.Skip("slow")
	}
	for range 1 + extra(1) {
		tr := made{diagonal: 20 * sphere.Degree, stars: 15, false: 10, noise: 0.3}.make(rng)
		for i := range tr.field.Stars {
			tr.field.Stars[i].X, tr.field.Stars[i].Y = 1280*rng.Float64(), 960*rng.Float64()
		}
		if s, err := sweepOnly(t, &tr, nil); s != nil || err != nil {
			t.Fatalf("seed %d: points at random: solution %+v, error %v", seed, s, err)
		}
	}
}

func TestSweepTellsHowFarItIs(t *testing.T) {
	if testing.Short() {
		t.Skip("slow") // a sweep that is stopped stands for it
	}
	rng := rand.New(rand.NewPCG(seed, 25))
	for _, n := range []int{fewestToSweep - 1, fewestToSweep} {
		f := detect.Field{W: 1280, H: 960}
		for range n {
			f.Stars = append(f.Stars, detect.Star{X: 1280 * rng.Float64(), Y: 960 * rng.Float64(), ErrX: 0.2, ErrY: 0.2, Flux: 100 + 1000*rng.Float64()})
		}
		var mu sync.Mutex
		var shares []float64
		begun := 0
		s := &Solver{Library: lib, Sweeping: func() func(float64) {
			begun++
			return func(share float64) {
				mu.Lock()
				defer mu.Unlock()
				shares = append(shares, share)
			}
		}}
		var un *Unsolved
		if _, err := s.Solve(context.Background(), &f, Options{Epoch: 2026.9}); !errors.As(err, &un) {
			t.Fatalf("seed %d, %d points: %v", seed, n, err)
		}
		if n < fewestToSweep {
			if begun != 0 {
				t.Errorf("seed %d, %d points: a sweep", seed, n)
			}
			continue
		}
		if begun != 1 || len(shares) < 10 || shares[len(shares)-1] != 1 || slices.Min(shares) != 0 || slices.Max(shares) != 1 {
			t.Errorf("seed %d, %d points: %d sweeps, shares %v", seed, n, begun, shares)
		}
	}
}

// Every star of a frame is found in the table from every pair, through the
// coordinates of the sky alone.
func TestShapesSeeTheStars(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 22))
	for _, o := range []made{
		{diagonal: 2 * sphere.Degree, noise: 0.1},
		{diagonal: 12 * sphere.Degree, k1: 0.015, noise: 0.1},
		{diagonal: 50 * sphere.Degree, k1: -0.045, mirrored: true, noise: 0.1},
	} {
		tr := o.make(rng)
		tr.field.Stars, tr.ids = nil, nil
		var sky []r3.Vec
		for range 12 {
			x, y := 1280*rng.Float64()-0.5, 960*rng.Float64()-0.5
			tr.add(x, y, 4+3*rng.Float64(), o.noise, none)
		}
		sortByFlux(&tr)
		for _, s := range tr.field.Stars {
			sky = append(sky, tr.camFromSky.Inv().Apply(tr.lens.Cam(s.X, s.Y).Vec()))
		}
		c := makeCloud(tr.field, 12)
		var order []int
		for i := range c.pts {
			order = append(order, i)
		}
		var planes []*plane
		for _, k1 := range sweepLenses {
			planes = append(planes, makePlane(c, k1))
		}
		s := makeShapes(context.Background(), c, order, planes, []bool{false, true}, tr.lens.F/tr.lens.Half, 0.3, 1.2, 0.002, sweepBetween)
		lens := slices.IndexFunc(sweepLenses, func(k1 float64) bool { return math.Abs(k1-o.k1) <= sweepBetween })
		asked := 0
		for id, q := range s.postures {
			length := r3.Norm(r3.Sub(planes[lens].at[q.a], planes[lens].at[q.b]))
			if q.mirrored != o.mirrored || length < 0.3 || length > 1.2 {
				continue
			}
			m, d, n := axes(sky[q.a], sky[q.b])
			h := -r3.Dot(sky[q.a], d) / r3.Dot(sky[q.a], m)
			for k := range sky {
				if k == q.a || k == q.b {
					continue
				}
				z := 2 * h * r3.Dot(sky[k], m)
				x, y := r3.Dot(sky[k], d)/z+0.5, r3.Dot(sky[k], n)/z
				if math.Abs(x-0.5) > tableHalf-2*tableCell || math.Abs(y) > tableHalf-2*tableCell {
					continue
				}
				asked++
				px, py := inCells(x, y)
				found := false
				for corner := range 4 { // the table has cells whose middle is near enough
					cell := cellOf(px+float32(corner%2)-0.5, py+float32(corner/2)-0.5)
					for _, p := range s.spots[s.first[cell]:s.first[int(cell)+1]] {
						want := 10 * (c.pts[k].mag - (c.pts[q.a].mag+c.pts[q.b].mag)/2)
						found = found || int(p.posture()) == id && p.which()>>lens&1 != 0 && math.Abs(float64(p.faint())-want) < 1.001 && s.exactly(p, lens, px, py)
					}
				}
				if !found {
					t.Fatalf("seed %d, %+v: from points %d and %d, point %d at (%.3f, %.3f) is not in the table", seed, o, q.a, q.b, k, x, y)
				}
			}
		}
		if asked < 200 {
			t.Errorf("only %d places asked for", asked)
		}
	}
}

// Poisson's distribution, summed term by term from its definition.
func TestNeededKeepsChanceOut(t *testing.T) {
	tail := func(n int, mean float64) (sum float64) { // of n or more
		for k := n; k < n+60; k++ {
			g, _ := math.Lgamma(float64(k + 1))
			sum += math.Exp(float64(k)*math.Log(mean) - mean - g)
		}
		return sum
	}
	for _, mean := range []float64{0.001, 0.02, 0.07, 0.2, 0.5, 1, 3} {
		n := int(needed(mean, chanceMatch))
		if got := tail(n, mean); got > chanceMatch {
			t.Errorf("mean %g: %d or more with a chance of %g, want at most %g", mean, n, got, chanceMatch)
		}
		if n > 2 && tail(n-1, mean) <= chanceMatch {
			t.Errorf("mean %g: %d are needed, but %d would do", mean, n, n-1)
		}
	}
	if n := needed(0, chanceMatch); n != 2 {
		t.Errorf("%d needed where chance brings none, want 2", n)
	}
}

// bend agrees with the coordinates of bent points.
func TestDistorted(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 23))
	at := func(a, b, q r3.Vec) (x, y float64) {
		d, e := r3.Sub(b, a), r3.Sub(q, a)
		l2 := r3.Norm2(d)
		return r3.Dot(d, e) / l2, (d.X*e.Y - d.Y*e.X) / l2
	}
	for range 200 {
		var p [3]r3.Vec
		for i := range p {
			p[i] = r3.Vec{X: 1.6*rng.Float64() - 0.8, Y: 1.2*rng.Float64() - 0.6}
		}
		const k1 = 1e-6
		x, y := at(p[0], p[1], p[2])
		var bent [3]r3.Vec
		for i, v := range p {
			bent[i] = r3.Scale(1+k1*r3.Norm2(v), v)
		}
		bx, by := at(bent[0], bent[1], bent[2])
		want := math.Hypot(bx-x, by-y) / k1 * r3.Norm(r3.Sub(p[1], p[0]))
		if got := distorted(p[0], p[1], p[2], x, y); math.Abs(got-want) > 1e-3*(1+want) {
			t.Fatalf("seed %d: %v bends by %g, differences give %g", seed, p, got, want)
		}
	}
}

// A sweep is made without a lens, or with that of a frame of the same size, and
// only for a moderate number of points.
func TestWhenToSweep(t *testing.T) {
	lens := optics.NewLens(1280, 960, 30*sphere.Arcsecond)
	near, other := &Solution{W: 1280, H: 960, Lens: lens}, &Solution{W: 10, H: 10, Lens: lens}
	for _, c := range []struct {
		points        int
		hint          Hint
		blind, hinted int
	}{
		{20, Hint{}, 1, 0},
		{20, Hint{Near: near}, 0, 1},
		{20, Hint{Near: other}, 1, 0},
		{20, Hint{Near: other, Scale: lens.Scale()}, 1, 0},
		{20, Hint{Scale: lens.Scale()}, 1, 0},
		{20, Hint{Near: near, Scale: lens.Scale()}, 0, 1},
		{fewestToSweep - 1, Hint{}, 0, 0},
		{mostToSweep + 1, Hint{}, 0, 0},
		{fewestToSweep - 1, Hint{Near: near}, 0, 0},
	} {
		f := &detect.Field{W: 1280, H: 960}
		for i := range c.points {
			f.Stars = append(f.Stars, detect.Star{X: float64(i * 15), Y: float64(i * 11), ErrX: 0.1, ErrY: 0.1, Flux: 1})
		}
		r := (&Solver{Library: lib}).run(f, Options{Hint: c.hint})
		blind, hinted := 0, 0
		for _, st := range r.stages() {
			switch {
			case !st.sweep || st.place != nil:
			case st.lens != nil:
				hinted++
			case st.min == minDiagonal && st.max == maxDiagonal:
				blind++
			}
		}
		if blind != c.blind || hinted != c.hinted {
			t.Errorf("%d points, hint of a lens %v, of a scale %v: %d sweeps without a lens and %d with one, want %d and %d",
				c.points, c.hint.Near != nil, c.hint.Scale > 0, blind, hinted, c.blind, c.hinted)
		}
	}
}
