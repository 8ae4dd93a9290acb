package report

import (
	"bytes"
	"encoding/csv"
	"strconv"
	"strings"
	"testing"
	"time"

	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/journal"
)

// hostile steers terminals, forges a line, turns the direction of reading, is
// no UTF-8 in its end, and is a formula for a spreadsheet.
const hostile = "=HYPERLINK(\"x\")\x1b[2J\x1b]0;title\a\nforged\u202eline\u009b\u2028<script>\xff"

func record(text string) journal.Record {
	at := time.Date(2026, 11, 25, 20, 0, 0, 0, time.UTC)
	return journal.Record{
		Kind: journal.Measurement, Time: at, Session: text, Site: journal.Site{Name: text, Lat: 52.1, Lon: -3.2, Elev: 120},
		Axis: journal.Direction{Az: 0.4, Alt: 52.35}, Pole: journal.Pole{Kind: text, Direction: journal.Direction{Alt: 52.0126}},
		Offset: journal.Offset{Alt: -20.24, AzKnob: 24, AzSky: 14.77, Total: 25.06}, Sigma: journal.Offset{Alt: 0.001, AzKnob: 0.001, AzSky: 0.001, Total: 0.001},
		Tolerance: 1, Air: journal.Air{Pressure: 998, Temp: 4.5}, Warnings: []string{text}, Note: text,
		Frames: []journal.Frame{{Name: text, Time: at, RA: 37.9, Dec: 71.2, Stars: 120, RMS: 0.8}, {Name: "b.fits", Time: at, Turn: 30, Stars: 240, RMS: 0.8}, {Name: "c.fits", Time: at, Missed: true, Reason: text}},
	}
}

// harmless fails where a raw sign of the hostile text has come through.
func harmless(t *testing.T, out string) {
	t.Helper()
	for _, raw := range []string{"\x1b", "\a", "\u202e", "\u009b", "\u2028", "\xff", "\nforged", "<script>"} {
		if strings.Contains(out, raw) {
			t.Errorf("%q came through", raw)
		}
	}
	if !strings.Contains(out, `\x1b[2J`) {
		t.Error("the text is not there at all")
	}
}

func TestCSV(t *testing.T) {
	r, moved := record("wind, \"gusty\""), record(hostile)
	moved.Kind, moved.Moved = journal.Adjustment, &journal.Moved{Alt: -3, AzKnob: 4.5}
	sighting := journal.Record{Kind: journal.Sighting}
	var b bytes.Buffer
	if err := WriteCSV(&b, []journal.Record{r, moved, sighting}); err != nil {
		t.Fatal(err)
	}
	harmless(t, strings.ReplaceAll(b.String(), "<script>", "")) // no page: its signs mean nothing here
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil || len(rows) != 3 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	cell := map[string][]string{}
	for i, name := range rows[0] {
		cell[name] = []string{"", rows[1][i], rows[2][i]}
	}
	for _, c := range []struct {
		row        int
		name, want string
	}{
		{1, "note", "wind, \"gusty\""}, {1, "total_arcmin", "25.06"}, {1, "moved_alt_arcmin", ""}, {2, "moved_alt_arcmin", "-3"},
		{1, "alt_arcmin", "-20.24"}, {1, "stars_matched", "360"}, {1, "frames", "2"}, {1, "evening", "2026-11-25"}, {1, "within_tolerance", "false"}, {2, "kind", "adjustment"},
	} {
		if got := cell[c.name][c.row]; got != c.want {
			t.Errorf("row %d %s = %q, want %q", c.row, c.name, got, c.want)
		}
	}
}

// A cell that a spreadsheet would run is led by an apostrophe; a number is not.
func TestNoFormulas(t *testing.T) {
	for _, s := range []string{"=1+1", "+1", "-2", "@SUM(A1)", "\t=1", "\r=1", hostile} {
		if got := text(s); !strings.HasPrefix(got, "'") {
			t.Errorf("%q becomes %q", s, got)
		}
	}
	var b bytes.Buffer
	if err := WriteCSV(&b, []journal.Record{record(hostile)}); err != nil {
		t.Fatal(err)
	}
	rows, _ := csv.NewReader(&b).ReadAll()
	for i, c := range rows[1] {
		if _, err := strconv.ParseFloat(c, 64); err != nil && strings.ContainsAny(c[:min(1, len(c))], "=+-@\t\r") {
			t.Errorf("%s is %q", rows[0][i], c)
		}
	}
}

func TestPage(t *testing.T) {
	e := journal.Evening{Date: "2026-11-25", Site: record(hostile).Site, Records: []journal.Record{record(hostile)}}
	var g gear.Gear
	g.Cameras = map[string]gear.Camera{hostile: {Focal: 400, Pixel: 3.76, Exposure: 60}}
	p, err := New(e, []journal.Evening{e}, g, hostile)
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	if err := p.Write(&b); err != nil {
		t.Fatal(err)
	}
	harmless(t, b.String())
	// 0.001' is less than a tenth of an arcsecond: a table must not say 0.00.
	if !strings.Contains(b.String(), "<td>0.1&#34;</td>") {
		t.Error("the standard error is not told as 0.1\"")
	}
}

// A journal may hold a tolerance of 0 and an offset of 0, or absurd ones: rings
// without end would be drawn.
func TestRingsEnd(t *testing.T) {
	for _, size := range []float64{0, 1e-300, 1e300} {
		r := record("x")
		r.Tolerance, r.Offset, r.Sigma = size, journal.Offset{Total: size}, journal.Offset{}
		for _, w := range walks(journal.Evening{Records: []journal.Record{r}}) {
			if n := len(w.Ticks); n == 0 || n > 10 {
				t.Errorf("size %g: %d rings", size, n)
			}
		}
	}
}

// The report says what a measurement's error is made of, where the record has it;
// records of before have not.
func TestWhatTheErrorIsMadeOf(t *testing.T) {
	r := record("a")
	for _, made := range []*journal.Made{nil, {Stars: 0.5, Mount: 1.25, Refraction: 0.1}} {
		r.Made = made
		es := journal.Evenings([]journal.Record{r})
		p, err := New(es[0], es, gear.Gear{}, "")
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if err := p.Write(&b); err != nil {
			t.Fatal(err)
		}
		if said := strings.Contains(b.String(), "the error is made of: stars "); said != (made != nil) {
			t.Errorf("made of %+v, said: %v", made, said)
		}
	}
}

// The report shows each turn once, though a record has all those before it too; a
// later run of the program begins anew.
func TestTurnsOnce(t *testing.T) {
	back := 19.98
	a := journal.Turn{Asked: 20, Reported: 20.01, Direction: "west", Rate: 3, Seconds: 9.1, StoppedBy: "angle"}
	b := journal.Turn{Asked: 20, Reported: 5.75, Direction: hostile, Rate: 3, Seconds: 3.2, StoppedBy: "user"}
	measured := a
	measured.Measured = &back
	var records []journal.Record
	for _, turns := range [][]journal.Turn{nil, {a}, {measured, b}, nil, {b}} {
		r := record(hostile)
		r.Turns = turns
		records = append(records, r)
	}
	e := journal.Evening{Date: "2026-11-25", Site: records[0].Site, Records: records}
	p, err := New(e, nil, gear.Gear{}, "")
	if err != nil {
		t.Fatal(err)
	}
	if len(p.Turns) != 3 || p.Turns[0].Measured != "19.98" || p.Turns[0].EndedBy != "its angle" || p.Turns[1].Reported != "5.75" || p.Turns[1].EndedBy != "you" || p.Turns[2].Measured != "–" {
		t.Errorf("turns %+v", p.Turns)
	}
	var out strings.Builder
	if err := p.Write(&out); err != nil {
		t.Fatal(err)
	}
	harmless(t, out.String())
	if !strings.Contains(out.String(), "<td>20.01</td><td>19.98</td>") {
		t.Error("the page does not show what mount and frames say of a turn")
	}
}
