package solve

import (
	"context"
	"errors"
	"math/rand/v2"
	"slices"
	"sync/atomic"
	"testing"
	"time"

	"pintle/index"
	"pintle/index/sphere"
	"pintle/index/stars"
	"pintle/solve/detect"
)

// randomField is a list of n points that are no stars.
func randomField(rng *rand.Rand, n int) *detect.Field {
	f := &detect.Field{W: 1280, H: 960}
	for range n {
		f.Stars = append(f.Stars, detect.Star{X: 1280 * rng.Float64(), Y: 960 * rng.Float64(), ErrX: 0.2, ErrY: 0.2, Flux: 100 + 1000*rng.Float64()})
	}
	return f
}

// A frame is found with the least effort where it must be, and elsewhere only with
// more.
func TestEffortFindsWhereItLooks(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 30))
	s := &Solver{Library: lib}
	for range rounds(4) {
		o := made{diagonal: 15 * sphere.Degree, stars: 30, lost: 0.2, false: 6, noise: 0.2}
		first, second := o.make(rng), o.make(rng)
		at := func(tr *truth) *sphere.Sky {
			m := sphere.SkyVec(tr.camFromSky.Inv().Apply(tr.lens.Cam(639.5, 479.5).Vec()))
			return &m
		}
		near, err := s.Solve(t.Context(), first.field, Options{Epoch: 2026.9})
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		for _, c := range []struct {
			name   string
			tr     *truth
			hint   Hint
			effort Effort
			want   bool
		}{
			{"again", &first, Hint{Near: near}, There, true},
			{"elsewhere", &second, Hint{Near: near}, There, false},
			{"elsewhere, told so", &second, Hint{Near: near, At: at(&second), Within: 2 * sphere.Degree}, There, true},
			{"elsewhere, with the lens", &second, Hint{Near: near}, Nearby, true},
			{"without a hint", &second, Hint{}, There, false},
			{"without a hint, a quick look", &second, Hint{}, Nearby, true},
			{"without a hint, everywhere", &second, Hint{}, Everywhere, true},
			{"the wrong place", &second, Hint{Near: near, At: at(&first)}, Everything, true},
		} {
			sol, err := s.Solve(t.Context(), c.tr.field, Options{Epoch: 2026.9, Hint: c.hint, Effort: c.effort})
			var un *Unsolved
			if (err == nil) != c.want || err != nil && !errors.As(err, &un) {
				t.Errorf("seed %d, %s: error %v, want it solved: %v", seed, c.name, err, c.want)
			}
			if sol != nil {
				c.tr.check(t, sol, o.noise)
			}
		}
	}
}

// Without the last effort there is no sweep.
func TestEffortWithoutSweep(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 31))
	begun := 0
	s := &Solver{Library: lib, Sweeping: func() func(float64) { begun++; return func(float64) {} }}
	f := randomField(rng, fewestToSweep)
	for _, e := range []Effort{There, Nearby, Everywhere} {
		var un *Unsolved
		if _, err := s.Solve(t.Context(), f, Options{Epoch: 2026.9, Effort: e}); !errors.As(err, &un) || begun != 0 {
			t.Errorf("seed %d, effort %d: %v, %d sweeps", seed, e, err, begun)
		}
	}
}

// The lens of another night, right or wrong, gives the answer that a search without
// it gives.
func TestUsualLensDoesNotDecide(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 32))
	s := &Solver{Library: lib}
	for _, o := range []made{
		{diagonal: 15 * sphere.Degree, stars: 40, lost: 0.2, noise: 0.2},
		{diagonal: 30 * sphere.Degree, stars: 20, lost: 0.4, false: 10, noise: 0.2},
	} {
		tr := o.make(rng)
		right := &Solution{Lens: tr.lens, W: 1280, H: 960}
		wrong := &Solution{Lens: tr.lens, W: 1280, H: 960}
		wrong.Lens.F *= 2
		wrong.Lens.Mirrored = !wrong.Lens.Mirrored
		for name, h := range map[string]*Solution{"none": nil, "right": right, "wrong": wrong, "of another size": {Lens: tr.lens, W: 3, H: 2}, "empty": {W: 1280, H: 960}} {
			sol, err := s.Solve(t.Context(), tr.field, Options{Epoch: 2026.9, Hint: Hint{Usual: h}})
			if err != nil {
				t.Fatalf("seed %d, %s: %v", seed, name, err)
			}
			tr.check(t, sol, o.noise)
		}
	}
}

// A search that is stopped ends at once: no worker begins more than what it is at,
// and what it is at it leaves at the next region.
func TestSearchCanBeStopped(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 33))
	ctx, cancel := context.WithCancel(t.Context())
	const workers = 2
	var after atomic.Int64
	s := &Solver{Library: lib, Workers: workers, Sweeping: func() func(float64) {
		return func(share float64) {
			if ctx.Err() != nil && share < 1 {
				after.Add(1)
			}
			if share > 0.1 {
				cancel()
			}
		}
	}}
	if _, err := s.Solve(ctx, randomField(rng, 20), Options{Epoch: 2026.9}); !errors.Is(err, context.Canceled) {
		t.Fatalf("seed %d: %v, want that it was stopped", seed, err)
	}
	if n := after.Load(); n > workers {
		t.Errorf("seed %d: %d parts of the sweep were begun after the stop, want at most %d", seed, n, workers)
	}
	if _, err := s.Solve(ctx, randomField(rng, 20), Options{Epoch: 2026.9}); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped before it began: %v", err)
	}
}

// A search that is held begins nothing more until it is let go on, or stopped.
func TestSearchCanBeHeld(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 34))
	tr := made{diagonal: 15 * sphere.Degree, stars: 30, lost: 0.2, false: 6, noise: 0.2}.make(rng)
	held, release := make(chan struct{}, 1000), make(chan struct{})
	s := &Solver{Library: lib, Workers: 1}
	o := Options{Epoch: 2026.9, Hold: func(ctx context.Context) {
		held <- struct{}{}
		select {
		case <-release:
		case <-ctx.Done():
		}
	}}
	ctx, cancel := context.WithCancel(t.Context())
	stopped := make(chan error)
	go func() {
		_, err := s.Solve(ctx, tr.field, o)
		stopped <- err
	}()
	<-held
	cancel()
	if err := <-stopped; !errors.Is(err, context.Canceled) {
		t.Errorf("seed %d: stopped while it was held: %v", seed, err)
	}
	solved := make(chan *Solution, 1)
	go func() {
		sol, _ := s.Solve(t.Context(), tr.field, o)
		solved <- sol
	}()
	<-held
	if len(solved) > 0 {
		t.Errorf("seed %d: it was solved while it was held", seed)
	}
	close(release)
	if sol := <-solved; sol == nil {
		t.Errorf("seed %d: not solved after it was let go on", seed)
	} else {
		tr.check(t, sol, 0.2)
	}
}

// Of the bands that suit a frame only those are built that are needed, and for the next
// frame none.
func TestBandsAreBuiltOneByOne(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 35))
	var built []int
	l := &index.Library{Dir: t.TempDir(), List: stars.Embedded(), Now: time.Now, Building: func(b index.Band, _ error) func(float64) {
		built = append(built, b.Number)
		return func(float64) {}
	}}
	defer l.Close()
	s := &Solver{Library: l}
	o := made{diagonal: 20 * sphere.Degree, stars: 40, lost: 0.1, noise: 0.2}
	hint := Hint{}
	for range 2 {
		tr := o.make(rng)
		hint.Scale = tr.lens.Scale()
		sol, err := s.Solve(t.Context(), tr.field, Options{Epoch: 2026.9, Hint: hint, Build: true})
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		tr.check(t, sol, o.noise)
		hint.Near = sol
		if widest := l.Bands()[len(l.Bands())-1].Number; !slices.Equal(built, []int{widest}) {
			t.Errorf("seed %d: bands %v were built, want %d alone", seed, built, widest)
		}
	}
}
