package journal

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"
)

const seed = 20261125

func record(i int) Record {
	t := time.Date(2026, 11, 25, 20, 0, 0, 0, time.UTC).Add(time.Duration(i) * time.Minute)
	r := Record{
		Kind: Measurement, Time: t, Session: "s1", Site: Site{"moor", 52.1, -3.2, 120},
		Axis: Direction{0.4, 52.35}, Pole: Pole{"refracted", Direction{0, 52.0126}},
		Offset: Offset{20.24, 24, 14.77, 25.06 + float64(i)}, Sigma: Offset{0.1, 0.2, 0.12, 0.1},
		Tolerance: 1, Air: Air{998, 4.5}, Warnings: []string{"small turn"}, Note: "wind, \"gusty\"\nand wet",
	}
	for j := range 3 {
		r.Frames = append(r.Frames, Frame{Name: fmt.Sprintf("a%d.fits", j), Time: t.Add(-time.Minute), RA: 37.9, Dec: 71.2, Turn: 30 * float64(j), Stars: 120, RMS: 0.8})
	}
	return r
}

func fill(t *testing.T, n int) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "deep", "journal.jsonl")
	for i := range n {
		if err := Append(path, record(i)); err != nil {
			t.Fatal(err)
		}
	}
	return path
}

func TestAppendRead(t *testing.T) {
	path := fill(t, 5)
	got, damage, err := Read(path)
	if err != nil || len(damage) > 0 || len(got) != 5 {
		t.Fatalf("%d records, damage %v, %v", len(got), damage, err)
	}
	for i, r := range got {
		want := record(i)
		want.V = version
		if !reflect.DeepEqual(r, want) {
			t.Errorf("record %d: got %+v, want %+v", i, r, want)
		}
	}
	if r, d, err := Read(filepath.Join(t.TempDir(), "none")); r != nil || d != nil || err != nil {
		t.Errorf("no file: %v %v %v", r, d, err)
	}
}

// Any one byte changed, anywhere: that line is reported with its number, and
// every other record is still there.
func TestOneDamagedByte(t *testing.T) {
	path := fill(t, 4)
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(seed, 1))
	for range 2000 {
		b := bytes.Clone(whole)
		at := rng.IntN(len(b))
		b[at] ^= byte(1 << rng.IntN(8))
		line := 1 + bytes.Count(whole[:at], []byte("\n"))
		got, damage, err := read(bytes.NewReader(b))
		if err != nil {
			t.Fatal(err)
		}
		// A changed line end joins two lines; a new one splits one.
		lost := 1
		if whole[at] == '\n' && line < 4 {
			lost = 2
		}
		if whole[at] == '\n' && line == 4 && len(damage) == 1 {
			lost = 1
		}
		if len(got) != 4-lost || len(damage) < 1 || damage[0].Line != line {
			t.Fatalf("seed %d: byte %d of line %d: %d records, damage %v", seed, at, line, len(got), damage)
		}
	}
}

// A file cut anywhere, as by a crash in the middle of a write: the torn line
// is reported, and the next record goes in whole.
func TestTornEnd(t *testing.T) {
	path := fill(t, 3)
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	start := bytes.LastIndexByte(whole[:len(whole)-1], '\n') + 1
	for cut := start; cut <= len(whole); cut += 13 {
		if err := os.WriteFile(path, whole[:cut], 0o644); err != nil {
			t.Fatal(err)
		}
		if err := Append(path, record(9)); err != nil {
			t.Fatal(err)
		}
		got, damage, err := Read(path)
		wantDamage := 1
		if cut == start {
			wantDamage = 0
		}
		if err != nil || len(got) != 3 || len(damage) != wantDamage || got[2].Offset.Total != record(9).Offset.Total {
			t.Fatalf("cut at %d: %d records, damage %v, %v", cut, len(got), damage, err)
		}
		if wantDamage == 1 && (damage[0].Line != 3 || !errors.Is(damage[0].Reason, errTorn)) {
			t.Errorf("cut at %d: damage %v", cut, damage)
		}
	}
	// Only the line's end missing: the record is whole.
	if err := os.WriteFile(path, whole[:len(whole)-1], 0o644); err != nil {
		t.Fatal(err)
	}
	if err := Append(path, record(9)); err != nil {
		t.Fatal(err)
	}
	if got, damage, err := Read(path); err != nil || len(got) != 4 || len(damage) != 0 {
		t.Errorf("%d records, damage %v, %v", len(got), damage, err)
	}
}

// Programs that write at the same time: every line whole. The test starts
// itself as the other programs.
func TestConcurrentAppend(t *testing.T) {
	const perProcess = 60
	if path := os.Getenv("PINTLE_TEST_JOURNAL"); path != "" {
		for i := range perProcess {
			if err := Append(path, record(i)); err != nil {
				t.Fatal(err)
			}
		}
		return
	}
	path := filepath.Join(t.TempDir(), "journal.jsonl")
	var cmds []*exec.Cmd
	for range 4 {
		c := exec.Command(os.Args[0], "-test.run=^TestConcurrentAppend$")
		c.Env = append(os.Environ(), "PINTLE_TEST_JOURNAL="+path)
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		cmds = append(cmds, c)
	}
	for _, c := range cmds {
		if err := c.Wait(); err != nil {
			t.Fatal(err)
		}
	}
	if got, damage, err := Read(path); err != nil || len(got) != 4*perProcess || len(damage) != 0 {
		t.Errorf("%d records, want %d; damage %v, %v", len(got), 4*perProcess, damage, err)
	}
}

func TestRefusedRecords(t *testing.T) {
	path := filepath.Join(t.TempDir(), "journal.jsonl")
	for name, spoil := range map[string]func(*Record){
		"kind":     func(r *Record) { r.Kind = "guess" },
		"no time":  func(r *Record) { r.Time = time.Time{} },
		"latitude": func(r *Record) { r.Site.Lat = 91 },
		"NaN":      func(r *Record) { r.Offset.Alt = math.NaN() },
		"too long": func(r *Record) { r.Note = strings.Repeat("x", maxLine) },
	} {
		r := record(0)
		spoil(&r)
		if err := Append(path, r); err == nil {
			t.Errorf("%s: appended", name)
		}
	}
	if _, err := os.Stat(path); err == nil {
		t.Error("a file was made for nothing")
	}
	if err := Append(t.TempDir(), record(0)); err == nil {
		t.Error("a record went into a folder")
	}
}

// Lines that are whole but not for this program, endless lines and other
// rubbish: reported, the neighbours read.
func TestRubbish(t *testing.T) {
	good, err := encode(record(1))
	if err != nil {
		t.Fatal(err)
	}
	later := bytes.Replace(good, []byte(`{"v":1,`), []byte(`{"v":2,"kind":7,`), 1)
	later = reseal(later)
	for name, c := range map[string]struct {
		line string
		want string
	}{
		"later version": {string(later), "later version"},
		"not JSON":      {string(reseal([]byte("hello" + string(good[len(good)-1-sumLen:])))), "not a record"},
		"text":          {"hello\n", "torn"},
		"endless":       {strings.Repeat("x", 3*maxLine) + "\n", "torn"},
		"binary":        {string([]byte{0, 1, 2, 255, '\n'}), "torn"},
	} {
		got, damage, err := read(strings.NewReader(string(good) + c.line + "\r\n\n" + string(good)))
		if err != nil || len(got) != 2 || len(damage) != 1 || damage[0].Line != 2 || !strings.Contains(damage[0].String(), c.want) {
			t.Errorf("%s: %d records, damage %v, %v", name, len(got), damage, err)
		}
	}
}

// reseal gives a line a fitting checksum.
func reseal(line []byte) []byte {
	body := line[:len(line)-1-sumLen]
	out := append([]byte{}, body...)
	return append(out, fmt.Sprintf(`,"sum":"%08x"}`+"\n", crc(body))...)
}

func TestEvenings(t *testing.T) {
	at := func(s string, lon float64) Record {
		r := record(0)
		tm, err := time.Parse(time.RFC3339, s)
		if err != nil {
			t.Fatal(err)
		}
		r.Time, r.Site = tm, Site{Lat: -34, Lon: lon}
		return r
	}
	// At 150 east the local noon falls at 02:00 UTC.
	es := Evenings([]Record{
		at("2026-11-26T01:59:00Z", 150), at("2026-11-26T02:01:00Z", 150), at("2026-11-25T10:00:00Z", 150),
		at("2026-11-25T10:00:00Z", -150), at("2026-11-25T10:00:00Z", 210),
	})
	var got []string
	for _, e := range es {
		got = append(got, fmt.Sprintf("%s %s %d", e.Date, e.Site.Title(), len(e.Records)))
	}
	want := []string{"2026-11-24 34.00 S 150.00 W 2", "2026-11-25 34.00 S 150.00 E 2", "2026-11-26 34.00 S 150.00 E 1"}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	if r := es[1].Records; !r[0].Time.Before(r[1].Time) {
		t.Error("records not in order of time")
	}
}

// Ten evenings set up too far right by 12 +- 3 arcmin: the habit is found; a
// set-up that scatters about zero has none.
func TestHabits(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 2))
	var records []Record
	for i := range 10 {
		for _, site := range []struct {
			name string
			mean float64
		}{{"biased", 12}, {"fair", 0}} { // in order: the draws follow from the seed
			r := record(0)
			r.Site.Name = site.name
			r.Time = r.Time.AddDate(0, 0, i)
			r.Offset.Alt, r.Offset.AzSky = 3*rng.NormFloat64(), site.mean+3*rng.NormFloat64()
			r.Offset.Total = math.Hypot(r.Offset.Alt, r.Offset.AzSky)
			records = append(records, r)
			r.Kind, r.Time = Adjustment, r.Time.Add(time.Minute)
			r.Offset = Offset{Alt: 0.3, Total: 0.3}
			records = append(records, r)
		}
	}
	hs := Habits(Evenings(records))
	if len(hs) != 2 {
		t.Fatalf("%d habits", len(hs))
	}
	for _, h := range hs {
		biased := h.Site.Name == "biased"
		if h.Usual() != biased || h.Evenings != 10 || h.LastMid != 0.3 || h.Scatter < 2 || h.Scatter > 7 {
			t.Errorf("seed %d: %+v", seed, h)
		}
		if biased && (math.Abs(h.Right-12) > 3 || h.SigRight < 0.5 || h.SigRight > 2) {
			t.Errorf("seed %d: %+v", seed, h)
		}
	}
}

func TestMeanAndMedian(t *testing.T) {
	// 2, 4, 4, 4, 5, 5, 7, 9: mean 5, sample variance 32/7.
	if m, s := meanErr([]float64{2, 4, 4, 4, 5, 5, 7, 9}); m != 5 || math.Abs(s-math.Sqrt(32.0/7/8)) > 1e-12 {
		t.Errorf("mean %v +- %v", m, s)
	}
	if a, b := median([]float64{3, 1, 2}), median([]float64{4, 1, 3, 2}); a != 2 || b != 2.5 {
		t.Errorf("medians %v, %v", a, b)
	}
}

func FuzzRead(f *testing.F) {
	line, err := encode(record(0))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(line)
	f.Add(append(bytes.Clone(line), line[:40]...))
	f.Fuzz(func(t *testing.T, data []byte) {
		records, damage, err := read(bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		lines := 0
		for l := range bytes.Lines(data) {
			if len(bytes.TrimSpace(l)) > 0 {
				lines++
			}
		}
		if len(records)+len(damage) != lines {
			t.Fatalf("%d records and %d damaged of %d lines", len(records), len(damage), lines)
		}
		Habits(Evenings(records))
	})
}

func BenchmarkRead100k(b *testing.B) {
	line, err := encode(record(0))
	if err != nil {
		b.Fatal(err)
	}
	all := bytes.Repeat(line, 100_000)
	b.SetBytes(int64(len(all)))
	b.ReportAllocs()
	for b.Loop() {
		if r, _, err := read(bytes.NewReader(all)); err != nil || len(r) != 100_000 {
			b.Fatal(len(r), err)
		}
	}
}

func BenchmarkAppend(b *testing.B) {
	path := filepath.Join(b.TempDir(), "j")
	for b.Loop() {
		if err := Append(path, record(0)); err != nil {
			b.Fatal(err)
		}
	}
}

func TestSightingsAreNoMeasurements(t *testing.T) {
	s := record(1)
	s.Kind, s.Offset, s.Axis = Sighting, Offset{}, Direction{}
	if _, err := encode(s); err != nil {
		t.Fatal(err)
	}
	m := record(0)
	records := []Record{m, s}
	if e := Evenings(records); len(e) != 1 || len(e[0].Records) != 1 || e[0].Last().Kind != Measurement {
		t.Errorf("a sighting passes for a measurement: %+v", e)
	}
}

// A mount's scatter is the middle of its evenings, each the middle of its
// measurements; other mounts and three frames say nothing. A long series while the
// adjusters were turned tells of an evening that has no such measurement, its last frame
// of all of it.
func TestScatter(t *testing.T) {
	at := func(day, hour int) time.Time { return time.Date(2026, 11, day, hour, 0, 0, 0, time.UTC) }
	rs := []Record{
		{Kind: Measurement, Time: at(1, 20), Mount: "six", Scatter: 0.5},
		{Kind: Measurement, Time: at(1, 21), Mount: "six", Scatter: 2},
		{Kind: Measurement, Time: at(2, 20), Mount: "six", Scatter: 4},
		{Kind: Measurement, Time: at(3, 20), Mount: "six"},
		{Kind: Measurement, Time: at(3, 20), Mount: "ten", Scatter: 90},
		{Kind: Adjustment, Time: at(2, 21), Mount: "six", Scatter: 90},
		{Kind: Adjustment, Time: at(4, 20), Mount: "six"},
		{Kind: Sighting, Time: at(4, 20), Mount: "six", Scatter: 90},
		{Kind: Adjustment, Time: at(5, 20), Mount: "ten", Scatter: 90},
		{Kind: Measurement, Time: at(9, 20), Mount: "six", Scatter: 90},
	}
	if s, n := Scatter(rs, "six", at(9, 12)); n != 2 || math.Abs(s-2) > 1e-12 {
		t.Errorf("%g arcsec from %d evenings, want 2 from 2", s, n)
	}
	rs = append(rs, Record{Kind: Adjustment, Time: at(8, 20), Mount: "six", Scatter: 9}, Record{Kind: Adjustment, Time: at(8, 21), Mount: "six", Scatter: 0.25})
	if s, n := Scatter(rs, "six", at(9, 12)); n != 3 || math.Abs(s-1) > 1e-12 {
		t.Errorf("with a series of 0.25: %g arcsec from %d evenings, want 1 from 3", s, n)
	}
	if s, n := Scatter(rs, "", at(9, 12)); s != 0 || n != 0 {
		t.Errorf("no mount: %g from %d", s, n)
	}
}
