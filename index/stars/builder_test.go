package stars

import (
	"bytes"
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pintle/index/sphere"
)

var tenMas = [2]EntryError{{10, 2016, 1}, {10, 2016, 1}}

// build packs entries on disk, in runs of a length that makes many.
func build(t testing.TB, entries []Entry, run int) (*List, Packed) {
	t.Helper()
	dir := t.TempDir()
	b, err := newBuilder(dir, run)
	if err != nil {
		t.Fatal(err)
	}
	for i := range entries {
		if err := b.Add(&entries[i]); err != nil {
			t.Fatal(err)
		}
	}
	path := filepath.Join(dir, "list")
	last := 0.0
	got, err := b.Write(context.Background(), path, func(share float64) {
		if share < last || share > 1 {
			t.Errorf("progress from %v to %v", last, share)
		}
		last = share
	})
	if err != nil || last != 1 {
		t.Fatalf("%v, progress to %v", err, last)
	}
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	if left, _ := os.ReadDir(dir); len(left) != 1 {
		t.Errorf("files left: %v", left)
	}
	l, err := OpenFile(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	if info, _ := os.Stat(path); got.Stars != l.Len() || got.Bytes != info.Size() {
		t.Errorf("%+v, the list has %d stars and %d bytes", got, l.Len(), info.Size())
	}
	return l, got
}

// The same promises as for Encode, with half the error of place.
func TestBuilderRoundTrip(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 14))
	entries := invented(rng, 20_000)
	l, got := build(t, entries, 1000)
	if err := l.Verify(); err != nil || l.Len() != len(entries) || got.Twins != 0 {
		t.Fatalf("%d stars, %d twins, want %d and 0; %v", l.Len(), got.Twins, len(entries), err)
	}
	for i := range entries {
		e := &entries[i]
		for _, epoch := range []float64{2000, 2025, 2050} {
			reach := 0.017 + 0.00072*math.Abs(epoch-2025) // steps of place; of motion, both coordinates
			ok := false
			for _, s := range l.Cone(nil, e.At(epoch), sphere.Angle(reach)*sphere.Arcsecond, 99, epoch) {
				ok = ok || math.Abs(float64(s.V)-e.V) <= 0.03
			}
			if !ok {
				t.Fatalf("seed %d: entry %d, %+v, is not in the list for %v", seed, i, *e, epoch)
			}
		}
	}
}

// A list does not depend on the order of its entries nor on the length of runs.
func TestBuilderOrder(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 15))
	entries := invented(rng, 3000)
	a, _ := build(t, entries, 1<<19)
	rng.Shuffle(len(entries), func(i, j int) { entries[i], entries[j] = entries[j], entries[i] })
	b, _ := build(t, entries, 100)
	if a.Checksum() != b.Checksum() || !bytes.Equal(a.records, b.records) || !bytes.Equal(a.rows, b.rows) {
		t.Error("the order of entries shows in the list")
	}
}

// Cones of a built list against a plain search through all entries.
func TestBuilderCone(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 16))
	entries := invented(rng, 10_000)
	l, _ := build(t, entries, 1500)
	for range 150 {
		at, radius, maxV := randomSky(rng), sphere.Angle(rng.ExpFloat64())*2*sphere.Degree, 6+6*rng.Float64()
		least, most := 0, 0 // rounding decides about those in between
		for i := range entries {
			d := float64(entries[i].At(2030).Sep(at)-radius) / float64(sphere.Arcsecond)
			if dv := entries[i].V - maxV; d < -0.05 && dv < -0.03 {
				least++
			} else if d > 0.05 || dv > 0.03 {
				continue
			}
			most++
		}
		if n := len(l.ConeDots(nil, at, radius, maxV, 2030)); n < least || n > most {
			t.Fatalf("seed %d: %d stars within %v of %v, want %d to %d", seed, n, radius, at, least, most)
		}
	}
}

// Layers as the embedded list has them, counted in stars.
func TestBuilderLayers(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 17))
	entries := make([]Entry, 50_000)
	for i := range entries { // twice as many each magnitude, to 16
		entries[i] = Entry{Pos: randomSky(rng), Epoch: 2016, V: max(-1.5, 16-rng.ExpFloat64()/math.Ln2), PM: [2]float64{1, 1}, Err: tenMas}
	}
	l, got := build(t, entries, runLength)
	sum := 0
	for k, y := range l.header.Layers {
		sum += int(y.Count)
		if want := Embedded().header.Layers[k]; y.Step > 50 {
			t.Errorf("layer %d in steps of %d thousandths, want at most 50 (embedded: %d)", k, y.Step, want.Step)
		}
		if k == layers-1 {
			break
		}
		share := float64(sum) / float64(l.Len())
		if want := layerShares[k]; share < want || share > want*1.15+0.001 { // an end moves by 0.1 mag
			t.Errorf("layer %d ends at %.4f of the stars, want %.4f", k, share, want)
		}
	}
	if got.Faintest > 16 || got.Faintest < 15.99 {
		t.Errorf("faintest star %v", got.Faintest)
	}
}

// Each star again 0.03 arcsec away in any direction, also beyond the edge of
// its cell, is left out; 0.1 arcsec away or a different magnitude is kept.
func TestBuilderTwins(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 18))
	g := newGrid(zonesDeep)
	var entries []Entry
	for i := range 4000 {
		pos := randomSky(rng)
		if i%2 == 0 { // near an edge
			ra, dec := pos.RADec()
			zone, segment := g.find(ra, dec)
			z := &g.zones[zone]
			if i%4 == 0 {
				ra = sphere.Angle(float64(segment) * z.width)
			} else {
				dec = sphere.Angle(float64(zone)*g.height - math.Pi/2)
			}
			pos = sphere.SkyAt(ra+sphere.Angle(rng.NormFloat64())*0.02*sphere.Arcsecond, dec+sphere.Angle(rng.NormFloat64())*0.02*sphere.Arcsecond)
		}
		entries = append(entries, Entry{Pos: pos, Epoch: 2025, V: 5 + 10*rng.Float64(), Err: tenMas})
	}
	first := len(entries)
	for _, c := range []struct {
		away sphere.Angle
		dv   float64
		twin bool
	}{{0, 0, true}, {0.03, 0, true}, {0.03, 0.0004, true}, {0.1, 0, false}, {0.03, 0.005, false}} {
		all := entries
		for i := range entries[:first] {
			e := entries[i]
			angle := 2 * math.Pi * rng.Float64()
			ra, dec := e.Pos.RADec()
			s, cos := math.Sincos(angle)
			north := c.away * sphere.Arcsecond * sphere.Angle(s)
			east := c.away * sphere.Arcsecond * sphere.Angle(cos/math.Cos(float64(dec)))
			e.Pos = sphere.SkyAt(ra+east, dec+north)
			e.V += c.dv
			all = append(all, e)
		}
		_, got := build(t, all, 777)
		want := 0
		if c.twin {
			want = first
		}
		if got.Twins != want || got.Stars != len(all)-want {
			t.Errorf("%v arcsec and %v mag: %d twins, want %d", float64(c.away), c.dv, got.Twins, want)
		}
	}
}

// The error stated for a star is that of its kind.
func TestBuilderErrors(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 19))
	var entries []Entry
	for i := range 9000 {
		e := Entry{Pos: randomSky(rng), Epoch: 2016, V: float64(i % 3), PM: [2]float64{5, -5}}
		err := EntryError{Place: []float64{1, 30, 200}[i%3], At: 2016, Motion: 1}
		e.Err = [2]EntryError{err, err}
		entries = append(entries, e)
	}
	l, _ := build(t, entries, runLength)
	packing := l.grid.step / math.Sqrt(12) / mas
	for s := range l.all(2026) {
		place := []float64{1, 30, 200}[int(math.Round(float64(s.V)))]
		want := math.Sqrt(place*place + 10*10 + packing*packing)
		if got := s.Err.Arcseconds() * 1000; math.Abs(math.Log(got/want)) > 0.15 {
			t.Fatalf("V %v: error %v mas, want %v", s.V, got, want)
		}
	}
}

// all is Each as an iterator.
func (l *List) all(epoch float64) func(func(Star) bool) {
	return func(yield func(Star) bool) { l.Each(99, epoch, yield) }
}

func TestBuilderRefuses(t *testing.T) {
	b, err := newBuilder(t.TempDir(), 10)
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	good := Entry{Pos: sphere.SkyAt(1, 1), Epoch: 2000, V: 5, Err: tenMas}
	for name, change := range map[string]func(*Entry){
		"V NaN":         func(e *Entry) { e.V = math.NaN() },
		"V 30":          func(e *Entry) { e.V = 30 },
		"no place":      func(e *Entry) { e.Pos = sphere.Sky{} },
		"fast":          func(e *Entry) { e.PM[0] = 20001 },
		"error":         func(e *Entry) { e.Err[0].Place = math.Inf(1) },
		"error's epoch": func(e *Entry) { e.Err[0] = EntryError{1, math.NaN(), 1} },
		"epoch":         func(e *Entry) { e.Epoch, e.PM[0] = math.NaN(), 1 },
	} {
		bad := good
		change(&bad)
		if err := b.Add(&bad); err == nil {
			t.Errorf("%s: added", name)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := b.Add(&good); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(b.dir, "list")
	if _, err := b.Write(ctx, path, func(float64) {}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
	if _, err := os.Stat(path); err == nil {
		t.Error("a cancelled Write left a list")
	}
}

func TestBuilderEmpty(t *testing.T) {
	l, _ := build(t, nil, 10)
	if n := len(l.Cone(nil, sphere.SkyAt(0, 0), 9, 99, 2026)); n != 0 || l.Len() != 0 {
		t.Errorf("%d stars of none", n)
	}
}

func TestOpenFileRefuses(t *testing.T) {
	dir := t.TempDir()
	write := func(name string, data []byte) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	good := small(t)
	for _, c := range []struct{ path, want string }{
		{filepath.Join(dir, "absent"), "absent"},
		{dir, "not a file"},
		{write("empty", nil), "0 bytes"},
		{write("short", good[:100]), "100 bytes"},
		{write("cut", good[:len(good)-1]), "asks for"},
		{write("other", bytes.Repeat([]byte("other"), 1000)), "starts with"},
	} {
		if _, err := OpenFile(c.path); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want an error about %q", c.path, err, c.want)
		}
	}
	l, err := OpenFile(write("good", good))
	if err != nil {
		t.Fatal(err)
	}
	use(l)
	if err := l.Close(); err != nil {
		t.Error(err)
	}
	if err := l.Close(); err != nil {
		t.Error("closed twice:", err)
	}
	if err := Embedded().Close(); err != nil || Embedded().Len() == 0 {
		t.Error("closing the embedded list changes it")
	}
}
