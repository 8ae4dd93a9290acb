package stars

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pintle/index/sphere"
)

// use does everything a list can do; it must not fail on any list that Open
// lets pass.
func use(l *List) {
	for _, epoch := range []float64{1025, 2026.9, 3025} {
		l.Each(99, epoch, func(Star) bool { return true })
		l.Cone(nil, sphere.SkyAt(0, 1.5), 0.1, 11, epoch)
		l.ConeDots(nil, sphere.SkyAt(6, -1), 2, 99, epoch)
		for id := range uint32(min(l.Len()+2, 100)) {
			l.At(id, epoch)
		}
	}
	_, _ = l.Verify(), l.Checksum()
}

// small is a list of few stars and cells, so that damage is likely to matter.
func small(t testing.TB) []byte {
	t.Helper()
	data, err := encode(invented(rand.New(rand.NewPCG(seed, 5)), 50), minZones)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func TestOpenRefuses(t *testing.T) {
	good := small(t)
	size := binary.Size(header{})
	put32 := func(at int, v uint32) func([]byte) []byte {
		return func(b []byte) []byte { binary.LittleEndian.PutUint32(b[at:], v); return b }
	}
	put64 := func(at int, v float64) func([]byte) []byte {
		return func(b []byte) []byte { binary.LittleEndian.PutUint64(b[at:], math.Float64bits(v)); return b }
	}
	const afterSum = 48
	stars, zones, fast := afterSum+16, afterSum+20, afterSum+24
	layer0 := afterSum + 32
	vars := layer0 + 12*layers
	row := func(cell, layer int) int { return size + cell*rowSize + layer*4 }
	for _, c := range []struct {
		name   string
		change func([]byte) []byte
	}{
		{"empty", func([]byte) []byte { return nil }},
		{"short header", func(b []byte) []byte { return b[:size-1] }},
		{"header only", func(b []byte) []byte { return b[:size] }},
		{"a byte less", func(b []byte) []byte { return b[:len(b)-1] }},
		{"a byte more", func(b []byte) []byte { return append(b, 0) }},
		{"magic", func(b []byte) []byte { b[0]++; return b }},
		{"version", put32(8, version+1)},
		{"header size", put32(12, 0)},
		{"epoch", put64(afterSum, 2000)},
		{"epoch NaN", put64(afterSum, math.NaN())},
		{"largest motion", put64(afterSum+8, 1)},
		{"largest motion NaN", put64(afterSum+8, math.NaN())},
		{"more stars", put32(stars, 51)},
		{"most stars", put32(stars, math.MaxUint32)},
		{"no zones", put32(zones, 0)},
		{"one zone", put32(zones, 1)},
		{"more zones", put32(zones, minZones+1)},
		{"most zones", put32(zones, math.MaxUint32)},
		{"more fast stars", put32(fast, math.MaxUint32)},
		{"layer count", put32(layer0, math.MaxUint32)},
		{"layer V", put32(layer0+4, math.MaxInt32)},
		{"layer step", put32(layer0+8, 0)},
		{"layer order", put32(layer0+4+12*(layers-1), 0)},
		{"variance", put64(vars, -1)},
		{"variance NaN", put64(vars+8, math.NaN())},
		{"variance negative in time", put64(vars+8, 1e-3)},
		{"variance infinite", put64(vars+16, math.Inf(1))},
		{"first row", put32(row(0, 0), 1)},
		{"row back", put32(row(200, 1), math.MaxUint32)},
		{"last row", put32(row(newGrid(minZones).cells, layers-1), 49)},
		{"fast number", func(b []byte) []byte { return put32(len(b)-fastSize, 50)(b) }},
		{"fast motion", func(b []byte) []byte { return put32(len(b)-fastSize+4, 200001)(b) }},
	} {
		l, err := Open(c.change(slices.Clone(good)))
		if err == nil {
			t.Errorf("%s: opened a list of %d stars", c.name, l.Len())
			continue
		}
		t.Log(c.name, "-", err)
	}
	if l, err := Open(good); err != nil {
		t.Error("the good one:", err)
	} else {
		use(l)
	}
}

// Changed bytes either are refused or make a list that can be used.
func TestOpenChangedBytes(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 6))
	good := small(t)
	size := binary.Size(header{})
	opened := 0
	for range 3000 {
		bad := slices.Clone(good)
		from, to := 0, size
		if rng.IntN(2) == 0 { // anywhere
			to = len(bad)
		}
		for range 1 + rng.IntN(3) {
			bad[from+rng.IntN(to-from)] = byte(rng.Uint32())
		}
		if l, err := Open(bad); err == nil {
			opened++
			l.Cone(nil, sphere.SkyAt(0, 1.5), 1, 99, 3025)
			l.At(rng.Uint32N(50), 1025)
		}
	}
	if opened == 0 {
		t.Errorf("seed %d: no changed list opened, the test tests nothing", seed)
	}
}

func FuzzOpen(f *testing.F) {
	good := small(f)
	f.Add(good)
	f.Add(good[:200])
	f.Add([]byte(magic))
	f.Fuzz(func(t *testing.T, data []byte) {
		if l, err := Open(data); err == nil {
			use(l)
		}
	})
}
