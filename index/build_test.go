package index

import (
	"bytes"
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
	"pintle/index/stars"
)

var built = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

// widestBand is the cheapest to build.
func widestBand() Band { return bands[len(bands)-1] }

// build builds the widest band into a new folder.
func build(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	if err := Build(context.Background(), dir, widestBand(), stars.Embedded(), built, nil); err != nil {
		t.Fatal(err)
	}
	return dir
}

func TestSquaresFindEveryNearPoint(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 10))
	for _, size := range []sphere.Angle{0.7 * sphere.Degree, 5 * sphere.Degree, 20 * sphere.Degree} {
		g := makeSquares(size)
		for range 3000 {
			a := sphere.SkyVec(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: 3 * rng.NormFloat64()})
			radius := 2 * float64(size) * rng.Float64()
			// A point within the radius.
			b := sphere.SkyVec(r3.Add(a.Vec(), r3.Scale(radius*0.57*rng.Float64(), r3.Vec{X: rng.Float64()*2 - 1, Y: rng.Float64()*2 - 1, Z: rng.Float64()*2 - 1})))
			if float64(a.Sep(b)) > radius {
				continue
			}
			found := false
			for _, c := range g.near(nil, a.Vec(), radius) {
				found = found || c == g.cell(b.Vec())
			}
			if !found {
				t.Fatalf("seed %d: %v is %v from %v, within %g rad, but its cell is not listed", seed, b, a.Sep(b), a, radius)
			}
		}
	}
}

// A look-up finds what a plain search through all patterns finds.
func TestFindAgainstPlainSearch(t *testing.T) {
	if testing.Short() {
		t.Skip("slow")
	}
	b := widestBand()
	all, err := patterns(context.Background(), b, brightest(stars.Embedded()), func(float64) {})
	if err != nil {
		t.Fatal(err)
	}
	r, err := Open(build(t), b, stars.Embedded())
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	s := r.Session()
	defer s.Close()
	rng := rand.New(rand.NewPCG(seed, 11))
	total := 0
	for range 60 {
		e := all[rng.IntN(len(all))]
		c := restore(e.key, e.offset, b.cells)
		c.X1 += 0.02 * rng.NormFloat64()
		c.Y2 += 0.02 * rng.NormFloat64()
		eps := 0.03 * rng.Float64()
		got, err := s.Find(nil, c, eps)
		if err != nil {
			t.Fatal(err)
		}
		// Codes are kept to a step; patterns within half a step of the edge of
		// the interval may be in or out.
		half := 0.51 / float64(b.cells) / (offsetMax + 1)
		must, may := 0, 0
		for _, e := range all {
			d := restore(e.key, e.offset, b.cells).Dist(c)
			if d < eps-half {
				must++
			}
			if d < eps+half {
				may++
			}
		}
		if len(got) < must || len(got) > may {
			t.Fatalf("seed %d: found %d patterns within %g, a plain search %d to %d", seed, len(got), eps, must, may)
		}
		total += must
	}
	if total == 0 {
		t.Error("no look-up had anything to find: the test shows nothing")
	}
}

// The stars A and B of a stored pattern lie where they must for its size, and
// every star of a level is part of patterns: no patch of sky is left out.
func TestPatternsCoverTheSky(t *testing.T) {
	if testing.Short() {
		t.Skip("slow")
	}
	b := widestBand()
	list := stars.Embedded()
	all, err := patterns(context.Background(), b, brightest(list), func(float64) {})
	if err != nil {
		t.Fatal(err)
	}
	g := makeSquares(2 * b.levels[0].square)
	count := make([]int, g.total())
	for _, e := range all {
		s, okS := list.At(e.a&starMask, Epoch)
		q, okQ := list.At(e.b, Epoch)
		if !okS || !okQ {
			t.Fatalf("pattern of stars %d and %d, which the list does not have", e.a&starMask, e.b)
		}
		if d := s.Pos.Sep(q.Pos); d < b.Min*0.99 || d > b.Max*1.01 {
			t.Fatalf("pattern %v across in a band of %v to %v", d, b.Min, b.Max)
		}
		count[g.cell(unit(r3.Add(s.Pos.Vec(), q.Pos.Vec())))]++
	}
	low := math.MaxInt
	for _, n := range count {
		low = min(low, n)
	}
	if low < 50 {
		t.Errorf("a square of %v has %d patterns, want at least 50 everywhere", 2*b.levels[0].square, low)
	}
}

func TestBuildIsRepeatable(t *testing.T) {
	if testing.Short() {
		t.Skip("slow")
	}
	a, err := Open(build(t), widestBand(), stars.Embedded())
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	b, err := Open(build(t), widestBand(), stars.Embedded())
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	if a.Manifest.CRC != b.Manifest.CRC || a.Manifest.Patterns != b.Manifest.Patterns || a.Manifest.Patterns == 0 {
		t.Errorf("two builds differ: %+v and %+v", a.Manifest, b.Manifest)
	}
	if err := a.Check(context.Background()); err != nil {
		t.Error(err)
	}
}

func TestSeveralReadersAtOnce(t *testing.T) {
	dir := build(t)
	for range 3 {
		r, err := Open(dir, widestBand(), stars.Embedded())
		if err != nil {
			t.Fatal(err)
		}
		defer r.Close()
	}
}

func TestAbsentBand(t *testing.T) {
	if _, err := Open(t.TempDir(), widestBand(), stars.Embedded()); !errors.Is(err, ErrAbsent) {
		t.Errorf("error %v, want one of ErrAbsent", err)
	}
}

// A stopped build leaves nothing that could be taken for a band.
func TestStoppedBuildLeavesNothing(t *testing.T) {
	dir := t.TempDir()
	ctx, stop := context.WithCancel(context.Background())
	err := Build(ctx, dir, widestBand(), stars.Embedded(), built, func(share float64) {
		if share > 0.3 {
			stop()
		}
	})
	if !errors.Is(err, context.Canceled) {
		t.Fatalf("error %v, want context.Canceled", err)
	}
	left, _ := os.ReadDir(dir)
	if len(left) != 0 {
		t.Errorf("a stopped build left %v", left)
	}
}

// What a killed build could not clean up is removed by a later one.
func TestRemainsAreSwept(t *testing.T) {
	dir := t.TempDir()
	old := filepath.Join(dir, "band-4"+asideMark+"123")
	if err := os.Mkdir(old, 0o755); err != nil {
		t.Fatal(err)
	}
	sweep(dir, time.Now())
	if _, err := os.Stat(old); err != nil {
		t.Error("a build that may be running was swept away")
	}
	sweep(dir, time.Now().Add(2*time.Hour))
	if _, err := os.Stat(old); err == nil {
		t.Error("remains of two hours ago were not swept away")
	}
}

func TestUnfitBandsAreNoticed(t *testing.T) {
	if testing.Short() {
		t.Skip("slow")
	}
	ctx := context.Background()
	b := widestBand()
	table := func(t *testing.T, dir string) string {
		t.Helper()
		m, _ := filepath.Glob(filepath.Join(dir, b.Name(), "*.sst"))
		if len(m) == 0 {
			t.Fatal("no table file")
		}
		return m[0]
	}
	for _, c := range []struct {
		name  string
		spoil func(t *testing.T, dir string)
	}{
		{"another band", func(t *testing.T, dir string) {
			other := t.TempDir()
			x := b
			x.Number = 3 // the same patterns under a wrong number
			if err := Build(ctx, other, x, stars.Embedded(), built, nil); err != nil {
				t.Fatal(err)
			}
			os.RemoveAll(filepath.Join(dir, b.Name()))
			if err := os.Rename(filepath.Join(other, x.Name()), filepath.Join(dir, b.Name())); err != nil {
				t.Fatal(err)
			}
		}},
		{"truncated table", func(t *testing.T, dir string) {
			if err := os.Truncate(table(t, dir), 100000); err != nil {
				t.Fatal(err)
			}
		}},
		{"empty folder", func(t *testing.T, dir string) {
			os.RemoveAll(filepath.Join(dir, b.Name()))
			os.Mkdir(filepath.Join(dir, b.Name()), 0o755)
		}},
		{"random bytes", func(t *testing.T, dir string) {
			p := table(t, dir)
			data, err := os.ReadFile(p)
			if err != nil {
				t.Fatal(err)
			}
			rng := rand.New(rand.NewPCG(seed, 12))
			for i := range data {
				data[i] = byte(rng.Uint32())
			}
			os.Chmod(p, 0o644)
			if err := os.WriteFile(p, data, 0o644); err != nil {
				t.Fatal(err)
			}
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := build(t)
			c.spoil(t, dir)
			if r, err := Open(dir, b, stars.Embedded()); !errors.Is(err, ErrUnfit) {
				if err == nil {
					r.Close()
				}
				t.Fatalf("error %v, want one of ErrUnfit", err)
			}
			// The library builds it anew.
			var why error
			l := &Library{Dir: dir, List: stars.Embedded(), Now: func() time.Time { return built }, Building: func(_ Band, reason error) func(float64) {
				why = reason
				return func(float64) {}
			}}
			defer l.Close()
			r, err := l.Get(ctx, b)
			if err != nil {
				t.Fatal(err)
			}
			if !errors.Is(why, ErrUnfit) {
				t.Errorf("rebuilt because %v, want ErrUnfit", why)
			}
			if err := r.Check(ctx); err != nil {
				t.Error(err)
			}
		})
	}
}

// One flipped bit in the patterns is found, by a full check at the latest.
func TestFlippedBitIsFound(t *testing.T) {
	if testing.Short() {
		t.Skip("slow")
	}
	b := widestBand()
	dir := build(t)
	m, _ := filepath.Glob(filepath.Join(dir, b.Name(), "*.sst"))
	data, err := os.ReadFile(m[0])
	if err != nil {
		t.Fatal(err)
	}
	data = bytes.Clone(data)
	data[len(data)/3] ^= 4
	os.Chmod(m[0], 0o644)
	if err := os.WriteFile(m[0], data, 0o644); err != nil {
		t.Fatal(err)
	}
	r, err := Open(dir, b, stars.Embedded())
	if err == nil {
		defer r.Close()
		err = r.Check(context.Background())
	}
	if !errors.Is(err, ErrUnfit) {
		t.Errorf("error %v, want one of ErrUnfit", err)
	}
}

func BenchmarkBuildBand(b *testing.B) {
	for b.Loop() {
		if err := Build(context.Background(), b.TempDir(), bands[3], stars.Embedded(), built, nil); err != nil {
			b.Fatal(err)
		}
	}
}
