package solve

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"path/filepath"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index"
	"pintle/index/optics"
	"pintle/index/sphere"
	"pintle/index/stars"
	"pintle/solve/detect"
)

// patch invents a list of the stars around a place: 1500 a square degree.
func patch(t *testing.T, rng *rand.Rand, at sphere.Sky, radius sphere.Angle, n int) *stars.List {
	t.Helper()
	dir := t.TempDir()
	b, err := stars.NewBuilder(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	east, north := axesAt(at)
	for range n {
		r, a := float64(radius)*math.Sqrt(rng.Float64()), 2*math.Pi*rng.Float64()
		s, c := math.Sincos(a)
		e := stars.Entry{
			Pos:   sphere.SkyVec(r3.Add(at.Vec(), r3.Add(r3.Scale(r*s, east), r3.Scale(r*c, north)))),
			V:     16 + math.Log(rng.Float64())/math.Log(2.2), // 2.2 times as many a magnitude
			BV:    math.NaN(),
			Epoch: 2016,
			PM:    [2]float64{5 * rng.NormFloat64(), 5 * rng.NormFloat64()},
		}
		for i := range e.Err {
			e.Err[i] = stars.EntryError{Place: 1, At: 2016, Motion: 1}
		}
		e.V = max(e.V, 5)
		if err := b.Add(&e); err != nil {
			t.Fatal(err)
		}
	}
	path := filepath.Join(dir, "stars")
	if _, err := b.Write(context.Background(), path, func(float64) {}); err != nil {
		t.Fatal(err)
	}
	l, err := stars.OpenFile(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	return l
}

func axesAt(s sphere.Sky) (east, north r3.Vec) {
	east = r3.Unit(r3.Cross(r3.Vec{Z: 1}, s.Vec()))
	return east, r3.Cross(s.Vec(), east)
}

// Frames of 0.2 to 0.5 degrees diagonal are recognised with a deeper list, and
// not without; frames of other stars are not. What is refused ends in a sweep, which
// takes long: without -long those of one size do, and a quick look at those whose stars
// are not listed.
func TestSmallFrames(t *testing.T) {
	if testing.Short() {
		t.Skip("slow")
	}
	rng := rand.New(rand.NewPCG(seed, 31))
	middle := sphere.SkyAt(1.1, 0.7)
	list := patch(t, rng, middle, 1.5*sphere.Degree, 10_600)
	deep := &index.Library{Dir: t.TempDir(), List: list, Set: index.DeepBands(), Now: lib.Now}
	defer deep.Close()
	good, poor := index.Serves(list)
	if len(poor) != 0 {
		t.Fatalf("the list does not serve %v", poor)
	}
	for _, b := range good {
		if _, err := deep.Get(context.Background(), b); err != nil {
			t.Fatal(err)
		}
	}
	with := &Solver{Library: lib, Deep: deep}
	without := &Solver{Library: lib}
	east, north := axesAt(middle)
	solved, frames := 0, 0
	diagonals, each := []sphere.Angle{0.3 * sphere.Degree}, 2
	if *long {
		diagonals, each = []sphere.Angle{0.2 * sphere.Degree, 0.3 * sphere.Degree, 0.5 * sphere.Degree}, 3
	}
	for _, diagonal := range diagonals {
		for n := range each {
			at := sphere.SkyVec(r3.Add(middle.Vec(), r3.Add(r3.Scale(0.012*(2*rng.Float64()-1), east), r3.Scale(0.012*(2*rng.Float64()-1), north))))
			f, lens := smallFrame(rng, list, at, diagonal)
			opt := Options{Epoch: 2026.9}
			if n%2 == 0 {
				opt.Hint.Scale = sphere.Angle(1 / lens.F)
			}
			bounded, quick := opt, opt
			if !*long {
				bounded.Effort, quick.Effort = Everywhere, Nearby
			}
			if n == 0 {
				if sol, err := without.Solve(context.Background(), f, quick); err == nil {
					t.Errorf("seed %d: a frame of %v was solved without its stars, %v from the truth", seed, diagonal, sol.Centre().Sep(at))
				}
			}
			frames++
			sol, err := with.Solve(context.Background(), f, opt)
			var un *Unsolved
			if errors.As(err, &un) {
				t.Logf("frame of %.2f degrees with %d stars: %v", diagonal.Degrees(), len(f.Stars), err)
				continue
			}
			if err != nil {
				t.Fatal(err)
			}
			solved++
			if d := sol.Centre().Sep(at); d > sphere.Arcsecond {
				t.Errorf("seed %d: a frame of %v was solved %v from the truth", seed, diagonal, d)
			}
			// The next frame of the same camera, by what is known of this one.
			next, _ := smallFrame(rng, list, middle, diagonal)
			near, err := with.Solve(context.Background(), next, Options{Epoch: 2026.9, Hint: Hint{Near: sol}})
			if err != nil || near.Centre().Sep(middle) > sphere.Arcsecond {
				t.Errorf("seed %d: the next frame of %v: %v", seed, diagonal, err)
			}
			if n > 0 {
				continue
			}
			// Its spots in disorder are no frame.
			for i := range f.Stars {
				f.Stars[i].X, f.Stars[i].Y = 1280*rng.Float64(), 960*rng.Float64()
			}
			if _, err := with.Solve(context.Background(), f, bounded); !errors.As(err, &un) {
				t.Errorf("seed %d: spots in disorder were solved as a frame of %v (error %v)", seed, diagonal, err)
			}
		}
	}
	t.Logf("seed %d: %d of %d frames solved", seed, solved, frames)
	if solved < frames-1 {
		t.Errorf("seed %d: %d of %d frames solved", seed, solved, frames)
	}
}

// smallFrame draws the brightest 40 stars around a place, a fifth missing and
// a fifth false, places good to 0.3 px.
func smallFrame(rng *rand.Rand, list *stars.List, at sphere.Sky, diagonal sphere.Angle) (*detect.Field, optics.Lens) {
	const w, h = 1280, 960
	tr := truth{field: &detect.Field{W: w, H: h}, lens: optics.NewLens(w, h, 1)}
	tr.lens.F = tr.lens.Half / math.Tan(float64(diagonal)/2)
	east, north := axesAt(at)
	s, c := math.Sincos(2 * math.Pi * rng.Float64())
	x := r3.Add(r3.Scale(c, east), r3.Scale(s, north))
	y := r3.Cross(at.Vec(), x)
	k := checker{list: list, deep: true, epoch: 2026.9}
	k.brightest(at.Vec(), float64(diagonal)/2, 1000)
	n := 0
	for _, d := range k.dots {
		z := r3.Dot(d.Vec, at.Vec())
		px, py := tr.lens.CX+tr.lens.F*r3.Dot(d.Vec, x)/z, tr.lens.CY+tr.lens.F*r3.Dot(d.Vec, y)/z
		if px < 0 || py < 0 || px >= w || py >= h || rng.Float64() < 0.2 {
			continue
		}
		mag := float64(d.V) + 0.2*rng.NormFloat64()
		tr.add(px+0.3*rng.NormFloat64(), py+0.3*rng.NormFloat64(), mag, 0.3, d.ID)
		if n%5 == 0 {
			tr.add(w*rng.Float64(), h*rng.Float64(), mag, 0.3, none)
		}
		if n++; n == 40 {
			break
		}
	}
	sortByFlux(&tr)
	return tr.field, tr.lens
}
