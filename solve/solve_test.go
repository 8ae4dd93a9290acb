package solve

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index"
	"pintle/index/optics"
	"pintle/index/sphere"
	"pintle/index/stars"
	"pintle/solve/detect"
)

const seed = 20261125

// lib holds the two widest bands, which are built in seconds.
var lib *index.Library

func TestMain(m *testing.M) {
	flag.Parse()
	dir, err := os.MkdirTemp("", "pintle-solve-test-*")
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	bands := index.Bands()[len(index.Bands())-2:]
	lib = &index.Library{Dir: dir, List: stars.Embedded(), Now: time.Now}
	if !*long && !borrowed(bands) {
		fmt.Fprintln(os.Stderr, "the index is not in the user's cache folder: it is built")
	}
	for _, b := range bands {
		if _, err := lib.Get(context.Background(), b); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	status := m.Run()
	lib.Close()
	os.RemoveAll(dir)
	os.Exit(status)
}

// borrowed takes the bands from the user's cache folder when they are there: to build
// them takes half as long as the tests, and longer under the race detector.
func borrowed(bands []index.Band) bool {
	cache, err := os.UserCacheDir()
	if err != nil {
		return false
	}
	l := &index.Library{Dir: filepath.Join(cache, "pintle", "index"), List: stars.Embedded(), Now: time.Now, Set: bands}
	for _, b := range bands {
		if _, err := l.Ready(b); err != nil {
			l.Close()
			return false
		}
	}
	lib = l
	return true
}

// truth is a made-up frame.
type truth struct {
	lens       optics.Lens
	camFromSky sphere.Rot
	field      *detect.Field
	ids        []uint32 // star of each detection, none for a false one
}

const none = math.MaxUint32

// options of a made-up frame.
type made struct {
	diagonal sphere.Angle
	k1       float64
	mirrored bool
	stars    int     // brightest in the frame
	lost     float64 // share of them that is not detected
	false    int     // false detections
	noise    float64 // px
}

// make draws the frame at a random place and orientation.
func (o made) make(rng *rand.Rand) truth {
	const w, h = 1280, 960
	t := truth{field: &detect.Field{W: w, H: h}}
	t.lens = optics.NewLens(w, h, 1)
	t.lens.F = t.lens.Half / math.Tan(float64(o.diagonal)/2)
	t.lens.K1, t.lens.Mirrored = o.k1, o.mirrored
	t.camFromSky = sphere.TurnVec(r3.Vec{X: 2 * rng.NormFloat64(), Y: 2 * rng.NormFloat64(), Z: 2 * rng.NormFloat64()})
	k := checker{list: lib.List, epoch: 2026.9}
	p := pose{camFromSky: t.camFromSky, lens: t.lens}
	for _, s := range k.inFrame(&p, &cloud{w: w, h: h}, o.stars) {
		x, y, ok := p.project(s.Pos.Vec())
		if ok && x >= 0 && y >= 0 && x < w && y < h && rng.Float64() >= o.lost {
			t.add(x+o.noise*rng.NormFloat64(), y+o.noise*rng.NormFloat64(), float64(s.V)+0.3*rng.NormFloat64(), o.noise, s.ID)
		}
	}
	real := len(t.ids)
	for i := range o.false { // as bright as true ones
		mag := 6.0
		if real > 0 {
			mag = -2.5 * math.Log10(t.field.Stars[i%real].Flux)
		}
		t.add(w*rng.Float64(), h*rng.Float64(), mag, o.noise, none)
	}
	sortByFlux(&t)
	return t
}

func (t *truth) add(x, y, mag, noise float64, id uint32) {
	t.field.Stars = append(t.field.Stars, detect.Star{X: x, Y: y, ErrX: noise, ErrY: noise, Flux: math.Pow(10, -0.4*mag)})
	t.ids = append(t.ids, id)
}

func sortByFlux(t *truth) {
	s := t.field.Stars
	for i := range s {
		for j := i; j > 0 && s[j].Flux > s[j-1].Flux; j-- {
			s[j], s[j-1] = s[j-1], s[j]
			t.ids[j], t.ids[j-1] = t.ids[j-1], t.ids[j]
		}
	}
}

func solveField(t *testing.T, f *detect.Field, h Hint) (*Solution, error) {
	t.Helper()
	return (&Solver{Library: lib}).Solve(context.Background(), f, Options{Epoch: 2026.9, Hint: h})
}

// check compares a solution with the truth.
func (tr *truth) check(t *testing.T, s *Solution, noise float64) {
	t.Helper()
	for _, c := range [][2]float64{{640, 480}, {200, 150}, {1100, 800}} {
		want := sphere.SkyVec(tr.camFromSky.Inv().Apply(tr.lens.Cam(c[0], c[1]).Vec()))
		if d := float64(want.Sep(s.Sky(c[0], c[1]))) * tr.lens.F; d > 3*noise+0.5 {
			t.Errorf("pixel %v is solved %.2f px from where it is", c, d)
		}
	}
	if s.Lens.Mirrored != tr.lens.Mirrored {
		t.Errorf("mirrored %v, want %v", s.Lens.Mirrored, tr.lens.Mirrored)
	}
	wrong := 0
	for _, m := range s.Matches {
		if tr.ids[m.Detected] != m.Star.ID {
			wrong++
		}
	}
	if wrong*6 > len(s.Matches) {
		t.Errorf("%d of %d matches are wrong", wrong, len(s.Matches))
	}
}

func TestSolvesWideFields(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 1))
	for i, o := range []made{
		{diagonal: 6 * sphere.Degree, stars: 40, noise: 0.2},
		{diagonal: 12 * sphere.Degree, stars: 40, lost: 0.3, false: 20, noise: 0.3},
		{diagonal: 12 * sphere.Degree, stars: 40, lost: 0.3, false: 20, noise: 0.3, mirrored: true},
		{diagonal: 25 * sphere.Degree, stars: 30, lost: 0.2, false: 10, noise: 0.5, k1: -0.05},
		{diagonal: 40 * sphere.Degree, stars: 60, lost: 0.2, false: 30, noise: 0.3, k1: 0.05},
		{diagonal: 60 * sphere.Degree, stars: 80, lost: 0.4, false: 40, noise: 0.3, mirrored: true},
		{diagonal: 60 * sphere.Degree, stars: 25, noise: 1},
		{diagonal: 20 * sphere.Degree, stars: 600, lost: 0.2, false: 200, noise: 0.1, k1: -0.02},
	} {
		for j := range 3 {
			t.Run(fmt.Sprintf("%d.%d", i, j), func(t *testing.T) {
				tr := o.make(rng)
				s, err := solveField(t, tr.field, Hint{})
				if err != nil {
					t.Fatalf("seed %d, %+v: %v", seed, o, err)
				}
				tr.check(t, s, o.noise)
			})
		}
	}
}

// Ten true stars among as many false ones are enough; the mean success over
// many fields is measured by cmd/proof.
func TestSolvesFewStars(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 2))
	solved, n := 0, 12
	for range n {
		tr := made{diagonal: 16 * sphere.Degree, stars: 14, lost: 0.25, false: 10, noise: 0.3}.make(rng)
		if s, err := solveField(t, tr.field, Hint{}); err == nil {
			tr.check(t, s, 0.3)
			solved++
		}
	}
	if solved < n-2 {
		t.Errorf("seed %d: %d of %d solved", seed, solved, n)
	}
}

func TestRefusesChance(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 3))
	numbers := []int{4, 6, 20}
	switch {
	case testing.Short():
		numbers = numbers[:2]
	case *long:
		numbers = append(numbers, 12, 40, 300)
	}
	for _, n := range numbers {
		tr := made{diagonal: 20 * sphere.Degree, false: n, noise: 0.3}.make(rng)
		tr.field.Stars = tr.field.Stars[:min(n, len(tr.field.Stars))]
		for i := range tr.field.Stars {
			tr.field.Stars[i].X, tr.field.Stars[i].Y = 1280*rng.Float64(), 960*rng.Float64()
		}
		s, err := solveField(t, tr.field, Hint{})
		var un *Unsolved
		if !errors.As(err, &un) || un.Reason.Stars != n {
			t.Fatalf("seed %d: %d random points: solution %+v, error %v; want Unsolved with a reason", seed, n, s, err)
		}
	}
}

// A regular lattice, as of hot pixels or a test chart, is no star field.
func TestRefusesLattice(t *testing.T) {
	if testing.Short() {
		t.Skip("slow")
	}
	f := &detect.Field{W: 1280, H: 960}
	apart := 260.0
	if *long {
		apart = 120
	}
	for y := 60.0; y < 960; y += apart {
		for x := 60.0; x < 1280; x += apart {
			f.Stars = append(f.Stars, detect.Star{X: x, Y: y, ErrX: 0.1, ErrY: 0.1, Flux: 1000 - x/10})
		}
	}
	if s, err := solveField(t, f, Hint{}); err == nil {
		t.Fatalf("a lattice is solved: %+v", s)
	}
}

func TestHintsDoNotDecide(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 4))
	o := made{diagonal: 15 * sphere.Degree, stars: 50, lost: 0.2, noise: 0.2}
	tr, other := o.make(rng), o.make(rng)
	first, err := solveField(t, other.field, Hint{})
	if err != nil {
		t.Fatal(err)
	}
	blind, err := solveField(t, tr.field, Hint{})
	if err != nil {
		t.Fatal(err)
	}
	wrong := *first
	wrong.Lens.F *= 2
	wrong.Lens.Mirrored = true
	for name, h := range map[string]Hint{
		"scale":       {Scale: tr.lens.Scale()},
		"wrong scale": {Scale: tr.lens.Scale() * 3},
		"lens":        {Near: first},
		"wrong lens":  {Near: &wrong},
		"other frame": {Near: &Solution{W: 10, H: 10, Lens: first.Lens}},
	} {
		s, err := solveField(t, tr.field, h)
		if err != nil {
			t.Fatalf("hint %s: %v", name, err)
		}
		tr.check(t, s, o.noise)
		if d := s.Centre().Sep(blind.Centre()); float64(d)*tr.lens.F > 0.05 {
			t.Errorf("hint %s: centre %v from the one without", name, d)
		}
	}
}

func TestHostileLists(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	same := detect.Star{X: 5, Y: 5, ErrX: 0.1, ErrY: 0.1, Flux: 1}
	for i, f := range []*detect.Field{
		{},
		{W: 100, H: 100},
		{W: 100, H: 100, Stars: []detect.Star{same, same, same, same, same, same}},
		{W: 1280, H: 960, Stars: []detect.Star{{X: nan, Y: 1}, {X: 1, Y: inf}, {X: 3, Y: 3, ErrX: nan}, {X: 1e300, Y: 1}, {X: -1e300, Y: 5, Flux: nan}}},
		{W: 1, H: 1, Stars: []detect.Star{{}, {}, {}, {}, {}}},
		{W: 1280, H: 960, Stars: []detect.Star{{X: 100, Y: 100}, {X: 200, Y: 100}, {X: 300, Y: 100}, {X: 400, Y: 100}, {X: 500, Y: 100}, {X: 600, Y: 100}}},
	} {
		if s, err := solveField(t, f, Hint{Scale: sphere.Angle(nan)}); err == nil {
			t.Errorf("list %d is solved: %+v", i, s)
		}
	}
}

// The derivatives agree with differences.
func TestPoseDerivatives(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 5))
	steps := vector{iRotX: 1e-6, iRotY: 1e-6, iRotZ: 1e-6, iLogF: 1e-6, iK1: 1e-6, iK2: 1e-6, iCX: 1e-3, iCY: 1e-3}
	for range 50 {
		tr := made{diagonal: 50 * sphere.Degree, k1: -0.04, mirrored: rng.IntN(2) == 0}.make(rng)
		p := pose{camFromSky: tr.camFromSky, lens: tr.lens}
		v := tr.camFromSky.Inv().Apply(tr.lens.Cam(1280*rng.Float64(), 960*rng.Float64()).Vec())
		_, _, dx, dy, _ := p.derivatives(v)
		for i, h := range steps {
			var d vector
			a, b := p, p
			d[i] = h
			a.move(&d)
			d[i] = -h
			b.move(&d)
			ax, ay, _ := a.project(v)
			bx, by, _ := b.project(v)
			wx, wy := (ax-bx)/(2*h), (ay-by)/(2*h)
			scale := 1 + math.Hypot(wx, wy)
			if math.Abs(wx-dx[i])/scale > 1e-5 || math.Abs(wy-dy[i])/scale > 1e-5 {
				t.Fatalf("seed %d: unknown %d: %g, %g, differences give %g, %g", seed, i, dx[i], dy[i], wx, wy)
			}
		}
	}
}

// Counts from the embedded list itself; the table in the code is VT counts.
func TestMagnitudeForDensity(t *testing.T) {
	for v := 3.0; v <= 11; v++ {
		n := 0
		lib.List.Each(v, 2027, func(stars.Star) bool { n++; return true })
		if got := magnitudeFor(float64(n) / 41252.96); math.Abs(got-v) > 0.25 {
			t.Errorf("%d stars to V %g over the sky, the table says V %.2f", n, v, got)
		}
	}
}

func BenchmarkSolve(b *testing.B) {
	rng := rand.New(rand.NewPCG(seed, 6))
	tr := made{diagonal: 15 * sphere.Degree, stars: 100, lost: 0.2, false: 30, noise: 0.2}.make(rng)
	s := &Solver{Library: lib}
	for b.Loop() {
		if _, err := s.Solve(context.Background(), tr.field, Options{Epoch: 2026.9}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkRefuse(b *testing.B) {
	rng := rand.New(rand.NewPCG(seed, 7))
	tr := made{diagonal: 15 * sphere.Degree, false: 60, noise: 0.2}.make(rng)
	for i := range tr.field.Stars {
		tr.field.Stars[i].X, tr.field.Stars[i].Y = 1280*rng.Float64(), 960*rng.Float64()
	}
	s := &Solver{Library: lib}
	for b.Loop() {
		if _, err := s.Solve(context.Background(), tr.field, Options{Epoch: 2026.9}); err == nil {
			b.Fatal("solved")
		}
	}
}
