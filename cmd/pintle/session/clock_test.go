package session

import (
	"context"
	"errors"
	"testing"
	"time"

	"pintle/axis"
	"pintle/cmd/night"
	"pintle/cmd/night/posed"
	"pintle/cmd/pintle/gear"
	"pintle/solve/frame"
)

// edited is a camera whose files say something else.
type edited struct {
	posedCamera
	edit func(*Frame)
}

func (e edited) Read(ctx context.Context, path string) (*Frame, error) {
	f, err := e.posedCamera.Read(ctx, path)
	if err == nil && f.Read != nil {
		e.edit(f)
	}
	return f, err
}

// onBoth gives three frames with RA turned to both roads.
func onBoth(t *testing.T, edit func(*Frame), config func(*Config)) (roads [2]State) {
	t.Helper()
	eye := edited{newPosed(t), edit}
	paths := files(t, posed.Pose{}, posed.Pose{At: 20, Turn: 30}, posed.Pose{At: 40, Turn: 60})
	with := func(c *Config) {
		c.Camera = eye
		if config != nil {
			config(c)
		}
	}
	batch, live := newSessionFor(t, eye.posedCamera, with), newSessionFor(t, eye.posedCamera, with)
	if err := batch.Measure(context.Background(), paths); err != nil {
		t.Fatal(err)
	}
	one(t, live, paths)
	return [2]State{batch.State(), live.State()}
}

// of returns the notes of a kind.
func of(kind NoteKind, ns []Note) (out []Note) {
	for _, n := range ns {
		if n.Kind == kind {
			out = append(out, n)
		}
	}
	return out
}

// A camera's clock that went back to the year of its making, or runs ahead of the
// computer's by as much as a wrong zone, is a doubt on both roads, named once; photographs of
// some evenings ago, or days ahead of a computer's clock that may have stood, get a note,
// and those of this night nothing. Nobody can mend it by measuring anew, so the person is
// not sent to.
func TestClockBesideTheComputers(t *testing.T) {
	const day = 24 * time.Hour
	for _, c := range []struct {
		ago           time.Duration // the frames lie before the computer's present
		doubts, notes int
	}{
		{0, 0, 0}, {20 * time.Hour, 0, 0}, {-5 * time.Minute, 0, 0},
		{-time.Hour, 1, 0}, {-25 * time.Hour, 1, 0}, {-3 * day, 0, 1}, {-300 * day, 0, 1}, {-400 * day, 1, 0},
		{2 * day, 0, 1}, {300 * day, 0, 1},
		{400 * day, 1, 0}, {26 * 365 * day, 1, 0},
	} {
		now := func(f *Frame) { f.Seen = f.Time().Add(c.ago) }
		wide := 600.0
		for i, st := range onBoth(t, now, func(x *Config) { x.Told.Tolerance = &wide }) {
			if d, n := of(ClockFar, st.Doubts), of(ClockFar, st.Notes); st.Answer == nil || len(d) != c.doubts || len(n) != c.notes || st.Next.Kind != AllDone {
				t.Errorf("road %d, %v ago: answer %v, doubts %+v, notes %+v, next %+v", i, c.ago, st.Answer != nil, d, n, st.Next)
			}
		}
		for i, st := range onBoth(t, now, func(x *Config) { x.Simulated = true }) {
			if len(of(ClockFar, append(st.Doubts, st.Notes...))) > 0 {
				t.Errorf("road %d, %v ago: nothing was really photographed, and it is told", i, c.ago)
			}
		}
	}
}

// A doubt about the clock ends with the measurement: the next frame tells it again,
// when it is still so.
func TestClockDoubtEndsWithTheMeasurement(t *testing.T) {
	off := 400 * 24 * time.Hour
	eye := edited{newPosed(t), func(f *Frame) { f.Seen = f.Time().Add(off) }}
	s := newSessionFor(t, eye.posedCamera, func(c *Config) { c.Camera = eye })
	one(t, s, files(t, posed.Pose{}, posed.Pose{At: 20, Turn: 30}))
	if st := s.State(); len(of(ClockFar, st.Doubts)) != 1 {
		t.Fatalf("doubts %+v", st.Doubts)
	}
	off = 0
	s.Begin()
	one(t, s, files(t, posed.Pose{At: 60}, posed.Pose{At: 80, Turn: 30}))
	if st := s.State(); len(of(ClockFar, st.Doubts)) != 0 || st.Answer == nil {
		t.Errorf("the clock was set: doubts %+v", st.Doubts)
	}
}

// Exposures told too long overlap, frames 20 s apart: 200 s by far more than a minute,
// which puts the middle wrong, and 30 s by less than would matter.
func TestExposuresThatOverlap(t *testing.T) {
	for exposure, doubted := range map[time.Duration]bool{0: false, 2 * time.Second: false, 30 * time.Second: false, 200 * time.Second: true} {
		for i, st := range onBoth(t, func(f *Frame) { f.Read.Exposure = exposure }, nil) {
			d := of(ExposuresOverlap, st.Doubts)
			if (len(d) == 1) != doubted || doubted && (d[0].Other != "00.json" || d[0].Frame != "01.json" || d[0].Gap != exposure-20*time.Second) {
				t.Errorf("road %d, %v: doubts %+v", i, exposure, d)
			}
		}
	}
}

// A time that was guessed is a doubt: it may be hours off, and the arrows with it.
func TestGuessedTimeIsADoubt(t *testing.T) {
	wide := 600.0
	for i, st := range onBoth(t, func(f *Frame) { f.Read.Time.Doubtful = true }, func(c *Config) { c.Told.Tolerance = &wide }) {
		if len(of(TimeGuessed, st.Doubts)) != 1 || st.Answer == nil || st.Next.Kind != AllDone {
			t.Errorf("road %d: doubts %+v, next %+v", i, st.Doubts, st.Next)
		}
	}
}

// A header whose site cannot be read is not made up for by the default site of the gear
// file, which may be elsewhere: axis refuses and live asks, naming the file. One that
// states nothing, or zeros as a device that was never told, is.
func TestUnreadSiteIsNotTheDefault(t *testing.T) {
	eye := newPosed(t)
	home := eye.Night.Spec().Site
	gearOf := func(c *Config) {
		c.Gear.Sites = map[string]gear.Site{"home": {Lat: home.Lat.Degrees(), Lon: home.Lon.Degrees()}}
	}
	for says, stated := range map[string]bool{"121.9, -31.4": true, "31.4 O, 121.9": true, "0, 0, 0 m": false, "": false} {
		bad := edited{eye, func(f *Frame) {
			if f.Read.Site = nil; says != "" {
				f.Read.SiteErr = &frame.SiteError{Source: "SITELAT, SITELONG", Stated: says, Reason: "it cannot be"}
			}
		}}
		with := func(c *Config) { c.Camera = bad; gearOf(c) }
		paths := files(t, posed.Pose{}, posed.Pose{At: 20, Turn: 30})
		var un *Unsettled
		batch := newSessionFor(t, eye, with)
		if err := batch.Measure(context.Background(), paths); stated != (errors.As(err, &un) && un.Kind == SiteUnread && un.Name == "00.json") || !stated && err != nil {
			t.Errorf("at once, stated %v: %v", stated, err)
		}
		live := newSessionFor(t, eye, with)
		one(t, live, paths)
		st := live.State()
		if stated != (st.Asks != nil && st.Last.Miss != nil && st.Last.Miss.Kind == BadSite && st.Answer == nil && st.Next.Kind == SaySite) || !stated && st.Answer == nil {
			t.Errorf("one by one, stated %v: asks %+v, answer %v, next %+v", stated, st.Asks, st.Answer != nil, st.Next)
		}
		if err := live.SetSite(home); err != nil {
			t.Fatal(err)
		}
		one(t, live, files(t, posed.Pose{At: 60}, posed.Pose{At: 80, Turn: 30}))
		if st := live.State(); st.Asks != nil || st.Answer == nil {
			t.Errorf("told where, stated %v: asks %+v, answer %v", stated, st.Asks, st.Answer != nil)
		}
	}
}

// Frames that have no axis in common because the clock stepped between them: what is
// said with NO ANSWER names the step.
func TestClockStepIsNamedWithNoAnswer(t *testing.T) {
	eye := newPosed(t)
	s := newSessionFor(t, eye, nil)
	if err := s.Measure(context.Background(), files(t, posed.Pose{}, posed.Pose{At: 20, Turn: 30}, posed.Pose{At: 40, Turn: 60, Clock: 4 * 3600})); err != nil {
		t.Fatal(err)
	}
	st := s.State()
	if d := of(Contradicts, st.Doubts); st.Refusal == nil || st.Refusal.Kind != WeakGeometry || len(d) != 1 || d[0].Contradiction.Kind != axis.ClockJumped || d[0].Contradiction.Names[1] != "02.json" {
		t.Errorf("refusal %+v, doubts %+v", st.Refusal, st.Doubts)
	}
}

// Frames of an invented night are of no night: nothing is said of their clock. Their files
// do say so, as the demo writes them.
func TestInventedNightsHaveNoClock(t *testing.T) {
	old := func(f *Frame) { f.Seen, f.Read.Camera = f.Time().AddDate(2, 0, 0), pretended }
	for i, st := range onBoth(t, old, nil) {
		if n := of(ClockFar, append(st.Doubts, st.Notes...)); len(n) > 0 || st.Answer == nil {
			t.Errorf("road %d: %+v", i, n)
		}
	}
	n, err := night.New(night.Random(11, true))
	if err != nil {
		t.Fatal(err)
	}
	paths, err := n.Write(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	if f, err := frame.Read(context.Background(), paths[0], frame.Options{}); err != nil || f.Camera != pretended {
		t.Errorf("the camera of an invented night is called %q, want %q; %v", f.Camera, pretended, err)
	}
}

// A file that is written while the program looks on, long after the time it states, comes
// from a slow clock or from a card: a note. Files that lay there say nothing, nor do those
// of a clock that is right.
func TestFilesWrittenLate(t *testing.T) {
	for _, c := range []struct {
		late, lay time.Duration // of the file, after its time and before it is read
		told      bool
	}{{5 * time.Second, time.Second, false}, {5 * time.Minute, time.Second, false}, {time.Hour, time.Second, true}, {time.Hour, time.Hour, false}} {
		eye := newPosed(t)
		s := newSessionFor(t, eye, func(x *Config) {
			x.Camera = edited{eye, func(f *Frame) { f.Seen = f.Time().Add(c.late + c.lay) }}
		})
		for i, p := range files(t, posed.Pose{}, posed.Pose{At: 20, Turn: 30}) {
			truth, err := eye.Truth(posed.Pose{At: 20 * float64(i)})
			if err != nil {
				t.Fatal(err)
			}
			if _, err := s.Take(context.Background(), p, truth.Mid.Add(c.late), true); err != nil {
				t.Fatal(err)
			}
		}
		st := s.State()
		if n := of(WrittenLate, st.Notes); st.Answer == nil || len(n) > 0 != c.told || c.told && (n[0].Frame != "00.json" || n[0].Gap != c.late) || len(st.Doubts) > 0 {
			t.Errorf("%v late, read %v later: answer %v, notes %+v, doubts %+v", c.late, c.lay, st.Answer != nil, n, st.Doubts)
		}
	}
}
