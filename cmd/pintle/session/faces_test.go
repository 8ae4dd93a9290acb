package session_test

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"html"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pintle/axis"
	"pintle/axis/place"
	"pintle/cmd/night"
	"pintle/cmd/night/posed"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/page"
	"pintle/cmd/pintle/report"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/targets"
	"pintle/cmd/pintle/terminal"
	"pintle/cmd/pintle/words"
	"pintle/index"
	"pintle/index/sphere"
	"pintle/index/stars"
	"pintle/solve"
)

// numbers are the answer as a face gives it: the parts of the offset and their
// errors, arcmin, and the direction of the axis, degrees.
type numbers struct{ Offset, Sigma, Axis map[string]float64 }

// face is what one face says of a state.
type face struct {
	name    string
	text    string // in one line, without what the medium adds
	numbers *numbers
	object  bool // printed for programs
	brief   bool // has no room for all that is not doubtful
	kept    bool // says what was, not what the hand must do
}

// road is a way of giving frames to a session.
type road struct {
	name  string
	state session.State
	faces []face
}

// flat undoes what a medium does to sentences: it wraps them, escapes signs and
// begins some with a capital.
func flat(s string) string {
	return strings.ToLower(strings.Join(strings.Fields(html.UnescapeString(s)), " "))
}

// said reads what a face prints as JSON: its numbers, and every text in it.
func said(t *testing.T, name string, b []byte) face {
	t.Helper()
	var n struct {
		Offset map[string]float64 `json:"offset_arcmin"`
		Sigma  map[string]float64 `json:"sigma_arcmin"`
		Axis   map[string]float64 `json:"axis"`
	}
	var all any
	if json.Unmarshal(b, &all) != nil || json.Unmarshal(b, &n) != nil {
		t.Fatalf("%s is no JSON: %s", name, b)
	}
	f := face{name: name, object: true, text: flat(strings.Join(texts(all), "\n"))}
	if n.Offset != nil {
		f.numbers = &numbers{n.Offset, n.Sigma, n.Axis}
	}
	return f
}

// texts are all texts in a value of JSON.
func texts(v any) (out []string) {
	switch v := v.(type) {
	case string:
		return []string{v}
	case []any:
		for _, x := range v {
			out = append(out, texts(x)...)
		}
	case map[string]any:
		for _, x := range v {
			out = append(out, texts(x)...)
		}
	}
	return out
}

func plainEnv(string) string { return "" }

// atOnce measures as the verb axis does, and shows it on the faces of that.
func atOnce(t *testing.T, c session.Config, paths []string) road {
	t.Helper()
	c.Journal = filepath.Join(t.TempDir(), "journal")
	s, err := session.New(c)
	if err != nil {
		t.Fatal(err)
	}
	s.Keep(words.Record, words.Miss)
	if err := s.Measure(context.Background(), paths); err != nil {
		t.Fatal(err)
	}
	r := road{name: "at once", state: s.State()}
	var plain, object bytes.Buffer
	terminal.New(&plain, &plain, plainEnv).Axis(&r.state)
	if err := terminal.New(&object, &object, plainEnv).AxisJSON(&r.state); err != nil {
		t.Fatal(err)
	}
	r.faces = append(r.faces, face{name: "axis", text: flat(plain.String())}, said(t, "axis --json", object.Bytes()))
	r.kept(t, c.Journal)
	return r
}

// oneByOne measures as the verb live does, and shows the last state on the faces
// of that.
func oneByOne(t *testing.T, c session.Config, paths []string) road {
	t.Helper()
	c.Journal, c.Folder = filepath.Join(t.TempDir(), "journal"), t.TempDir()
	s, err := session.New(c)
	if err != nil {
		t.Fatal(err)
	}
	s.Keep(words.Record, words.Miss)
	for i, p := range paths {
		if _, err := s.Take(context.Background(), p, time.Unix(1e9+20*int64(i), 0), true); err != nil {
			t.Fatal(err)
		}
	}
	r := road{name: "one by one", state: s.State()}
	var lines, objects, screen bytes.Buffer
	for _, view := range []terminal.Live{terminal.New(&lines, &lines, plainEnv).LiveLines(), terminal.New(&objects, &objects, plainEnv).LiveJSON(),
		terminal.New(&screen, &screen, plainEnv).LiveScreen(nil, "", c.Now)} {
		view.Frame(r.state)
		view.Close()
	}
	b, err := json.Marshal(page.Of(&r.state))
	if err != nil {
		t.Fatal(err)
	}
	_, whole, _ := strings.Cut(screen.String(), "\x1b[?1049l") // what is left behind at the end
	r.faces = append(r.faces, face{name: "live", text: flat(lines.String())}, face{name: "the screen of live", text: flat(whole), brief: true},
		said(t, "live --json", objects.Bytes()), said(t, "page", b))
	r.kept(t, c.Journal)
	return r
}

// kept adds what the journal holds last, and the report that is made of it.
func (r *road) kept(t *testing.T, path string) {
	t.Helper()
	records, damage, err := journal.Read(path)
	if os.IsNotExist(err) || err == nil && len(records) == 0 {
		return
	}
	if err != nil || len(damage) > 0 {
		t.Fatal(err, damage)
	}
	last := records[len(records)-1]
	if last.Kind == journal.Sighting {
		return
	}
	last.State = nil // what goes into it is no face
	b, err := json.Marshal(last)
	if err != nil {
		t.Fatal(err)
	}
	f := said(t, "journal", b)
	f.kept = true
	evenings := journal.Evenings(records)
	p, err := report.New(evenings[len(evenings)-1], evenings, gear.Gear{}, "")
	if err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	if err := p.Write(&out); err != nil {
		t.Fatal(err)
	}
	r.faces = append(r.faces, f, face{name: "report", text: flat(out.String()), kept: true})
	if verdict := words.Verdict(last); !strings.Contains(flat(out.String()), flat(verdict)) {
		t.Errorf("the report does not say %q", verdict)
	}
}

// check holds every face against the state it shows.
func (r *road) check(t *testing.T) {
	t.Helper()
	st := &r.state
	for _, f := range r.faces {
		has := func(what, sentence string) {
			if !strings.Contains(f.text, flat(sentence)) {
				t.Errorf("%s, %s: no %s %q in\n%s", r.name, f.name, what, sentence, f.text)
			}
		}
		if !f.object && !f.kept && !f.brief {
			has("site", words.Site(&st.Setting))
			has("pole", words.Pole(&st.Setting))
			has("source of times", words.Times(&st.Setting))
		}
		for _, w := range words.Notes(st.Doubts) {
			has("doubt", w)
		}
		for _, w := range words.Notes(st.Notes) {
			if !f.brief && !st.Old { // they were told when the figures were new
				has("note", w)
			}
		}
		if st.Answer == nil {
			r.silent(t, &f)
			if st.Refusal != nil {
				has("refusal", words.Refusal(st.Refusal))
			}
			continue
		}
		for _, x := range st.Frames {
			if x.Miss != nil && len(st.Frames) > 1 {
				has("reason", words.Miss(x))
			}
		}
		if st.Old && !f.kept {
			has("reason", words.Miss(st.Last))
			continue
		}
		if !f.kept {
			for _, m := range st.Moves {
				has("move", words.Hand(m))
			}
			if !f.object {
				has("size", words.OffBy(st))
			}
		}
		if arrow := strings.IndexAny(f.text, "▲▼▶◀"); arrow >= 0 && !f.object && len(st.Doubts) > 0 && strings.Index(f.text, "doubtful") > arrow {
			t.Errorf("%s, %s: the doubt stands below the arrows", r.name, f.name)
		}
		if f.numbers != nil {
			f.numbers.check(t, r.name+", "+f.name, st.Answer)
		}
	}
}

// silent makes sure that a face without an answer gives none.
func (r *road) silent(t *testing.T, f *face) {
	t.Helper()
	if f.numbers != nil || f.kept || strings.ContainsAny(f.text, "▲▼▶◀") || strings.Contains(f.text, "off by") {
		t.Errorf("%s, %s: there is no answer, and it says\n%s", r.name, f.name, f.text)
	}
}

func (n *numbers) check(t *testing.T, name string, a *session.Answer) {
	t.Helper()
	same := func(what string, got map[string]float64, want axis.Parts) {
		for key, w := range map[string]sphere.Angle{"alt": want.Alt, "az_knob": want.AzKnob, "az_sky": want.AzSky, "total": want.Total} {
			if !(math.Abs(got[key]-w.Arcminutes()) < 1e-6) {
				t.Errorf("%s: %s %s %.9g', want %.9g'", name, what, key, got[key], w.Arcminutes())
			}
		}
	}
	same("offset", n.Offset, a.Offset.Parts)
	same("error of", n.Sigma, a.Offset.Err)
	if n.Axis == nil {
		return // the page draws offsets
	}
	az, alt := a.Axis.AzAlt()
	if !(math.Abs(n.Axis["az_deg"]-az.Degrees()) < 1e-8 && math.Abs(n.Axis["alt_deg"]-alt.Degrees()) < 1e-8) {
		t.Errorf("%s: axis %v, want %.9f, %.9f", name, n.Axis, az.Degrees(), alt.Degrees())
	}
}

// agree makes sure that two roads say the same of the same frames.
func agree(t *testing.T, a, b *road) {
	t.Helper()
	x, y := &a.state, &b.state
	if (x.Answer == nil) != (y.Answer == nil) {
		t.Errorf("%s: answer %v, %s: %v", a.name, x.Answer != nil, b.name, y.Answer != nil)
		return
	}
	for what, w := range map[string][2]string{"doubts": {fmt.Sprint(sorted(x.Doubts)), fmt.Sprint(sorted(y.Doubts))}, "notes": {fmt.Sprint(sorted(x.Notes)), fmt.Sprint(sorted(y.Notes))}} {
		if w[0] != w[1] {
			t.Errorf("%s: %s %s\n%s: %s", a.name, what, w[0], b.name, w[1])
		}
	}
	switch {
	case x.Answer != nil:
		if d := x.Answer.Axis.Sep(y.Answer.Axis); d > sphere.Arcsecond/1000 {
			t.Errorf("the roads' axes lie %v apart", d)
		}
	case x.Refusal.Kind == session.WeakGeometry:
		// Who gives frames one by one can turn on: that is asked for instead.
		if y.Next.Kind != session.TurnRA && y.Next.Kind != session.TurnRAMore {
			t.Errorf("%s: %s; %s: next %+v", a.name, words.Refusal(x.Refusal), b.name, y.Next)
		}
	case y.Refusal == nil || x.Refusal.Kind != y.Refusal.Kind:
		t.Errorf("%s: %s; %s: %+v", a.name, words.Refusal(x.Refusal), b.name, y.Refusal)
	}
}

// sorted are sentences in a fixed order, without what only hands touch: frames
// given at once have no last one.
func sorted(ns []session.Note) []string {
	out := words.Notes(slices.DeleteFunc(slices.Clone(ns), func(n session.Note) bool { return n.Kind == session.Touched }))
	slices.Sort(out)
	return out
}

// equatorial is a night 4 degrees from the equator.
func equatorial() night.Spec {
	s := night.Random(11, false)
	s.Site.Lat = 4.3 * sphere.Degree
	s.Setup.ErrAlt, s.Setup.ErrAz = -0.5*sphere.Degree, 0.7*sphere.Degree
	return s
}

// Every kind of night says the same on every face: the answer and its error,
// what the hand must do, doubts and notes, or why there is no answer. Both roads
// say it, and it is true.
func TestEveryFace(t *testing.T) {
	if testing.Short() {
		t.Skip("slow, and nothing runs beside it")
	}
	turned := []posed.Pose{{}, {At: 20, Turn: 30}, {At: 40, Turn: 60}}
	with := func(edit func(ps []posed.Pose)) []posed.Pose {
		out := slices.Clone(turned)
		edit(out)
		return out
	}
	for name, c := range map[string]struct {
		spec   night.Spec
		frames []posed.Pose
		told   func(t *session.Told, site place.Site)
		mount  gear.Mount
		doubts int  // at least
		none   bool // no answer
		edit   func(i int, f *session.Frame)
		apart  bool // one by one a frame is set aside, which others before it could not know
		shows  int  // what the stars show
	}{
		"north":   {spec: night.Random(11, false), frames: turned},
		"south":   {spec: night.Random(11, true), frames: turned},
		"equator": {spec: equatorial(), frames: turned},
		"the true pole, in the south": {spec: night.Random(11, true), frames: turned, told: func(t *session.Told, _ place.Site) {
			t.Pole = axis.True
		}},
		"King's pole": {spec: night.Random(11, false), frames: turned, told: func(t *session.Told, site place.Site) {
			t.King = &session.KingWish{Target: targets.Target{Name: "overhead at midnight", Pos: sphere.SkyAt(60*sphere.Degree, site.Lat)}, MinAlt: 30 * sphere.Degree}
		}},
		"bolts that turn the other way": {spec: night.Random(11, true), frames: turned, mount: gear.Mount{AltPerTurn: 45, AltSense: gear.Lowers, AzPerTurn: 80, AzSense: gear.Counter}},
		"beyond the adjusters":          {spec: night.Random(11, false), frames: turned, mount: gear.Mount{AltMin: 40, AzRange: 0.1}},
		"within the tolerance": {spec: night.Random(11, true), frames: turned, told: func(t *session.Told, _ place.Site) {
			wide := 600.0
			t.Tolerance = &wide
		}},
		"declination slips in three": {spec: night.Random(11, true), doubts: 1, frames: with(func(ps []posed.Pose) { ps[2].Dec = 0.5 })},
		"one frame cloudy":           {spec: night.Random(11, false), shows: 1, frames: with(func(ps []posed.Pose) { ps[1].Lost = true })},
		"dew":                        {spec: night.Random(11, true), shows: 1, frames: append(with(func(ps []posed.Pose) { ps[1].Fade, ps[2].Fade = 0.8, 1.6 }), posed.Pose{At: 60, Turn: 90, Fade: 2.4})},
		"declination slips":          {spec: night.Random(11, true), frames: append(with(func(ps []posed.Pose) { ps[2].Dec = 0.5 }), posed.Pose{At: 60, Turn: 90, Dec: 0.5})},
		"a clock of elsewhere":       {spec: night.Random(11, false), doubts: 1, frames: with(func(ps []posed.Pose) { ps[0].Zone = -11 })},
		"a clock that stands":        {spec: night.Random(11, true), doubts: 1, frames: with(func(ps []posed.Pose) { ps[1].Clock = -19.9 })},
		"daylight": {spec: night.Random(11, true), none: true, frames: with(func(ps []posed.Pose) {
			for i := range ps {
				ps[i].Clock = 6 * 3600 // the Sun stands at 13 degrees then
			}
		})},
		"twilight": {spec: night.Random(11, false), doubts: 1, frames: with(func(ps []posed.Pose) {
			for i := range ps {
				ps[i].Clock = -5.5 * 3600 // the Sun stands at -2 degrees then
			}
		})},
		"a clock that steps by four hours": {spec: night.Random(11, false), none: true, apart: true, frames: with(func(ps []posed.Pose) { ps[2].Clock = 4 * 3600 })},
		"a clock that steps by an hour":    {spec: night.Random(11, true), doubts: 1, frames: with(func(ps []posed.Pose) { ps[2].Clock = 3600 })},
		"a clock of the year 2000":         {spec: night.Random(11, true), doubts: 1, frames: turned, edit: func(_ int, f *session.Frame) { f.Seen = f.Time().AddDate(26, 0, 0) }},
		"a time that was guessed":          {spec: night.Random(11, true), doubts: 1, frames: turned, edit: func(_ int, f *session.Frame) { f.Read.Time.Doubtful = true }},
		"exposures that overlap":           {spec: night.Random(11, true), doubts: 1, frames: turned, edit: func(_ int, f *session.Frame) { f.Read.Exposure = 10 * time.Minute }},
		"two stated sites, one of them far": {spec: night.Random(11, true), frames: append(with(func([]posed.Pose) {}), posed.Pose{At: 60, Turn: 80}), edit: func(i int, f *session.Frame) {
			if i == 1 {
				f.Read.Site.Lat += sphere.Degree
			}
		}},
		"two stated sites, some kilometres apart": {spec: night.Random(11, true), frames: turned, edit: func(i int, f *session.Frame) {
			if i == 1 {
				f.Read.Site.Lat += 0.05 * sphere.Degree
			}
		}},
		"a header of the other hemisphere": {spec: night.Random(11, true), none: true, told: func(t *session.Told, s place.Site) { t.Site = &s }, frames: with(func(ps []posed.Pose) { ps[1].Elsewhere = true })},
		"one picture twice":                {spec: night.Random(11, false), frames: []posed.Pose{turned[0], turned[1], turned[1], turned[2]}},
		"the last frame cloudy":            {spec: night.Random(11, true), shows: 1, frames: append(with(func(ps []posed.Pose) {}), posed.Pose{At: 60, Turn: 70, Lost: true})},
		"hardly turned":                    {spec: night.Random(11, false), none: true, frames: with(func(ps []posed.Pose) { ps[1].Turn, ps[2].Turn = 0.05, 0.1 })},
		"a site a little elsewhere": {spec: night.Random(11, true), doubts: 1, frames: turned, told: func(t *session.Told, s place.Site) {
			s.Lat += 0.3 * sphere.Degree
			t.Site = &s
		}},
		"the other hemisphere": {spec: night.Random(11, true), none: true, frames: turned, told: func(t *session.Told, s place.Site) {
			s.Lat *= -1
			t.Site = &s
		}},
		"stars under the ground": {spec: night.Random(11, false), none: true, frames: turned, told: func(t *session.Told, s place.Site) {
			s.Lat, s.Lon = -s.Lat, (s.Lon + 180*sphere.Degree).Wrap()
			t.Site, t.HeaderWrong = &s, true
		}},
	} {
		t.Run(name, func(t *testing.T) {
			eye := posed.Of(t, c.spec)
			paths := savePoses(t, c.frames)
			config := session.Config{Camera: session.EditedEye(eye, c.edit), Now: time.Now}
			config.Gear.Mounts = map[string]gear.Mount{"pier": c.mount}
			if c.told != nil {
				c.told(&config.Told, c.spec.Site)
			}
			a, b := atOnce(t, config, paths), oneByOne(t, config, paths)
			a.check(t)
			b.check(t)
			if !c.apart {
				agree(t, &a, &b)
			}
			if (a.state.Answer == nil) != c.none || len(a.state.Doubts) < c.doubts || c.doubts == 0 && !c.none && len(a.state.Doubts) > 0 {
				t.Fatalf("answer %v, doubts %q, refusal %+v", a.state.Answer != nil, words.Notes(a.state.Doubts), a.state.Refusal)
			}
			shows := slices.DeleteFunc(slices.Clone(a.state.Notes), func(n session.Note) bool { return n.Kind != session.StarsShow })
			if len(shows) != c.shows {
				t.Errorf("the stars show %q, want %d", words.Notes(shows), c.shows)
			}
			if a.state.Answer != nil && c.doubts == 0 {
				truth, err := eye.Truth(c.frames[0])
				if err != nil {
					t.Fatal(err)
				}
				if d := a.state.Answer.Axis.Sep(truth.Axis); d > 5*sphere.Arcsecond {
					t.Errorf("the axis is %v from the truth", d)
				}
			}
		})
	}
}

// While the adjusters are turned the faces of live go along, to the end.
func TestEveryFaceAdjusting(t *testing.T) {
	if testing.Short() {
		t.Skip("slow, and nothing runs beside it")
	}
	for _, spec := range []night.Spec{night.Random(11, false), night.Random(11, true)} {
		eye := posed.Of(t, spec)
		course := posed.Course(eye)
		for _, n := range []int{6, len(course)} {
			r := oneByOne(t, session.Config{Camera: session.PosedEye(eye), Now: time.Now}, savePoses(t, course[:n]))
			r.check(t)
			truth, err := eye.Truth(course[n-1])
			if err != nil {
				t.Fatal(err)
			}
			if st := &r.state; st.Phase != session.Adjusting || st.Answer == nil || st.Answer.Axis.Sep(truth.Axis) > 5*sphere.Arcsecond || st.Within != (n == len(course)) {
				t.Errorf("after %d frames: phase %s, answer %+v", n, st.Phase, st.Answer)
			}
		}
	}
}

// savePoses writes posed frames into a folder.
func savePoses(t *testing.T, ps []posed.Pose) (paths []string) {
	t.Helper()
	dir := t.TempDir()
	for i, p := range ps {
		paths = append(paths, filepath.Join(dir, fmt.Sprintf("%02d.json", i)))
		p.Save(t, paths[i])
	}
	return paths
}

// sharedNight is a folder of ../shared/nights, rendered by others; see its README.
type sharedNight struct {
	Site struct {
		Lat, Lon, Height float64
		Pressure         float64 `json:"pressure_hpa"`
		Temp             float64 `json:"temp_c"`
	}
	Frames []struct {
		Knob json.RawMessage `json:"knob_arcmin"` // set while the adjusters are turned
	}
	axis  sphere.Local // before they are
	paths []string
}

func readNight(t *testing.T, dir string) (n sharedNight) {
	t.Helper()
	var truth struct {
		Axis struct {
			Az  float64 `json:"az_deg"`
			Alt float64 `json:"alt_deg"`
		}
		Frames []struct{ File string }
	}
	for name, to := range map[string]any{"spec.json": &n, "truth.json": &truth} {
		b, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(b, to); err != nil {
			t.Fatal(err)
		}
	}
	n.axis = sphere.LocalAt(sphere.Angle(truth.Axis.Az)*sphere.Degree, sphere.Angle(truth.Axis.Alt)*sphere.Degree)
	for _, f := range truth.Frames {
		n.paths = append(n.paths, filepath.Join(dir, f.File))
	}
	return n
}

// The photographs of ../shared/nights say the same on every face, too: their
// frames turned in RA on both roads, and all of them on that of live.
func TestEveryFaceSharedNights(t *testing.T) {
	dirs, _ := filepath.Glob("../../../../shared/nights/*/spec.json")
	if len(dirs) == 0 || testing.Short() {
		t.Skip("no ../shared/nights, or short")
	}
	if flag.Lookup("long").Value.String() != "true" {
		dirs = dirs[:1]
	}
	cache, err := os.UserCacheDir()
	if err != nil {
		t.Skip(err)
	}
	lib := &index.Library{Dir: filepath.Join(cache, "pintle", "index"), List: stars.Embedded(), Now: time.Now}
	defer lib.Close()
	for _, d := range dirs {
		dir := filepath.Dir(d)
		t.Run(filepath.Base(dir), func(t *testing.T) {
			n := readNight(t, dir)
			config := func() session.Config {
				c := session.Config{Camera: &session.Photographs{Solver: &solve.Solver{Library: lib}, Now: time.Now}, Now: time.Now}
				c.Told.Site = &place.Site{Lat: sphere.Angle(n.Site.Lat) * sphere.Degree, Lon: sphere.Angle(n.Site.Lon) * sphere.Degree, Elev: n.Site.Height}
				c.Told.Pressure, c.Told.Temp = &n.Site.Pressure, &n.Site.Temp
				return c
			}
			still := len(n.paths)
			for i := range n.Frames {
				if n.Frames[i].Knob != nil {
					still = min(still, i)
				}
			}
			a, b := atOnce(t, config(), n.paths[:still]), oneByOne(t, config(), n.paths[:still])
			a.check(t)
			b.check(t)
			agree(t, &a, &b)
			if st := &a.state; st.Answer == nil || st.Answer.Axis.Sep(n.axis) > 5*sphere.Arcsecond {
				t.Errorf("answer %+v, refusal %+v", st.Answer, st.Refusal)
			}
			if still == len(n.paths) {
				return
			}
			all := oneByOne(t, config(), n.paths)
			all.check(t)
			if st := &all.state; st.Phase != session.Adjusting || st.Answer == nil {
				t.Errorf("adjusted: phase %s, answer %+v", st.Phase, st.Answer)
			}
		})
	}
}
