package stars

import (
	"bytes"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// invented returns stars all over the sky, with crowds at the poles, at right
// ascension 0 and along edges of cells.
func invented(rng *rand.Rand, n int) []Entry {
	const deg = sphere.Degree
	entries := make([]Entry, n)
	for i := range entries {
		ra, dec := randomSky(rng).RADec()
		switch i % 8 {
		case 0:
			dec = 90*deg - sphere.Angle(rng.ExpFloat64())*deg/2
		case 1:
			dec = -90*deg + sphere.Angle(rng.ExpFloat64())*deg/2
		case 2:
			ra = sphere.Angle(rng.NormFloat64()) * deg / 10
		case 3:
			dec = 0.75*deg*sphere.Angle(rng.IntN(200)-100) + sphere.Angle(rng.NormFloat64())*sphere.Arcsecond
		}
		e := Entry{Pos: sphere.SkyAt(ra, dec), Epoch: 1990 + 20*rng.Float64(), V: 12 - 3*rng.ExpFloat64(), BV: rng.NormFloat64()}
		speed := 100.0
		if i%10 == 0 {
			speed = 19000 * rng.Float64()
		}
		angle := 2 * math.Pi * rng.Float64()
		e.PM = [2]float64{speed * math.Cos(angle), speed * math.Sin(angle)}
		if i%20 == 7 {
			e.PM = [2]float64{math.NaN(), math.NaN()}
		}
		if i%3 == 0 {
			e.BV = math.NaN()
		}
		for k := range e.Err {
			e.Err[k] = EntryError{Place: 5 + 100*rng.Float64(), At: 1950 + 40*rng.Float64(), Motion: 0.5 + 3*rng.Float64()}
		}
		e.V = max(e.V, -1.4)
		entries[i] = e
	}
	return entries
}

func mustEncode(t testing.TB, entries []Entry) []byte {
	t.Helper()
	data, err := Encode(entries)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// Each entry is found at its own place, magnitude and colour; the error stated
// is its own within what a class may hide.
func TestEncodeRoundTrip(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 4))
	entries := invented(rng, 5_000)
	data := mustEncode(t, entries)
	if !bytes.Equal(data, mustEncode(t, entries)) {
		t.Error("the same entries give different bytes")
	}
	l, err := Open(data)
	if err != nil {
		t.Fatal(err)
	}
	if err := l.Verify(); err != nil || l.Len() != len(entries) {
		t.Fatalf("%d stars, want %d; %v", l.Len(), len(entries), err)
	}
	for i := range entries {
		e := &entries[i]
		for _, epoch := range []float64{2000, 2025, 2050} {
			at := e.At(epoch)
			ok := false
			for _, s := range l.Cone(nil, at, 0.07*sphere.Arcsecond, 99, epoch) {
				bv := min(max(e.BV, -0.4), 2.6)
				ok = ok || math.Abs(float64(s.V)-e.V) <= 0.02 && (math.IsNaN(e.BV) == math.IsNaN(float64(s.BV))) &&
					!(math.Abs(float64(s.BV)-bv) > 0.0501)
			}
			if !ok {
				t.Fatalf("seed %d: entry %d, %+v, is not in the list for %v", seed, i, *e, epoch)
			}
		}
	}
}

// Straight motion in space: a star that passes 10 degrees from where it was has
// moved by tan, and one over the pole comes down on the other side.
func TestEntryAt(t *testing.T) {
	const deg = sphere.Degree
	e := Entry{Pos: sphere.SkyAt(30*deg, 89*deg), Epoch: 2000, PM: [2]float64{0, 20000}}
	years := math.Tan(2*math.Pi/180) / (20000 * mas)
	if d := e.At(2000 + years).Sep(sphere.SkyAt(210*deg, 89*deg)).Arcseconds(); d > 1e-6 {
		t.Errorf("over the pole: %v arcsec off", d)
	}
	e = Entry{Pos: sphere.SkyAt(0, 60*deg), Epoch: 2000, PM: [2]float64{1000, 0}}
	want := sphere.SkyAt(10*sphere.Arcsecond/0.5, 60*deg) // cos 60 = 1/2
	if d := e.At(2010).Sep(want).Arcseconds(); d > 1e-3 {
		t.Errorf("eastward: %v arcsec off", d)
	}
}

func TestEncodeRefuses(t *testing.T) {
	good := Entry{Pos: sphere.SkyAt(1, 1), Epoch: 2000, V: 5, BV: 1, Err: [2]EntryError{{10, 1990, 1}, {10, 1990, 1}}}
	for _, c := range []struct {
		want   string
		change func(*Entry)
	}{
		{"V NaN", func(e *Entry) { e.V = math.NaN() }},
		{"V 30", func(e *Entry) { e.V = 30 }},
		{"not in its cell", func(e *Entry) { e.Pos = sphere.Sky{} }},
		{"not in its cell", func(e *Entry) { e.Pos = sphere.SkyVec(r3.Vec{X: math.NaN()}) }},
		{"proper motion", func(e *Entry) { e.PM[0] = 20001 }},
		{"proper motion", func(e *Entry) { e.PM[1] = math.Inf(1) }},
		{"errors", func(e *Entry) { e.Err[1].Place = math.NaN() }},
		{"errors", func(e *Entry) { e.Err[0].Place = 1e9 }},
		{"not in its cell", func(e *Entry) { e.Epoch = math.NaN() }},
	} {
		bad := good
		c.change(&bad)
		if _, err := Encode([]Entry{good, bad}); err == nil || !strings.Contains(err.Error(), "entry 1: ") || !strings.Contains(err.Error(), c.want) {
			t.Errorf("got %v, want an error about %q", err, c.want)
		}
	}
	if l, err := Open(mustEncode(t, nil)); err != nil || l.Len() != 0 || len(l.Cone(nil, good.Pos, 9, 99, 2026)) != 0 {
		t.Errorf("empty list: %v", err)
	}
}
