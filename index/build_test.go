package index

import (
	"bytes"
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
	"pintle/index/stars"
)

var built = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

// widestBand is the cheapest to build.
func widestBand() Band { return bands[len(bands)-1] }

// readyMade holds the widest band, built when first asked for.
var readyMade struct {
	once sync.Once
	dir  string
	err  error
}

func TestMain(m *testing.M) {
	status := m.Run()
	os.RemoveAll(readyMade.dir)
	os.Exit(status)
}

// build gives the test the widest band in a folder of its own.
func build(t *testing.T) string {
	t.Helper()
	readyMade.once.Do(func() {
		if readyMade.dir, readyMade.err = os.MkdirTemp("", "pintle-index-test-*"); readyMade.err == nil {
			readyMade.err = Build(context.Background(), readyMade.dir, widestBand(), stars.Embedded(), built, nil)
		}
	})
	dir := t.TempDir()
	if err := errors.Join(readyMade.err, os.CopyFS(dir, os.DirFS(readyMade.dir))); err != nil {
		t.Fatal(err)
	}
	return dir
}

// plainly are the patterns of the widest band in memory, made when first asked
// for.
var plainly = sync.OnceValues(func() ([]entry, error) {
	m, err := patterns(context.Background(), widestBand(), stars.Embedded(), unlimited, "", func(float64) {})
	if err != nil {
		return nil, err
	}
	return m.entries.fill, nil
})

// session builds the widest band and opens it.
func session(t *testing.T) (*Reader, *Session) {
	t.Helper()
	r, err := Open(build(t), widestBand(), stars.Embedded())
	if err != nil {
		t.Fatal(err)
	}
	s := r.Session()
	t.Cleanup(func() { r.Close() })
	return r, s
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
	all, err := plainly()
	if err != nil {
		t.Fatal(err)
	}
	l := b.layout()
	r, s := session(t)
	rng := rand.New(rand.NewPCG(seed, 11))
	total := 0
	for i := range 24 {
		if i == 8 {
			r.room.most = 0 // from here on nothing is kept
		}
		e := all[rng.IntN(len(all))]
		c := l.restore(e.key, e.bits)
		c.X1 += 0.02 * rng.NormFloat64()
		c.Y2 += 0.02 * rng.NormFloat64()
		eps := 0.03 * rng.Float64()
		got, err := s.Find(nil, c, eps)
		if err != nil {
			t.Fatal(err)
		}
		must := 0
		for _, e := range all {
			if l.restore(e.key, e.bits).Dist(c) <= eps {
				must++
			}
		}
		if len(got) != must {
			t.Fatalf("seed %d: found %d patterns within %g, a plain search %d", seed, len(got), eps, must)
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
	all, err := plainly()
	if err != nil {
		t.Fatal(err)
	}
	_, session := session(t)
	star := func(slot uint32) sphere.Sky {
		d, err := session.Star(slot)
		if err != nil {
			t.Fatal(err)
		}
		if d.Free() {
			t.Fatalf("a pattern has the free slot %d", slot)
		}
		return sphere.SkyVec(d.Vec())
	}
	g := makeSquares(b.levels[0].square)
	count := make([]int, g.total())
	for _, e := range all {
		i, j := b.layout().slots(e.bits)
		p, q := star(i), star(j)
		if d := r3.Norm(r3.Sub(p.Vec(), q.Vec())); d < float64(b.Min)*0.99 || d > float64(b.Max)*1.01 {
			t.Fatalf("pattern with a chord of %g in a band of %v to %v", d, b.Min, b.Max)
		}
		count[g.cell(sphere.Unit(r3.Add(p.Vec(), q.Vec())))]++
	}
	low := math.MaxInt
	for _, n := range count {
		low = min(low, n)
	}
	if low < 50 {
		t.Errorf("a square of %v has %d patterns, want at least 50 everywhere", b.levels[0].square, low)
	}
}

// What is unpacked is what was packed, to half a step, in every band.
func TestPackingAndBack(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 12))
	for _, b := range append(Bands(), DeepBands()...) {
		l := b.layout()
		_, base := b.grids()
		slots := base[len(base)-1]
		for range 2000 {
			c := Code{0.5 * rng.Float64(), 1.7*rng.Float64() - 0.85, rng.Float64(), 1.7*rng.Float64() - 0.85}
			a := rng.IntN(slots)
			q := max(0, min(slots-1, a+rng.IntN(2000)-1000))
			mirror := rng.IntN(2) == 0
			e, ok := l.pack(c, mirror, uint32(a), uint32(q))
			if !ok {
				t.Fatalf("seed %d: band %d cannot pack slots %d and %d", seed, b.Number, a, q)
			}
			i, j := l.slots(e.bits)
			if i != uint32(a) || j != uint32(q) || l.mirror(e.bits) != mirror {
				t.Fatalf("seed %d: slots %d and %d, mirror %v came back as %d, %d, %v", seed, a, q, mirror, i, j, l.mirror(e.bits))
			}
			// Half a step in each of four coordinates.
			if d := l.restore(e.key, e.bits).Dist(c); d > 1.01/float64(b.cells*l.steps()) {
				t.Fatalf("seed %d: code %v came back as %v", seed, c, l.restore(e.key, e.bits))
			}
		}
	}
}

// The stars of a band are stored at their places and magnitudes, and they are the
// brightest of the whole list.
func TestSkyOfABand(t *testing.T) {
	if testing.Short() {
		t.Skip("slow")
	}
	b := widestBand()
	r, s := session(t)
	var all []point // the same for all levels: each is built in one strip
	for n, l := range b.levels {
		whole := strips(r.grids[n], l, stars.Embedded(), unlimited)[0]
		if all == nil {
			all = whole.brightest(t.Context(), stars.Embedded(), math.Inf(1))
		}
		c := choose(all, whole, l.square, r.base[n])
		if len(c.stars) == 0 {
			t.Fatal("no stars on a level")
		}
		for i, p := range c.stars {
			got, err := s.Star(c.slots[i])
			if err != nil {
				t.Fatal(err)
			}
			if d := r3.Norm(r3.Sub(got.Vec(), p.v)); d > float64(l.square)/30e3 || math.Abs(float64(got.V-p.v0)) > 0.051 {
				t.Fatalf("star %d of magnitude %v is %g rad from its place, with magnitude %v", p.id, p.v0, d, got.V)
			}
		}
		// All stars of the level within a radius are around a place.
		for i := 0; i < len(c.stars); i += 97 {
			p := c.stars[i]
			radius := float64(l.square) * float64(i%10+1) / 10
			around, err := s.Around(nil, c.slots[i], p.v, radius)
			if err != nil {
				t.Fatal(err)
			}
			count := func(n int, v r3.Vec) int {
				if r3.Norm(r3.Sub(v, p.v)) < 0.99*radius {
					n++
				}
				return n
			}
			got, want := 0, 0
			for _, d := range around {
				got = count(got, d.Vec())
			}
			for _, q := range c.stars {
				want = count(want, q.v)
			}
			if got != want {
				t.Fatalf("%d stars within %g of star %d of a level, want %d", got, radius, p.id, want)
			}
		}
	}
}

// A slab that is not one is refused, whatever its bytes.
func FuzzSlab(f *testing.F) {
	l := bands[0].layout()
	e1, _ := l.pack(Code{0.3, 0.2, 0.5, 0.1}, false, 5, 9)
	e2, _ := l.pack(Code{0.3, 0.2, 0.5, 0.14}, true, 7, 900)
	list := []entry{e1, e2}
	sortEntries(list)
	f.Add(appendSlab(nil, list))
	f.Add([]byte{0, 255, 0, 0, 1})
	f.Fuzz(func(t *testing.T, v []byte) {
		s, err := parseSlab(v)
		if err != nil {
			return
		}
		n := 0
		for c := range 256 {
			n += len(s.cell(c))
		}
		if n != len(s.entries) || n%entrySize != 0 {
			t.Errorf("cells have %d bytes of %d", n, len(s.entries))
		}
	})
}

// So is a block of stars, and a manifest.
func FuzzBlock(f *testing.F) {
	b := widestBand()
	r := &Reader{Band: b}
	r.grids, r.base = b.grids()
	f.Add(0, bytes.Repeat([]byte{1, 2, 3, 4, 5}, perSquare))
	f.Add(r.base[1]-perSquare, bytes.Repeat([]byte{255}, slotSize*blockSize))
	f.Fuzz(func(t *testing.T, first int, v []byte) {
		if first < 0 || first >= r.base[len(r.base)-1] {
			return
		}
		dots, err := r.unfold(first/perSquare*perSquare, v)
		if err != nil {
			return
		}
		for _, d := range dots {
			if n := r3.Norm(d.Vec()); !d.Free() && math.Abs(n-1) > 1e-6 {
				t.Errorf("a direction of length %g", n)
			}
		}
	})
}

func FuzzManifest(f *testing.F) {
	dir := f.TempDir()
	f.Add([]byte(`{"version":4,"files":[{"name":"000001.sst","size":9,"tail":1}]}`))
	f.Add([]byte(`{"version":4,"files":[{"name":"../../x.sst","size":-9,"tail":1}]}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		if err := os.WriteFile(filepath.Join(dir, manifestName), text, 0o644); err != nil {
			t.Fatal(err)
		}
		m, err := readManifest(dir)
		if err != nil {
			return
		}
		if err := m.fits(widestBand(), stars.Embedded()); err == nil && m.intact(dir) == nil {
			t.Errorf("%q was taken for the manifest of an empty folder", text)
		}
	})
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
	again := t.TempDir()
	if err := Build(context.Background(), again, widestBand(), stars.Embedded(), built, nil); err != nil {
		t.Fatal(err)
	}
	b, err := Open(again, widestBand(), stars.Embedded())
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

// A build in strips, sorted on disk, gives the same bytes as one in memory.
func TestBoundedBuildIsTheSame(t *testing.T) {
	if !*long {
		t.Skip("takes long: -long")
	}
	if testing.Short() {
		t.Skip("slow")
	}
	list := stars.Embedded()
	for _, c := range []struct {
		band Band
		lim  limits
	}{
		{bands[4], limits{stars: 1000, cells: 1 << 20, entries: 50_000}},
	} {
		if n := len(strips(makeSquares(c.band.levels[0].square), c.band.levels[0], list, c.lim)); n < 4 {
			t.Fatalf("%v within %+v is built in %d strips: the test shows nothing", c.band, c.lim, n)
		}
		var crc [2]Manifest
		for i, lim := range []limits{unlimited, c.lim} {
			dir := t.TempDir()
			if err := buildWithin(context.Background(), dir, c.band, list, lim, built, func(float64) {}); err != nil {
				t.Fatal(err)
			}
			m, err := readManifest(filepath.Join(dir, c.band.Name()))
			if err != nil {
				t.Fatal(err)
			}
			crc[i] = m
			if left, _ := os.ReadDir(dir); len(left) != 1 {
				t.Errorf("the build left %v", left)
			}
		}
		if crc[0].CRC != crc[1].CRC || crc[0].Pairs != crc[1].Pairs || crc[0].Patterns != crc[1].Patterns || crc[0].Patterns == 0 {
			t.Errorf("%v in memory: %d patterns, %d pairs, checksum %08x; within %+v: %d, %d, %08x", c.band,
				crc[0].Patterns, crc[0].Pairs, crc[0].CRC, c.lim, crc[1].Patterns, crc[1].Pairs, crc[1].CRC)
		}
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

// Who waits for a band is let go at once, even while the build is busy with something
// that cannot be stopped; and the build leaves nothing.
func TestGetCanBeStopped(t *testing.T) {
	dir := t.TempDir()
	ctx, stop := context.WithCancel(t.Context())
	busy := make(chan struct{})
	lib := &Library{Dir: dir, List: stars.Embedded(), Now: func() time.Time { return built }, Building: func(Band, error) func(float64) {
		return func(share float64) {
			if share >= 0 {
				stop()
				<-busy
			}
		}
	}}
	if _, err := lib.Get(ctx, widestBand()); !errors.Is(err, context.Canceled) {
		t.Fatalf("error %v, want context.Canceled", err)
	}
	if _, err := lib.Get(ctx, widestBand()); !errors.Is(err, context.Canceled) {
		t.Errorf("again: error %v, want context.Canceled", err)
	}
	close(busy) // had Get waited for the build, it would not have come here
	if err := lib.Close(); err != nil {
		t.Error(err)
	}
	if left, _ := os.ReadDir(dir); len(left) != 0 {
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
	if !*long {
		t.Skip("takes long: -long")
	}
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
