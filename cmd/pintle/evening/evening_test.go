package evening

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/words"
	"pintle/index/sphere"
	"pintle/index/stars"
)

// tonight is the computer's clock in these tests: dark at 20 h UTC in Europe.
var tonight = time.Date(2026, 11, 28, 20, 0, 0, 0, time.UTC)

// begun is an evening in an empty folder, with nobody working.
func begun(t *testing.T, change func(*Config)) *Evening {
	t.Helper()
	home := t.TempDir()
	c := Config{Folder: filepath.Join(home, "evening"), Gear: filepath.Join(home, "gear.toml"), Journal: filepath.Join(home, "journal.jsonl"),
		Now: func() time.Time { return tonight }, Photos: &session.Photographs{Now: func() time.Time { return tonight }}}
	if change != nil {
		change(&c)
	}
	e, err := Open(c)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// add hands a file over.
func add(t *testing.T, e *Evening, name, content string) *Photograph {
	t.Helper()
	p, err := e.Add(context.Background(), name, int64(len(content)), tonight.Add(-time.Minute), strings.NewReader(content))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// settle does all the work that waits.
func settle(e *Evening) {
	for e.work(context.Background()) {
	}
}

func TestHarmlessNames(t *testing.T) {
	for sent, want := range map[string]string{
		"IMG_0012.CR3": "IMG_0012.CR3", "../../etc/passwd": "passwd", `C:\pictures\one.jpg`: "one.jpg", "/abs/olute.fits": "olute.fits", ".hidden.jpg": "hidden.jpg",
		"": "photograph", "..": "photograph", ".": "photograph", "a/": "photograph", "con.jpg": "photographcon.jpg", "LPT1": "photographLPT1", "nul.tar.gz": "photographnul.tar.gz",
		"a b;rm -rf *.png": "a_b_rm_-rf.png", "x\x00y.jpg": "x_y.jpg", "ünïcode.tif": "_n_code.tif"[1:], "line\nbreak.jpg": "line_break.jpg",
		"name.waytoolongforanending": "name_waytoolongforanending", "dots....jpg": "dots.jpg", "\xff\xfe.jpg": "photograph.jpg",
		strings.Repeat("long", 100) + ".jpg": strings.Repeat("long", 15) + ".jpg",
	} {
		stem, ext := harmless(sent)
		if got := stem + ext; got != want {
			t.Errorf("%q: %q, want %q", sent, got, want)
		}
	}
}

func FuzzHarmless(f *testing.F) {
	for _, s := range []string{"../x", `..\x`, "con", "a.b.c", "\x00", "...", "x/../../y.jpg"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		stem, ext := harmless(s)
		name := stem + ext
		if name == "" || name != filepath.Base(name) || name[0] == '.' || len(name) > mostName+20 || strings.ContainsAny(name, "/\\:*?\"<>| \x00") || !filepath.IsLocal(name) {
			t.Errorf("%q became %q", s, name)
		}
		if again, ext := harmless(name); again+ext != name {
			t.Errorf("%q became %q, and that %q", s, name, again+ext)
		}
	})
}

func TestHandedOver(t *testing.T) {
	e := begun(t, nil)
	p := add(t, e, "../one.txt", "no photograph")
	if p.Name != "one.txt" || p.State != New {
		t.Errorf("%+v", p)
	}
	if q := add(t, e, "two.txt", "no photograph"); q.Name != "one.txt" {
		t.Errorf("the same bytes again are kept as %s", q.Name)
	}
	if q := add(t, e, "ONE.txt", "another"); q.Name != "ONE (2).txt" {
		t.Errorf("another one of the name is called %s", q.Name)
	}
	left, _ := os.ReadDir(filepath.Join(e.c.Folder, photosName))
	if len(left) != 2 {
		t.Errorf("%d files in the folder, 2 were kept", len(left))
	}
	if _, err := e.Add(context.Background(), "short.fits", 100, tonight, strings.NewReader("cut off")); err == nil || !strings.Contains(err.Error(), "7 of 100 bytes") {
		t.Errorf("a broken one: %v", err)
	}
	if _, err := e.Add(context.Background(), "longer.fits", 3, tonight, strings.NewReader("more than said")); err == nil {
		t.Error("more bytes than said are taken")
	}
	if _, err := e.Add(context.Background(), "huge.fits", mostBytes+1, tonight, strings.NewReader("")); !errors.Is(err, ErrTooLong) || advice.Of(err) == "" {
		t.Errorf("too large a one: %v", err)
	}
	if _, err := e.Add(context.Background(), "none.fits", 0, tonight, strings.NewReader("")); err == nil {
		t.Error("an empty one is taken")
	}
	settle(e)
	s := e.Summary()
	if len(s.Photographs) != 2 || s.Photographs[0].State != Aside || s.Photographs[0].Reason != "no photograph" || len(s.Offered) != 0 {
		t.Errorf("%+v", s.Photographs[0])
	}
	if err := e.Measure([]string{"one.txt", "ONE (2).txt"}, true); err == nil || !strings.Contains(err.Error(), "no photograph") {
		t.Errorf("measured: %v", err)
	}
	if err := e.Forget("../evening.json"); !errors.Is(err, ErrUnknown) {
		t.Errorf("forgot something outside: %v", err)
	}
	if err := e.Forget("one.txt"); err != nil || len(e.Summary().Photographs) != 1 {
		t.Errorf("forget: %v", err)
	}
	if _, err := os.Stat(e.path("one.txt")); err == nil {
		t.Error("the forgotten file is there")
	}
}

func TestFullOfPhotographs(t *testing.T) {
	e := begun(t, nil)
	for i := range mostPhotographs {
		e.kept.Photographs = append(e.kept.Photographs, &Photograph{Name: fmt.Sprint(i), State: Aside})
	}
	if _, err := e.Add(context.Background(), "one.fits", 1, tonight, strings.NewReader("x")); !errors.Is(err, ErrFull) || !strings.Contains(err.Error(), "limit is 500") {
		t.Errorf("one more: %v", err)
	}
	e.kept.Photographs = []*Photograph{{Name: "0", Size: mostFolder}}
	if _, err := e.Add(context.Background(), "one.fits", 1, tonight, strings.NewReader("x")); !errors.Is(err, ErrFull) {
		t.Errorf("one byte more: %v", err)
	}
}

// A disk that cannot be written refuses in words, and nothing that was there is
// lost.
func TestFolderGone(t *testing.T) {
	e := begun(t, nil)
	if err := e.TypePlace("-31.4, 121.9", ""); err != nil {
		t.Fatal(err)
	}
	if err := os.RemoveAll(e.c.Folder); err != nil {
		t.Fatal(err)
	}
	if err := e.TypePlace("52.1, 13.2", ""); err == nil || advice.Of(err) == "" {
		t.Errorf("written into nothing: %v", err)
	}
	if p := e.Summary().Place; p == nil || p.Lat > 0 {
		t.Errorf("the place is %+v, that of before stands no more", p)
	}
	if _, err := e.Add(context.Background(), "one.fits", 1, tonight, strings.NewReader("x")); err == nil {
		t.Error("a photograph is kept nowhere")
	}
}

// Starting again goes on, whatever was being done.
func TestGoesOn(t *testing.T) {
	e := begun(t, nil)
	if err := e.TypePlace("31°24'S 121°54'E", "430m"); err != nil {
		t.Fatal(err)
	}
	if err := e.Draw([][2]float64{{100, 0}, {120, 30}, {140, 0}}); err != nil {
		t.Fatal(err)
	}
	add(t, e, "one.txt", "a")
	// Killed while one was measured, and one had been written but was not listed.
	e.kept.Photographs[0].State = Queued
	if err := e.kept.save(e.c.Folder); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(e.path("unlisted.txt"), []byte("b"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(e.path(".part"), []byte("c"), 0o644); err != nil {
		t.Fatal(err)
	}
	again, err := Open(e.c)
	if err != nil {
		t.Fatal(err)
	}
	s := again.Summary()
	if *s.Place != *e.kept.Place || s.Blocks == "" || len(s.Drawn) != 3 || len(s.Photographs) != 2 {
		t.Errorf("%+v", s)
	}
	for _, p := range s.Photographs {
		if p.State != New {
			t.Errorf("%s is %s", p.Name, p.State)
		}
	}
	settle(again)
	if err := os.WriteFile(filepath.Join(e.c.Folder, keptName), []byte("{torn"), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(e.c); err == nil || !strings.Contains(advice.Of(err), "move the file away") {
		t.Errorf("a torn file: %v", err)
	}
}

func TestPlaces(t *testing.T) {
	e := begun(t, nil)
	if _, err := e.Day(""); err == nil || advice.Of(err) == "" {
		t.Errorf("a day without a place: %v", err)
	}
	for text, want := range map[string]string{"31°24'S 121°54'E": "Southern hemisphere: the axis will point SOUTH, 31 degrees up.", "47.87, 71.36": "Northern hemisphere: the axis will point NORTH, 48 degrees up."} {
		if err := e.TypePlace(text, "1400ft"); err != nil {
			t.Fatal(err)
		}
		settle(e)
		if got := e.Summary().PlaceBack; got[0] != want {
			t.Errorf("%s: %q", text, got)
		}
	}
	for _, bad := range []string{"", "nowhere", "95, 10", "31.4", "10, 400"} {
		if err := e.TypePlace(bad, ""); err == nil || advice.Of(err) == "" {
			t.Errorf("%q: %v", bad, err)
		}
	}
	for _, empty := range []string{"", "  "} {
		if err := e.TypePlace(empty, "430m"); err == nil || err.Error() != "the place is missing" || !strings.HasPrefix(advice.Of(err), "type latitude, then longitude, such as") {
			t.Errorf("left empty: %v, %s", err, advice.Of(err))
		}
	}
	if err := e.TypePlace("31.4S", ""); err == nil || !strings.Contains(err.Error(), "the longitude is missing") {
		t.Errorf("without a longitude: %v", err)
	}
	if err := e.TypePlace("10, 20", "99999 m"); err == nil || !strings.Contains(err.Error(), "9000") {
		t.Errorf("elevation: %v", err)
	}
	if err := e.BrowserPlace(math.NaN(), 0, 0); err == nil {
		t.Error("no number is a place")
	}
	if err := e.KnownPlace("garden"); err == nil {
		t.Error("a site that is not told")
	}
	if err := e.PutGear("site", "garden", map[string]string{"lat": "52°06'N", "lon": "13.2", "elev": "1400ft"}, false); err != nil {
		t.Fatal(err)
	}
	if err := e.KnownPlace("garden"); err != nil || e.Summary().Place.Name != "garden" || math.Abs(e.Summary().Place.Elev-426.72) > 0.01 {
		t.Errorf("%v %+v", err, e.Summary().Place)
	}
}

// The same place, typed here and for the command line, is the same to the last bit,
// also after it was kept.
func TestPlaceIsExact(t *testing.T) {
	e := begun(t, nil)
	if err := e.TypePlace("-31.123456789, 121.987654321", "430"); err != nil {
		t.Fatal(err)
	}
	want, err := ReadPlace("-31.123456789, 121.987654321")
	if err != nil {
		t.Fatal(err)
	}
	want.Elev = 430
	again, err := Open(e.c)
	if err != nil {
		t.Fatal(err)
	}
	if got := again.Summary().Place.Site(); got != want {
		t.Errorf("%v, want %v", got, want)
	}
}

func TestGearForms(t *testing.T) {
	e := begun(t, nil)
	for _, c := range []struct {
		kind, name, want string
		values           map[string]string
	}{
		{"camera", "long", "", map[string]string{"focal_mm": "16in", "pixel_um": "3.76", "width_px": "6248", "height_px": "4176", "exposure_s": "3min", "guided": "yes"}},
		{"mount", "six", "", map[string]string{"alt_arcmin_per_turn": "60", "alt_clockwise": "raises"}},
		{"camera", "long", "already", map[string]string{"focal_mm": "400"}},
		{"camera", "bad", "outside", map[string]string{"focal_mm": "-4"}},
		{"camera", "bad", "no \"nonsense\"", map[string]string{"nonsense": "4"}},
		{"camera", "bad", "whole number", map[string]string{"width_px": "wide"}},
		{"mount", "bad", "neither", map[string]string{"alt_clockwise": "sideways"}},
		{"site", "bad", "lon is missing", map[string]string{"lat": "10"}},
		{"boat", "bad", "kind of gear", map[string]string{}},
		{"camera", "", "missing", map[string]string{}},
		{"mount", "bad", "too long", map[string]string{"alt_clockwise": "x\"\n[tolerance]"}},
	} {
		err := e.PutGear(c.kind, c.name, c.values, false)
		if c.want == "" && err != nil || c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)) {
			t.Errorf("%s %s %v: %v, want %q", c.kind, c.name, c.values, err, c.want)
		}
	}
	g, err := e.Gear()
	if err != nil || g.Things["camera"]["long"]["focal_mm"] != "406.4" || g.Things["camera"]["long"]["guided"] != "yes" || g.Things["mount"]["six"]["alt_clockwise"] != "raises" || len(g.Things["camera"]) != 1 {
		t.Errorf("%v %+v", err, g)
	}
	if err := e.UseGear("short", ""); err == nil || advice.Of(err) != "there is: long" {
		t.Errorf("%v %s", err, advice.Of(err))
	}
	if err := e.UseGear("long", "six"); err != nil {
		t.Fatal(err)
	}
	settle(e)
	if m := e.run.Session.Setting().MountName; m != "six" {
		t.Errorf("the session goes by mount %q", m)
	}
	if err := e.UseTolerance("auto"); err != nil {
		t.Fatal(err)
	}
	settle(e)
	if k := e.run.Session.Setting().ToleranceSource.Kind; k != session.FromCamera {
		t.Errorf("the tolerance comes from %v", k)
	}
}

// Every star that a figure's line leads to is in the star list, and bright: the
// figures are from memory, the list is Tycho-2.
func TestFiguresAreStars(t *testing.T) {
	n := 0
	for line := range strings.Lines(figuresText) {
		if line[0] == '#' {
			continue
		}
		parts := strings.Split(strings.TrimSpace(line), ";")
		for _, p := range parts[1:] {
			if len(strings.Fields(p)) < 2 {
				t.Errorf("%s: a line of one place: %s", parts[0], p)
			}
			for _, at := range strings.Fields(p) {
				n++
				near := stars.Embedded().Cone(nil, figurePlace(at), snap, faintestFigure, 2026)
				best := float32(99)
				for _, s := range near {
					best = min(best, s.V)
				}
				if best > faintestFigure {
					t.Errorf("%s: no bright star at %s, best of magnitude %.1f", parts[0], at, best)
				}
			}
		}
	}
	if n < 250 || len(figures()) < 45 {
		t.Errorf("%d places in %d figures", n, len(figures()))
	}
}

func TestSky(t *testing.T) {
	e := begun(t, nil)
	if err := e.TypePlace("-31.4, 121.9", ""); err != nil {
		t.Fatal(err)
	}
	s, err := e.Sky("2026-11-28T13:30:00Z")
	if err != nil {
		t.Fatal(err)
	}
	if !s.South || math.Abs(s.Pole[1]-31.4) > 0.1 || s.Pole[0] != 180 || !s.Dark || len(s.Stars) < 100 || len(s.Named) < 10 || len(s.Figures) < 15 {
		t.Errorf("pole %v, %d stars, %d named, %d figures", s.Pole, len(s.Stars), len(s.Named), len(s.Figures))
	}
	// Canopus is up in the south-east on a southern November evening (common
	// knowledge, no source), and so is Achernar near the meridian.
	i := slices.IndexFunc(s.Named, func(n Named) bool { return n.Name == "Canopus" })
	if i < 0 || s.Named[i].Az < 90 || s.Named[i].Az > 180 {
		t.Errorf("Canopus: %v", s.Named)
	}
	b, err := json.Marshal(s)
	if err != nil || len(b) > 40<<10 {
		t.Errorf("%d bytes, %v", len(b), err)
	}
	if s, err := e.Sky("12:00"); err != nil || !strings.HasPrefix(s.Clock, "29 November 12:00") {
		t.Errorf("12:00 in the evening is %v, %v", s, err)
	}
	if _, err := e.Sky("soon"); err == nil || advice.Of(err) == "" {
		t.Errorf("%v", err)
	}
}

// While the Sun is above night the sky says how long it takes until it is dark: at the
// time that it names the Sun is where it says.
func TestUntilDark(t *testing.T) {
	e := begun(t, nil)
	if err := e.TypePlace("-31.4, 121.9", ""); err != nil {
		t.Fatal(err)
	}
	dusk, err := e.Sky("2026-11-28T11:00:00Z")
	if err != nil {
		t.Fatal(err)
	}
	at := regexp.MustCompile(`^Dark enough to measure in 44 min, at (\d\d:\d\d); night in 1 h 20 min, at (\d\d:\d\d)\.$`).FindStringSubmatch(dusk.UntilDark)
	if at == nil || dusk.SunAlt > 0 || dusk.SunAlt < -12 {
		t.Fatalf("%q, Sun at %g", dusk.UntilDark, dusk.SunAlt)
	}
	for at, want := range map[string]float64{at[1]: -12, at[2]: -18} {
		if s, err := e.Sky("2026-11-28T" + at + ":00Z"); err != nil || s.SunAlt > want+0.1 || s.SunAlt < want-0.4 {
			t.Errorf("at %s the Sun is at %g, want %g; %v", at, s.SunAlt, want, err)
		}
	}
	if s, err := e.Sky("2026-11-28T15:00:00Z"); err != nil || s.UntilDark != "" {
		t.Errorf("by night: %q, %v", s.UntilDark, err)
	}
	if s, err := e.Sky("2026-11-28T20:30:00Z"); err != nil || s.UntilDark != words.GrowsLight {
		t.Errorf("at dawn, the Sun at %g: %q, %v", s.SunAlt, s.UntilDark, err)
	}
	// White nights (common knowledge, no source).
	if err := e.TypePlace("65, 25", ""); err != nil {
		t.Fatal(err)
	}
	if s, err := e.Sky("2026-06-21T20:00:00Z"); err != nil || s.UntilDark != "It does not get dark enough to measure." {
		t.Errorf("a white night: %q, %v", s.UntilDark, err)
	}
}

func TestPoint(t *testing.T) {
	e := begun(t, nil)
	if err := e.TypePlace("47.87, 11.36", "800"); err != nil {
		t.Fatal(err)
	}
	if _, err := e.Point(PointWish{}); err == nil || !strings.Contains(err.Error(), "field is not known") {
		t.Errorf("without a camera: %v", err)
	}
	for _, w := range []PointWish{{Field: "2x"}, {Field: "900x2"}, {Field: "2x2", Frames: "9"}, {Field: "2x2", MinAlt: "-5"}, {Field: "2x2", At: "2026-06-21T12:00"}} {
		if _, err := e.Point(w); err == nil || advice.Of(err) == "" {
			t.Errorf("%+v: %v, advice %q", w, err, advice.Of(err))
		}
	}
	open, err := e.Point(PointWish{Field: "2.1x1.4"})
	if err != nil || len(open.Suggestions) == 0 {
		t.Fatalf("%v %+v", err, open)
	}
	s := open.Suggestions[0]
	if len(s.Frames) != 3 || s.Error <= 0 || s.Error > 60 || !strings.Contains(s.Words, "twice") {
		t.Errorf("%+v", s)
	}
	// What is drawn is not pointed at: everything but a window in the west.
	if err := e.Draw([][2]float64{{0, 60}, {225, 60}, {230, 0}, {310, 0}, {315, 60}, {360, 60}}); err != nil {
		t.Fatal(err)
	}
	shut, err := e.Point(PointWish{Field: "2.1x1.4", MinAlt: "20"})
	if err != nil || len(shut.Suggestions) == 0 {
		t.Fatalf("%v %+v", err, shut)
	}
	for _, s := range shut.Suggestions {
		for _, f := range s.Frames {
			if f.Alt < 58 && (f.Az < 228 || f.Az > 312) {
				t.Errorf("a photograph at azimuth %g, altitude %g is behind what was drawn", f.Az, f.Alt)
			}
		}
	}
}

func TestDrawn(t *testing.T) {
	line := [][2]float64{{350, 10}, {10, 30}, {90, 0}, {270, 0}}
	text, err := blocksOf(line)
	if err != nil {
		t.Fatal(err)
	}
	s, err := parseBlocks(text)
	if err != nil {
		t.Fatal(err)
	}
	// Never lower than drawn, and not much higher.
	sorted := [][2]float64{{10, 30}, {90, 0}, {270, 0}, {350, 10}}
	for az := 0.0; az < 360; az += 0.7 {
		drawn, got := heightAt(sorted, az), s.Lowest(deg(az)).Degrees()
		if got < drawn-1e-9 || got > drawn+7 {
			t.Errorf("azimuth %g: drawn %g, blocked to %g", az, drawn, got)
		}
	}
	for _, bad := range [][][2]float64{{{400, 1}}, {{10, 95}}, {{10, math.NaN()}}, make([][2]float64, mostDrawn+1)} {
		if _, err := blocksOf(bad); err == nil {
			t.Errorf("%d points: drawn", len(bad))
		}
	}
}

func TestEnough(t *testing.T) {
	e := begun(t, nil)
	if err := e.TypePlace("47.87, 11.36", "800"); err != nil {
		t.Fatal(err)
	}
	if _, err := e.Enough(EnoughWish{}); err == nil || advice.Of(err) == "" {
		t.Errorf("without a camera: %v", err)
	}
	w := EnoughWish{Focal: "400", Pixel: "3.76um", Exposure: "3min"}
	x, err := e.Enough(w)
	if err != nil || x.Effect != nil || x.Target != nil {
		t.Fatalf("%v %+v", err, x)
	}
	// One pixel of 1.94 arcsec in 180 s, in which the sky turns by 0.752 degrees:
	// 1.94 / (2 sin(0.376 deg)) = 147.7 arcsec.
	if math.Abs(x.Worst*60-147.7) > 0.5 {
		t.Errorf("allowed %.2f arcsec, want 147.7", x.Worst*60)
	}
	w.Target = "M31"
	if x, err = e.Enough(w); err != nil || x.Target == nil || x.Target.Allowed < x.Worst-1e-6 {
		t.Errorf("%v %+v", err, x.Target)
	}
	for _, bad := range []EnoughWish{{Focal: "x", Pixel: "3", Exposure: "1"}, {Focal: "400", Pixel: "3.76", Exposure: "180", Guided: "yes"}, {Focal: "400", Pixel: "3.76", Exposure: "180", Target: "Nibiru"},
		{Focal: "400", Pixel: "3.76", Exposure: "180", Target: "Acrux"}, {Focal: "400", Pixel: "3.76", Exposure: "180", Trail: "0"}, {Focal: "0.1", Pixel: "3.76", Exposure: "180"}} {
		if _, err := e.Enough(bad); err == nil || advice.Of(err) == "" {
			t.Errorf("%+v: %v", bad, err)
		}
	}
}

func TestRecord(t *testing.T) {
	e := begun(t, nil)
	if r, err := e.Record(""); err != nil || len(r.Evenings) != 0 {
		t.Errorf("%v %+v", err, r)
	}
	if _, err := e.Reported("", ""); !errors.Is(err, ErrUnknown) {
		t.Errorf("a report of nothing: %v", err)
	}
	for i, note := range []string{"windy", "new pier", "dew"} {
		r := journal.Record{Kind: journal.Measurement, Time: tonight.AddDate(0, 0, i), Site: journal.Site{Name: "garden", Lat: 50, Lon: 10}, Tolerance: 1, Note: note,
			Offset: journal.Offset{Alt: 3, AzSky: 4, Total: 5}, Pole: journal.Pole{Kind: "refracted"}}
		if err := journal.Append(e.c.Journal, r); err != nil {
			t.Fatal(err)
		}
	}
	for search, want := range map[string]int{"": 3, "garden": 3, "DEW": 1, "new pier": 1, "2026-11-29": 1, "november": 3, "garden wind": 1, "moon": 0} {
		if r, err := e.Record(search); err != nil || len(r.Evenings) != want {
			t.Errorf("%q: %d evenings, want %d; %v", search, len(r.Evenings), want, err)
		}
	}
	if r, err := e.Reported("2026-11-29", "garden"); err != nil || r.Evening.Last().Note != "new pier" || len(r.All) != 3 {
		t.Errorf("%v %+v", err, r)
	}
	if all, err := e.Records(); err != nil || len(all) != 3 {
		t.Errorf("%d records, want 3; %v", len(all), err)
	}
	if _, err := e.Reported("yesterday", ""); err == nil || advice.Of(err) == "" {
		t.Errorf("%v", err)
	}
}

// What a terminal tells the gear file stands on the page that is open, and in its session.
func TestTerminalAndPageAgree(t *testing.T) {
	defer func(d time.Duration) { gearLook = d }(gearLook)
	gearLook = 20 * time.Millisecond
	versions := make(chan uint64, 1000)
	e := begun(t, func(c *Config) { c.Now, c.Changed = time.Now, func(v uint64) { versions <- v } })
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- e.Run(ctx) }()
	settled := func() bool {
		e.mu.Lock()
		defer e.mu.Unlock()
		return e.state.Setting.Tolerance == 3*sphere.Arcminute
	}
	if settled() {
		t.Fatal("the tolerance is told already")
	}
	if _, err := gear.Change(e.c.Gear, func(f *gear.File) error {
		return errors.Join(f.Put("garden", gear.Site{Lat: -31.4, Lon: 121.9}, false), f.SetTolerance(gear.Tolerance{Arcmin: 3}))
	}); err != nil {
		t.Fatal(err)
	}
	for range 500 {
		if settled() {
			break
		}
		time.Sleep(20 * time.Millisecond)
	}
	if s := e.Summary(); !settled() || s.Place == nil || s.Place.Name != "garden" || len(versions) == 0 {
		t.Errorf("the page: %+v, told %d times; the session knows the tolerance: %v", s.Place, len(versions), settled())
	}
	if err := e.PutGear("camera", " ", nil, false); err == nil || err.Error() != "the name of the camera is missing" {
		t.Errorf("a camera without a name: %v", err)
	}
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
}

// New files of a camera program's folder are taken over; those that were there are
// left alone.
func TestWatched(t *testing.T) {
	camera := t.TempDir()
	if err := os.WriteFile(filepath.Join(camera, "old.txt"), []byte("old"), 0o644); err != nil {
		t.Fatal(err)
	}
	e := begun(t, func(c *Config) { c.Watch, c.Now = camera, time.Now })
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- e.Run(ctx) }()
	time.Sleep(200 * time.Millisecond) // the watcher looks at what is there
	if err := os.WriteFile(filepath.Join(camera, "new.txt"), []byte("new"), 0o644); err != nil {
		t.Fatal(err)
	}
	for range 500 {
		if s := e.Summary(); len(s.Photographs) == 1 && s.Photographs[0].State == Aside {
			break
		}
		time.Sleep(20 * time.Millisecond)
	}
	s := e.Summary()
	if len(s.Photographs) != 1 || s.Photographs[0].Name != "new.txt" || !s.Following || s.Watching != filepath.Base(camera) {
		t.Errorf("%+v", s)
	}
	cancel()
	select {
	case err := <-done:
		if err != nil {
			t.Error(err)
		}
	case <-time.After(5 * time.Second):
		t.Error("it does not end")
	}
}

func TestOffered(t *testing.T) {
	var all []*Photograph
	for i, s := range []State{Ready, Ready, Aside, Ready, Ready, In} {
		all = append(all, &Photograph{Name: fmt.Sprint(i), State: s, Time: tonight.Add(time.Duration(10-i) * time.Minute)})
	}
	if got := offered(all); !slices.Equal(got, []string{"3", "1", "0"}) {
		t.Errorf("offered %v", got)
	}
}

func deg(x float64) sphere.Angle { return sphere.Angle(x) * sphere.Degree }

// invented is a camera that photographs letters.
type invented struct {
	dir    string
	taken  int
	fail   error
	closed bool
}

func (c *invented) Take(ctx context.Context) (string, error) {
	if c.fail != nil || ctx.Err() != nil {
		return "", errors.Join(c.fail, ctx.Err())
	}
	c.taken++
	path := filepath.Join(c.dir, fmt.Sprintf("taken-%d.fits", c.taken))
	return path, os.WriteFile(path, fmt.Appendf(nil, "photograph %d", c.taken), 0o644)
}

func (c *invented) Exposure() time.Duration { return 4 * time.Second }

func (c *invented) Name() string { return "Invented" }

func (c *invented) Close() error { c.closed = true; return nil }

// A camera of the gear file that has an address photographs, once or until it is
// stopped; what a killed program left is taken over first.
func TestShoot(t *testing.T) {
	cam := &invented{}
	e := begun(t, func(c *Config) {
		c.Shooter = func(_ context.Context, at string, exposure time.Duration, dir string) (Shooter, error) {
			if at != "alpaca://127.0.0.1:1/camera/0" || exposure != 1500*time.Millisecond {
				t.Errorf("opened %s for %v", at, exposure)
			}
			cam.dir = dir
			return cam, nil
		}
	})
	if e.Summary().Shooting != nil {
		t.Error("a camera without an address can be commanded")
	}
	if err := e.Shoot(true, 1.5, false); err == nil || advice.Of(err) == "" {
		t.Errorf("without a camera: %v", err)
	}
	if err := os.WriteFile(e.c.Gear, []byte("[default]\ncamera = \"finder\"\n[camera.finder]\nfocal_mm = 200.0\npixel_um = 3.76\nat = \"alpaca://127.0.0.1:1/camera/0\"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, bad := range []float64{0, -1, 301, math.NaN(), math.Inf(1)} {
		if err := e.Shoot(true, bad, false); err == nil || advice.Of(err) == "" {
			t.Errorf("an exposure of %g: %v", bad, err)
		}
	}
	left := filepath.Join(e.c.Folder, takingName)
	if err := errors.Join(os.MkdirAll(left, 0o755), os.WriteFile(filepath.Join(left, "left.fits"), []byte("of before"), 0o644)); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	e.stir()
	go func() { ended <- e.Run(ctx) }()
	var refused error
	until := func(what string, ok func(Summary) bool) {
		t.Helper()
		for end := time.Now().Add(20 * time.Second); !ok(e.Summary()); time.Sleep(5 * time.Millisecond) {
			if time.Now().After(end) {
				t.Fatalf("%s: %+v %v", what, e.Summary().Shooting, refused)
			}
		}
	}
	until("running", func(Summary) bool { refused = e.Shoot(true, 1.5, false); return refused == nil })
	until("one, and the one of before", func(s Summary) bool { return !s.Shooting.On && len(s.Photographs) == 2 })
	if s := e.Summary().Shooting; s.Camera != "finder" || s.Exposure != 4 || s.Trouble != nil || !cam.closed {
		t.Errorf("%+v, closed %v", s, cam.closed)
	}
	if err := e.Shoot(true, 1.5, true); err != nil {
		t.Fatal(err)
	}
	if err := e.Shoot(true, 1.5, true); err == nil {
		t.Error("photographs twice at once")
	}
	until("on and on", func(s Summary) bool { return len(s.Photographs) >= 4 })
	if err := e.Shoot(false, 0, false); err != nil {
		t.Fatal(err)
	}
	until("stopped", func(s Summary) bool { return !s.Shooting.On })
	cam.fail = advice.With(errors.New("the cap is on"), "take it off")
	if err := e.Shoot(true, 1.5, true); err != nil {
		t.Fatal(err)
	}
	until("trouble", func(s Summary) bool { return !s.Shooting.On && s.Shooting.Trouble != nil })
	if s := e.Summary().Shooting.Trouble; s.Error != "the cap is on" || s.Hint != "take it off" {
		t.Errorf("%+v", s)
	}
	if files, _ := os.ReadDir(left); len(files) != 0 {
		t.Errorf("left: %v", files)
	}
	cancel()
	if err := <-ended; err != nil {
		t.Error(err)
	}
	if err := e.Shoot(true, 1.5, false); err == nil {
		t.Error("photographs after the end")
	}
}

// What a form does not ask for stays as the gear file has it, whatever that holds.
func TestGearFormKeepsTheRest(t *testing.T) {
	for _, was := range []any{
		gear.Site{Lat: -31.5, Lon: 121.5, Elev: 430},
		gear.Camera{Focal: 400, Pixel: 3.76, Width: 6248, Height: 4176, Exposure: 180, Trail: 1, Guided: true},
		gear.Mount{AltPerTurn: 60, AltSense: "raises", AzPerTurn: 90, AzSense: "clockwise", AltMin: 20, AltMax: 65, AzRange: 14},
	} {
		v := reflect.New(reflect.TypeOf(was)).Elem()
		v.Set(reflect.ValueOf(was))
		for i := range v.NumField() {
			switch f := v.Field(i); {
			case !f.IsZero():
			case f.Kind() == reflect.String:
				f.SetString("told")
			case f.Kind() == reflect.Float64:
				f.SetFloat(2)
			case f.Kind() == reflect.Int:
				f.SetInt(2)
			default:
				t.Fatalf("%s of %T has no test", v.Type().Field(i).Name, was)
			}
		}
		g := gear.Gear{Sites: map[string]gear.Site{}, Cameras: map[string]gear.Camera{}, Mounts: map[string]gear.Mount{}}
		kind := ""
		switch x := v.Interface().(type) {
		case gear.Site:
			kind, g.Sites["one"] = gear.KindSite, x
		case gear.Camera:
			kind, g.Cameras["one"] = gear.KindCamera, x
		case gear.Mount:
			kind, g.Mounts["one"] = gear.KindMount, x
		}
		values := thingsOf(g)[kind]["one"]
		if kind == gear.KindCamera {
			delete(values, "at")
		}
		got, err := thingOf(g, kind, "one", values)
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(got, v.Interface()) {
			t.Errorf("saved as it was, a %s is %+v, it was %+v", kind, got, v.Interface())
		}
	}
}

// The list of photographs shows each one's time by the clock of the person, with its
// zone; what is kept is the instant.
func TestPhotographsShowTheClock(t *testing.T) {
	e := begun(t, nil)
	add(t, e, "one.txt", "no photograph")
	settle(e)
	if err := e.SetZone("+08:00"); err != nil {
		t.Fatal(err)
	}
	settle(e)
	e.mu.Lock()
	e.kept.Photographs[0].Time = time.Date(2026, 11, 25, 12, 40, 1, 0, time.UTC)
	e.mu.Unlock()
	if got := e.Summary().Photographs[0].Clock; got != "20:40:01 +08:00" {
		t.Errorf("clock %q", got)
	}
	if e.kept.Photographs[0].Clock != "" {
		t.Error("it is kept as well")
	}
}
