package session

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pintle/axis"
	"pintle/axis/place"
	"pintle/cmd/night/posed"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/journal"
	"pintle/index/sphere"
)

// files writes posed frames into a folder and returns their paths.
func files(t *testing.T, ps ...posed.Pose) (paths []string) {
	t.Helper()
	dir := t.TempDir()
	for i, p := range ps {
		path := filepath.Join(dir, fmt.Sprintf("%02d.json", i))
		p.Save(t, path)
		paths = append(paths, path)
	}
	return paths
}

func newSessionFor(t *testing.T, eye posedCamera, edit func(*Config)) *Session {
	t.Helper()
	c := Config{Camera: eye, Now: time.Now}
	if edit != nil {
		edit(&c)
	}
	s, err := New(c)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// one takes the files one by one.
func one(t *testing.T, s *Session, paths []string) {
	t.Helper()
	for i, p := range paths {
		if _, err := s.Take(context.Background(), p, time.Unix(1e9+20*int64(i), 0), true); err != nil {
			t.Fatal(err)
		}
	}
}

// kinds lists the kinds of notes, of the fit's warnings their own.
func kinds(ns []Note) string {
	var out []string
	for _, n := range ns {
		if n.Kind == FitWarning {
			out = append(out, fmt.Sprintf("fit %d", n.Warning.Kind))
		} else if n.Kind != Touched {
			out = append(out, fmt.Sprint(int(n.Kind)))
		}
	}
	return strings.Join(out, ", ")
}

// The same frames give the same answer, notes, doubts and refusals, whether they
// are given at once or come one by one.
func TestOneRoad(t *testing.T) {
	eye := newPosed(t)
	turn := []posed.Pose{{}, {At: 20, Turn: 30}, {At: 40, Turn: 60}}
	with := func(edit func(p *posed.Pose)) []posed.Pose {
		out := append([]posed.Pose(nil), turn...)
		edit(&out[1])
		return out
	}
	north := eye.Night.Spec().Site
	south := north
	south.Lat = -south.Lat
	for name, c := range map[string]struct {
		frames []posed.Pose
		told   Told
	}{
		"three frames":             {frames: turn},
		"a true pole":              {frames: turn, told: Told{Pole: axis.True}},
		"one cloudy":               {frames: with(func(p *posed.Pose) { p.Lost = true })},
		"declination slips":        {frames: with(func(p *posed.Pose) { p.Dec = 0.5 })},
		"hardly turned":            {frames: []posed.Pose{{}, {At: 20, Turn: 1}, {At: 40, Turn: 2}}},
		"clock four hours on":      {frames: turn, told: Told{}},
		"the other hemisphere":     {frames: turn, told: Told{Site: &south}},
		"the other one, insisting": {frames: turn, told: Told{Site: &south, HeaderWrong: true}},
		"a little elsewhere":       {frames: turn, told: Told{Site: &place.Site{Lat: north.Lat + 0.3*sphere.Degree, Lon: north.Lon, Elev: north.Elev}}},
	} {
		paths := files(t, c.frames...)
		edit := func(x *Config) { x.Told = c.told }
		batch, live := newSessionFor(t, eye, edit), newSessionFor(t, eye, edit)
		if err := batch.Measure(context.Background(), paths); err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		one(t, live, paths)
		a, b := batch.State(), live.State()
		if (a.Answer == nil) != (b.Answer == nil) || (a.Refusal == nil) != (b.Refusal == nil && b.Weak == nil) {
			t.Errorf("%s: answers %v and %v, refusals %+v and %+v", name, a.Answer != nil, b.Answer != nil, a.Refusal, b.Refusal)
			continue
		}
		if a.Refusal != nil && b.Weak != nil {
			if a.Refusal.Kind != WeakGeometry || a.Refusal.Weak.Reason != b.Weak.Reason {
				t.Errorf("%s: refusal %+v, and %+v", name, a.Refusal, b.Weak)
			}
			continue
		}
		if a.Refusal != nil && a.Refusal.Kind != b.Refusal.Kind {
			t.Errorf("%s: refusals %+v and %+v", name, a.Refusal, b.Refusal)
		}
		if a.Answer != nil {
			if d := a.Answer.Axis.Sep(b.Answer.Axis); d > sphere.Arcsecond/1000 || a.Within != b.Within || a.Moves != b.Moves && a.Phase == b.Phase {
				t.Errorf("%s: axes %v apart, within %v and %v, moves %v and %v", name, d, a.Within, b.Within, a.Moves, b.Moves)
			}
			if kinds(a.Doubts) != kinds(b.Doubts) || kinds(a.Notes) != kinds(b.Notes) {
				t.Errorf("%s: doubts %s and %s, notes %s and %s", name, kinds(a.Doubts), kinds(b.Doubts), kinds(a.Notes), kinds(b.Notes))
			}
		}
		if a.Setting.Site != b.Setting.Site || a.Setting.SiteSource.Kind != b.Setting.SiteSource.Kind || a.Setting.Tolerance != b.Setting.Tolerance {
			t.Errorf("%s: settings %+v and %+v", name, a.Setting, b.Setting)
		}
	}
}

// A typed south that becomes north: with the header stating the other hemisphere
// there is no answer, unless the person insists.
func TestHemispheresContradict(t *testing.T) {
	eye := newPosed(t)
	paths := files(t, posed.Pose{}, posed.Pose{At: 20, Turn: 30}, posed.Pose{At: 40, Turn: 60})
	south := eye.Night.Spec().Site
	south.Lat = -south.Lat
	s := newSessionFor(t, eye, func(c *Config) { c.Told.Site = &south })
	if err := s.Measure(context.Background(), paths); err != nil {
		t.Fatal(err)
	}
	if st := s.State(); st.Answer != nil || st.Refusal == nil || st.Refusal.Kind != OtherPole {
		t.Errorf("answer %v, refusal %+v", st.Answer, st.Refusal)
	}
}

// A camera whose clock keeps the time of another part of the Earth is doubted on
// both roads, and told once; a zone of the country, or none, is not.
func TestZoneOfTheClock(t *testing.T) {
	eye := newPosed(t)
	own := math.Round(eye.Night.Spec().Site.Lon.Degrees() / 15)
	for zone, doubted := range map[float64]bool{own + 1: false, own - 2: false, 0: false, own + 5: true, own - 8: true} {
		paths := files(t, posed.Pose{}, posed.Pose{At: 20, Turn: 30, Zone: zone}, posed.Pose{At: 40, Turn: 60, Zone: zone})
		edit := func(c *Config) { wide := 600.0; c.Told.Tolerance = &wide }
		batch, live := newSessionFor(t, eye, edit), newSessionFor(t, eye, edit)
		if err := batch.Measure(context.Background(), paths); err != nil {
			t.Fatal(err)
		}
		one(t, live, paths)
		for i, st := range []State{batch.State(), live.State()} {
			var told []axis.Contradiction
			for _, n := range st.Doubts {
				if n.Kind == Contradicts {
					told = append(told, *n.Contradiction)
				}
			}
			if st.Answer == nil || (len(told) > 0) != doubted || doubted && (len(told) != 1 || told[0].Kind != axis.ZoneFar || told[0].Names[0] != "01.json") {
				t.Errorf("road %d, zone %+g where %+g is the longitude's: answer %v, told %+v", i, zone, own, st.Answer != nil, told)
			}
			// No new measurement mends it.
			if st.Next.Kind != AllDone {
				t.Errorf("road %d, zone %+g: next %+v", i, zone, st.Next)
			}
		}
	}
}

// Frames that state different sites: most of them are right, and with as many
// here as there nobody can tell.
func TestFramesOfDifferentSites(t *testing.T) {
	eye := newPosed(t)
	s := newSessionFor(t, eye, nil)
	err := s.Measure(context.Background(), files(t, posed.Pose{}, posed.Pose{At: 20, Turn: 30, Elsewhere: true}))
	var un *Unsettled
	if !errors.As(err, &un) || un.Kind != SitesDiffer {
		t.Errorf("two sites: %v", err)
	}
	s = newSessionFor(t, eye, nil)
	if err := s.Measure(context.Background(), files(t, posed.Pose{}, posed.Pose{At: 20, Turn: 30, Elsewhere: true}, posed.Pose{At: 40, Turn: 60})); err != nil {
		t.Fatal(err)
	}
	st := s.State()
	if st.Answer == nil || st.Frames[1].Miss == nil || st.Frames[1].Miss.Kind != OtherSite {
		t.Errorf("answer %v, frame %+v", st.Answer != nil, st.Frames[1].Miss)
	}
}

// Without a site anywhere axis says so; live stays, asks, and goes on with what
// it is told.
func TestNoSiteIsAQuestion(t *testing.T) {
	eye := newPosed(t)
	paths := files(t, posed.Pose{Homeless: true}, posed.Pose{At: 20, Turn: 30, Homeless: true}, posed.Pose{At: 40, Turn: 60, Homeless: true})
	var un *Unsettled
	if err := newSessionFor(t, eye, nil).Measure(context.Background(), paths); !errors.As(err, &un) || un.Kind != WhereUnknown {
		t.Errorf("at once: %v", err)
	}
	live := newSessionFor(t, eye, nil)
	one(t, live, paths[:1])
	if st := live.State(); st.Asks == nil || st.Next.Kind != SaySite || st.Answer != nil {
		t.Errorf("asks %+v, next %+v", st.Asks, st.Next)
	}
	if err := live.SetSite(eye.Night.Spec().Site); err != nil {
		t.Fatal(err)
	}
	one(t, live, files(t, posed.Pose{At: 60, Homeless: true}, posed.Pose{At: 80, Turn: 30, Homeless: true}))
	if st := live.State(); st.Asks != nil || st.Answer == nil || st.Setting.SiteSource.Kind != FromPerson {
		t.Errorf("asks %+v, answer %v, site of %+v", st.Asks, st.Answer, st.Setting.SiteSource)
	}
}

// A default site of the gear file on the wrong side of the Earth: the frames'
// ground and daylight say no, on both roads.
func TestWrongDefaultSite(t *testing.T) {
	eye := newPosed(t)
	home := eye.Night.Spec().Site
	far := gear.Site{Lat: -home.Lat.Degrees(), Lon: home.Lon.Degrees() + 180}
	edit := func(c *Config) { c.Gear.Sites = map[string]gear.Site{"garden": far} }
	paths := files(t, posed.Pose{Homeless: true}, posed.Pose{At: 20, Turn: 30, Homeless: true}, posed.Pose{At: 40, Turn: 60, Homeless: true})
	batch, live := newSessionFor(t, eye, edit), newSessionFor(t, eye, edit)
	if err := batch.Measure(context.Background(), paths); err != nil {
		t.Fatal(err)
	}
	one(t, live, paths)
	for i, st := range []State{batch.State(), live.State()} {
		if st.Answer != nil || st.Refusal == nil || st.Refusal.Kind != StarsRefuse {
			t.Errorf("road %d: answer %v, refusal %+v", i, st.Answer != nil, st.Refusal)
		}
	}
}

// Frames of elsewhere are not filed under the default site's name.
func TestSiteIsNamedByWhereItIs(t *testing.T) {
	eye := newPosed(t)
	home := eye.Night.Spec().Site
	sites := map[string]gear.Site{"garden": {Lat: -33, Lon: 20}, "here": {Lat: home.Lat.Degrees() + 0.003, Lon: home.Lon.Degrees()}}
	for _, c := range []struct{ usual, want string }{{"garden", "here"}, {"here", "here"}} {
		s := newSessionFor(t, eye, func(x *Config) { x.Gear.Sites, x.Gear.Default.Site = sites, c.usual })
		one(t, s, files(t, posed.Pose{}))
		if got := s.State().Setting.SiteName; got != c.want {
			t.Errorf("default %s: filed under %q, want %q", c.usual, got, c.want)
		}
	}
}

// wantStep is what is expected after a frame of an evening.
type wantStep struct {
	phase Phase
	kind  string
	next  NextKind
}

func TestAnEvening(t *testing.T) {
	eye := newPosed(t)
	path := filepath.Join(t.TempDir(), "j")
	s := newSessionFor(t, eye, func(c *Config) { c.Journal, c.Folder = path, t.TempDir() })
	frames := posed.Course(eye.Camera)
	wants := []wantStep{{Measuring, journal.Sighting, TurnRA}, {Measuring, journal.Measurement, ThirdFrame}, {Measuring, journal.Measurement, TurnAdjuster}}
	for len(wants) < len(frames)-1 {
		wants = append(wants, wantStep{Adjusting, journal.Adjustment, TurnAdjuster})
	}
	wants = append(wants, wantStep{Adjusting, journal.Adjustment, AllDone})
	for i, p := range files(t, frames...) {
		one(t, s, []string{p})
		st, w := s.State(), wants[i]
		late := st.Next.Kind == AllDone && i >= len(frames)-3
		if st.Phase != w.phase || st.Next.Kind != w.next && !late {
			t.Errorf("frame %d: phase %s, next %+v; want %+v", i+1, st.Phase, st.Next, w)
		}
		records, _, err := journal.Read(path)
		if err != nil || len(records) != i+1 || records[i].Kind != w.kind {
			t.Fatalf("frame %d: %d records, %v; want a %s", i+1, len(records), err, w.kind)
		}
		if st.Answer == nil {
			continue
		}
		truth, err := eye.Truth(frames[i])
		if err != nil {
			t.Fatal(err)
		}
		if miss := st.Answer.Axis.Sep(truth.Axis); miss > 5*sphere.Arcsecond && i >= 2 {
			t.Errorf("frame %d: axis %v from the truth, at most 5 arcsec allowed", i+1, miss)
		}
		// The turn about the axis, as the record has it, is what was turned by hand
		// and by the drive.
		last := records[i].Frames[len(records[i].Frames)-1]
		if d := (sphere.Angle(last.Turn)*sphere.Degree - turnTruth(t, eye, frames[0], frames[i])).Wrap().Abs(); d > sphere.Arcminute {
			t.Errorf("frame %d: turn %.4f in the record is %v off", i+1, last.Turn, d)
		}
	}
	if st := s.State(); !st.Within {
		t.Errorf("off by %v at the end", st.Answer.Offset.Total)
	}
	es := journal.Evenings(mustRead(t, path))
	names := map[string]bool{}
	for _, r := range es[0].Records {
		for _, f := range r.Frames {
			names[f.Name] = true
		}
	}
	if len(names) != len(frames) {
		t.Errorf("the evening holds %d of %d frames", len(names), len(frames))
	}
}

func mustRead(t *testing.T, path string) []journal.Record {
	t.Helper()
	records, damage, err := journal.Read(path)
	if err != nil || len(damage) > 0 {
		t.Fatal(err, damage)
	}
	return records
}

// turnTruth is by how much the mount turned about its axis between two poses.
func turnTruth(t *testing.T, eye posedCamera, a, b posed.Pose) sphere.Angle {
	t.Helper()
	// What the follower cannot know it need not be asked: the adjusters' part is
	// taken out by posing the second frame without it.
	b.Alt, b.Az, b.Dec = 0, 0, 0
	var at [2]axis.Sighting
	for i, p := range []posed.Pose{a, b} {
		s, err := eye.Sighting(p)
		if err != nil {
			t.Fatal(err)
		}
		at[i] = s
	}
	truth, err := eye.Truth(a)
	if err != nil {
		t.Fatal(err)
	}
	motion, _, err := axis.Between(at[0], at[1])
	if err != nil {
		t.Fatal(err)
	}
	v := motion.Vec()
	p := truth.Axis.Vec()
	return sphere.Angle(v.X*p.X + v.Y*p.Y + v.Z*p.Z)
}

// A frame with a time a day ahead, or an hour back, is set aside and named, and
// those behind it go on; when the clock has really moved, the measurement begins
// anew by itself.
func TestClocksThatStray(t *testing.T) {
	eye := newPosed(t)
	s := newSessionFor(t, eye, nil)
	turn := []posed.Pose{{}, {At: 20, Turn: 30}, {At: 40, Turn: 60}}
	one(t, s, files(t, turn...))
	one(t, s, files(t, posed.Pose{At: 60, Turn: 60, Clock: 86400}))
	if st := s.State(); st.Last.Miss == nil || st.Last.Miss.Kind != FarTime || st.Answer == nil || !st.Old {
		t.Fatalf("a day ahead: %+v", st.Last.Miss)
	}
	one(t, s, files(t, posed.Pose{At: 80, Turn: 60}))
	if st := s.State(); st.Last.Miss != nil || st.Old {
		t.Fatalf("the good frame behind it: %+v", st.Last.Miss)
	}
	// One that strays by another amount than the next: they agree on nothing.
	if _, err := s.Take(context.Background(), files(t, posed.Pose{At: 90, Turn: 60, Clock: -7200})[0], time.Unix(1e9-10, 0), true); err != nil {
		t.Fatal(err)
	}
	back := files(t, posed.Pose{At: 100, Turn: 60, Clock: -3600}, posed.Pose{At: 120, Turn: 90, Clock: -3600})
	one(t, s, back[:1])
	if st := s.State(); st.Last.Miss == nil || st.Last.Miss.Kind != OldTime {
		t.Fatalf("an hour back: %+v", st.Last.Miss)
	}
	if _, err := s.Take(context.Background(), back[1], time.Unix(1e9+20, 0), true); err != nil {
		t.Fatal(err)
	}
	st := s.State()
	moved := false
	for _, n := range st.Notes {
		moved = moved || n.Kind == ClockMoved
	}
	if !moved || st.Last.Miss != nil || st.Sightings != 2 {
		t.Errorf("the clock moved: notes %s, frame %+v, %d frames measured", kinds(st.Notes), st.Last.Miss, st.Sightings)
	}
}

func TestUnsolvedFrameMakesFiguresOld(t *testing.T) {
	eye := newPosed(t)
	s := newSessionFor(t, eye, nil)
	one(t, s, files(t, posed.Course(eye.Camera)[:4]...))
	one(t, s, files(t, posed.Pose{At: 100, Turn: 45, Lost: true}))
	if st := s.State(); !st.Old || st.Next.Kind != WaitSolved || st.Answer == nil {
		t.Errorf("old %v next %+v", st.Old, st.Next)
	}
}

func TestDeclinationTouchedIsADoubt(t *testing.T) {
	eye := newPosed(t)
	s := newSessionFor(t, eye, nil)
	c := posed.Course(eye.Camera)[:6]
	one(t, s, files(t, c...))
	p := c[5]
	p.At, p.Dec = p.At+20, 1.5
	one(t, s, files(t, p))
	st := s.State()
	if len(st.Doubts) == 0 || st.Doubts[0].Kind != MeasureAnew || st.Next.Kind != MeasureFresh {
		t.Errorf("doubts %s, next %+v", kinds(st.Doubts), st.Next)
	}
	one(t, s, files(t, posed.Pose{At: p.At + 20, Lost: true}))
	// Why it was lost may be its own; what was said of the frame before is not.
	own := func(n Note) bool { return n.Kind == StarsShow }
	if st := s.State(); len(st.Doubts) == 0 || len(st.OfFrame().Doubts) > 0 || len(slices.DeleteFunc(slices.Clone(st.News), own)) > 0 {
		t.Errorf("an unsolved frame: doubts %s of the answer, %s of its own", kinds(st.Doubts), kinds(st.News))
	}
	s.Begin()
	if st := s.State(); st.Phase != Measuring || st.Answer != nil || len(st.Doubts) > 0 || len(st.Trail) > 0 {
		t.Errorf("a new measurement begins with %+v", st)
	}
}

func TestSameShotCountsOnce(t *testing.T) {
	eye := newPosed(t)
	a := files(t, posed.Pose{}, posed.Pose{At: 20, Turn: 30}, posed.Pose{At: 40, Turn: 60})
	b, err := os.ReadFile(a[0])
	if err != nil {
		t.Fatal(err)
	}
	twin := filepath.Join(filepath.Dir(a[0]), "twin.json")
	if err := os.WriteFile(twin, b, 0o644); err != nil {
		t.Fatal(err)
	}
	s := newSessionFor(t, eye, nil)
	if err := s.Measure(context.Background(), append(a, twin)); err != nil {
		t.Fatal(err)
	}
	if st := s.State(); st.Answer == nil || st.Frames[3].Miss == nil || st.Frames[3].Miss.Kind != SamePicture {
		t.Errorf("%+v", st.Frames[3].Miss)
	}
}

// A frame that cannot be read is left out as long as two good ones remain.
func TestBadFilesAreLeftOut(t *testing.T) {
	eye := newPosed(t)
	paths := files(t, posed.Pose{}, posed.Pose{At: 20, Turn: 30}, posed.Pose{At: 40, Turn: 60})
	torn := filepath.Join(filepath.Dir(paths[0]), "torn.json")
	if err := os.WriteFile(torn, []byte(`{"at":`), 0o644); err != nil {
		t.Fatal(err)
	}
	s := newSessionFor(t, eye, nil)
	if err := s.Measure(context.Background(), append([]string{torn}, paths...)); err != nil || s.State().Answer == nil {
		t.Errorf("with three good frames: %v", err)
	}
	var bad *Fault
	if err := newSessionFor(t, eye, nil).Measure(context.Background(), []string{torn, paths[0]}); !errors.As(err, &bad) || bad.Frame.Name != "torn.json" {
		t.Errorf("with one good frame: %v", err)
	}
}

func TestTolerances(t *testing.T) {
	camera := gear.Camera{Focal: 135, Pixel: 3.76, Width: 6000, Height: 4000, Exposure: 60}
	three := 3.0
	for name, c := range map[string]struct {
		told Told
		gear gear.Gear
		want float64 // arcmin, 0: not 1
		from SourceKind
	}{
		"nothing":      {want: 1, from: Assumed},
		"told":         {told: Told{Tolerance: &three}, gear: gear.Gear{Tolerance: gear.Tolerance{Arcmin: 7}}, want: 3, from: FromPerson},
		"gear":         {gear: gear.Gear{Tolerance: gear.Tolerance{Arcmin: 7}}, want: 7, from: FromGear},
		"auto":         {told: Told{Auto: true}, gear: gear.Gear{Cameras: map[string]gear.Camera{"short": camera}}, from: FromCamera},
		"auto in gear": {gear: gear.Gear{Tolerance: gear.Tolerance{Auto: true}, Cameras: map[string]gear.Camera{"short": camera}}, from: FromCamera},
	} {
		s, err := New(Config{Told: c.told, Gear: c.gear, Now: time.Now})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if got := s.Setting().Tolerance.Arcminutes(); c.want > 0 && (got-c.want) > 1e-9 || s.Setting().ToleranceSource.Kind != c.from || c.want == 0 && !(got > 1.5 && got < 600) {
			t.Errorf("%s: %g arcmin from %v", name, got, s.Setting().ToleranceSource)
		}
	}
	if _, err := New(Config{Told: Told{Auto: true}, Now: time.Now}); err == nil {
		t.Error("auto without a camera is taken")
	}
}

// A measurement of five frames with a mount of the gear file teaches how its frames
// scatter; what the gear file says goes before.
func TestLearnsTheMountsScatter(t *testing.T) {
	eye := newPosed(t)
	path := filepath.Join(t.TempDir(), "j")
	later := eye.Night.Spec().Start.Add(24 * time.Hour)
	with := func(m gear.Mount) *Session {
		return newSessionFor(t, eye, func(c *Config) {
			c.Journal, c.Now = path, func() time.Time { return later }
			c.Gear.Mounts = map[string]gear.Mount{"six": m}
		})
	}
	s := with(gear.Mount{})
	if m := s.Setting().Manner; m != (axis.Manner{}) {
		t.Errorf("before anything was measured: %+v", m)
	}
	poses := []posed.Pose{{}, {At: 20, Turn: 15}, {At: 40, Turn: 30}, {At: 60, Turn: 45}, {At: 80, Turn: 60}}
	if err := s.Measure(context.Background(), files(t, poses...)); err != nil {
		t.Fatal(err)
	}
	records, _, err := journal.Read(path)
	if err != nil || len(records) != 1 || records[0].Made == nil || !(records[0].Scatter > 0) || records[0].Mount != "six" {
		t.Fatalf("%v: %+v; want one record with scatter and what the error is made of", err, records)
	}
	if m := with(gear.Mount{}).Setting().Manner; m.Evenings != 1 || !(m.Scatter > 0) {
		t.Errorf("after an evening: %+v", m)
	}
	if m := with(gear.Mount{Scatter: 3}).Setting().Manner; m.Evenings != 0 || m.Scatter != 3*sphere.Arcsecond {
		t.Errorf("told 3 arcsec: %+v", m)
	}
}

// Three frames do not show a scatter, but the long series after them does.
func TestLongSeriesTeachesTheMountsScatter(t *testing.T) {
	eye := newPosed(t)
	path, dir := filepath.Join(t.TempDir(), "j"), t.TempDir()
	start := eye.Night.Spec().Start
	with := func() *Session {
		return newSessionFor(t, eye, func(c *Config) {
			c.Journal, c.Folder, c.Now = path, dir, func() time.Time { return start.Add(24 * time.Hour) }
			c.Gear.Mounts = map[string]gear.Mount{"six": {}}
		})
	}
	s := with()
	for i := range 40 {
		p := posed.Pose{At: 20 * float64(i), Turn: 20 * float64(min(i, 2))}
		file := filepath.Join(dir, fmt.Sprintf("f%02d.json", i))
		p.Save(t, file)
		if _, err := s.Take(context.Background(), file, start.Add(time.Duration(i)*time.Minute), false); err != nil {
			t.Fatal(err)
		}
	}
	records, _, err := journal.Read(path)
	if err != nil {
		t.Fatal(err)
	}
	first, last := records[len(records)/4], records[len(records)-1]
	if first.Scatter != 0 || last.Kind != journal.Adjustment || !(last.Scatter > 0 && last.Scatter < 1) {
		t.Errorf("%d records: scatter %g after a few frames, %g after all, the last a %s", len(records), first.Scatter, last.Scatter, last.Kind)
	}
	if m := with().Setting().Manner; m.Evenings != 1 || math.Abs(m.Scatter.Arcseconds()-last.Scatter) > 1e-9 {
		t.Errorf("learnt %+v from %g arcsec", m, last.Scatter)
	}
}

// Two frames of one name, from two folders, in one second: what the fit says of
// each is its own.
func TestFramesOfOneNameAndTime(t *testing.T) {
	eye := newPosed(t)
	dir := t.TempDir()
	var paths []string
	for folder, p := range map[string]posed.Pose{"a": {}, "b": {At: 20, Turn: 30, Clock: -20}} {
		path := filepath.Join(dir, folder, "light.json")
		if err := os.Mkdir(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		p.Save(t, path)
		paths = append(paths, path)
	}
	slices.Sort(paths)
	s := newSessionFor(t, eye, nil)
	one(t, s, paths)
	st := s.State()
	if st.Answer == nil || st.Last.Name != "light.json" {
		t.Fatalf("answer %v, last frame %+v", st.Answer != nil, st.Last)
	}
	if fit := st.Used(st.Last); fit == nil || fit.Turn.Degrees() < 29 {
		t.Errorf("the second frame of the name: %+v, want a turn of 30 degrees", fit)
	}
}
