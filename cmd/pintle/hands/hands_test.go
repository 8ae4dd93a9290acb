package hands

import (
	"context"
	"errors"
	"math"
	"net/http/httptest"
	"os"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"pintle/cmd/night"
	"pintle/cmd/pintle/device"
	"pintle/cmd/pintle/device/alpaca"
	"pintle/cmd/pintle/device/fake"
	"pintle/cmd/pintle/device/shoot"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/watch"
	"pintle/index/sphere"
)

// evening is hands over the fake server, and a session that they serve.
type evening struct {
	*Hands
	t     *testing.T
	fake  *fake.Server
	clock *fake.Clock
	s     *session.Session
	// meddle is called with each request's name before it is answered; true drops
	// the connection.
	meddle atomic.Pointer[func(string) bool]
}

// turnable is an invented night whose camera looks where a mount may be turned.
func turnable(t *testing.T) night.Spec {
	t.Helper()
	for seed := uint64(1); seed < 50; seed++ {
		s := night.Random(seed, seed%2 == 0)
		s.Frames = s.Frames[:1]
		ha, dec := s.Frames[0].Turn.Degrees(), s.Setup.Dec.Abs().Degrees()
		if dec > 10 && dec < 60 && math.Abs(ha) < 40 && math.Abs(ha) > 10 && float64(s.Setup.Dec)*float64(s.Site.Lat) > 0 {
			for s.Camera.W*s.Camera.H > 600_000 {
				s.Camera.W, s.Camera.H, s.Camera.Pixel = s.Camera.W/2, s.Camera.H/2, s.Camera.Pixel*2
			}
			return s
		}
	}
	t.Fatal("no such night")
	return night.Spec{}
}

func newEvening(t *testing.T, mount bool, change func(*evening, *Config)) *evening {
	t.Helper()
	return newEveningOf(t, turnable(t), mount, change)
}

func newEveningOf(t *testing.T, spec night.Spec, mount bool, change func(*evening, *Config)) *evening {
	t.Helper()
	n, err := night.New(spec)
	if err != nil {
		t.Fatal(err)
	}
	e := &evening{t: t, clock: fake.NewClock(spec.Start)}
	e.fake = &fake.Server{Night: n, Now: e.clock.Now, Idle: e.clock.Pass, Fail: func(name string) bool {
		f := e.meddle.Load()
		return f != nil && (*f)(name)
	}}
	server := httptest.NewServer(e.fake)
	t.Cleanup(server.Close)
	t.Cleanup(e.check)
	host := strings.TrimPrefix(server.URL, "http://")
	c := Config{Clock: e.clock, Folder: &shoot.Folder{Dir: t.TempDir()}, Shot: device.Exposure{Time: spec.Camera.Exposure}, Longest: 15 * time.Second, Fixed: true, Angle: 20 * sphere.Degree}
	c.Camera = func(ctx context.Context) (device.Camera, error) { return alpaca.OpenCamera(ctx, host, 0, e.clock.Now) }
	if mount {
		m, err := alpaca.OpenMount(context.Background(), host, 0, e.clock.Now)
		if err != nil {
			t.Fatal(err)
		}
		c.Turner = &device.Turner{Mount: m, Clock: e.clock, Limits: device.Usual}
	}
	if change != nil {
		change(e, &c)
	}
	e.Hands = New(c)
	photos := &session.Photographs{Solver: fake.Solver(), Now: e.clock.Now}
	e.s, err = session.New(session.Config{Camera: photos, Now: e.clock.Now, Hands: e.Hands, Told: session.Told{Site: &spec.Site,
		Pressure: &spec.Air.Pressure, Temp: &spec.Air.Temp}})
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// check makes sure that nothing was ever told a place to go, a site or a time, and
// that the mount stands.
func (e *evening) check() {
	for _, name := range e.fake.Forbidden("unpark", "gain") {
		e.t.Errorf("%s was called", name)
	}
	if e.fake.Moving() != 0 {
		e.t.Error("the mount still moves")
	}
}

// on meddles with the requests from here on.
func (e *evening) on(f func(name string) bool) { e.meddle.Store(&f) }

// whenever answers for the person whenever the status calls for it.
func (e *evening) whenever(f func(session.Handling)) {
	done := make(chan struct{})
	e.t.Cleanup(func() { close(done) })
	go func() {
		for {
			select {
			case <-done:
				return
			case <-e.Changed():
				f(e.Status())
			}
		}
	}()
}

// turnedByHand is a person who turns RA once after each photograph, however often
// that is asked.
func (e *evening) turnedByHand() func(session.Handling) {
	after := ""
	return func(h session.Handling) {
		if h.Doing != session.HandTurn || h.Shot == nil || h.Shot.Path == after {
			return
		}
		after = h.Shot.Path
		e.fake.Mount().Move(night.Pose{Turn: 20 * sphere.Degree})
		e.Do(session.Action{Name: session.GoOn})
	}
}

// says answers every question the same way.
func (e *evening) says(name session.ActionName) {
	e.whenever(func(h session.Handling) {
		if h.Ask != nil {
			e.Do(session.Action{Name: name, Value: float64(h.Ask.Number)})
		}
	})
}

func (e *evening) measure(n int) ([]string, error) {
	e.t.Helper()
	scout, err := e.s.Scout()
	if err != nil {
		e.t.Fatal(err)
	}
	return e.Measure(context.Background(), scout, n)
}

// answers fits the files and holds the axis against the truth.
func (e *evening) answers(paths []string) session.State {
	e.t.Helper()
	if err := e.s.Measure(context.Background(), paths); err != nil {
		e.t.Fatal(err)
	}
	st := e.s.State()
	if st.Answer == nil {
		e.t.Fatalf("no answer: %+v", st.Refusal)
	}
	e.true(&st)
	return st
}

// true holds an answer against the truth: 3 stated errors, or 0.1 arcmin.
func (e *evening) true(st *session.State) {
	e.t.Helper()
	truth, err := e.fake.Mount().Truth(e.clock.Now())
	if err != nil {
		e.t.Fatal(err)
	}
	miss, stated := st.Answer.Axis.Sep(truth.Axis), st.Answer.Offset.Err.Total
	e.t.Logf("off by %.2f\", stated %.2f\"", miss.Arcseconds(), stated.Arcseconds())
	if miss > max(3*stated, 0.1*sphere.Arcminute) {
		e.t.Errorf("the axis is off by %.1f\", stated %.1f\"", miss.Arcseconds(), stated.Arcseconds())
	}
}

// Three photographs, RA turned by the mount after a yes to each question.
func TestMeasureWithMount(t *testing.T) {
	var asked []session.Question
	e := newEvening(t, true, nil)
	e.whenever(func(h session.Handling) {
		if h.Ask != nil && (len(asked) == 0 || asked[len(asked)-1].Number != h.Ask.Number) {
			asked = append(asked, *h.Ask)
			if len(asked) == 2 { // an answer to the first question is none to the second
				e.Do(session.Action{Name: session.Agree, Value: float64(asked[0].Number)})
				time.Sleep(50 * time.Millisecond)
				if e.fake.Moving() != 0 {
					t.Error("the mount moves by the answer to an earlier question")
				}
			}
			e.Do(session.Action{Name: session.Agree, Value: float64(h.Ask.Number)})
		}
	})
	paths, err := e.measure(3)
	if err != nil || len(paths) != 3 || len(asked) != 2 {
		t.Fatalf("%v, %v, %d questions", paths, err, len(asked))
	}
	if q := asked[0]; q.Angle != 20*sphere.Degree || math.Abs(q.Rate.Degrees()-3) > 1e-9 || q.Time < 6*time.Second || !q.Unbraked {
		t.Errorf("asked %+v", q)
	}
	st := e.answers(paths)
	for _, f := range st.Frames {
		if f.TakenBy != "Invented camera" {
			t.Errorf("%s taken by %q", f.Name, f.TakenBy)
		}
	}
	if len(st.Hands.Turns) != 2 {
		t.Fatalf("%d turns", len(st.Hands.Turns))
	}
	for i, turn := range st.Hands.Turns {
		if turn.West != asked[i].West { // who consents looks where cables are on that side
			t.Errorf("asked for the west %v, turned to the west %v", asked[i].West, turn.West)
		}
		if turn.StoppedBy != "angle" || turn.Measured == nil || (*turn.Measured-turn.Reported).Abs() > 0.3*sphere.Degree || (turn.Reported-turn.Asked).Abs() > 0.5*sphere.Degree {
			t.Errorf("%+v", turn)
		}
	}
}

// Three photographs, RA turned by the person, who says when that is done.
func TestMeasureByHand(t *testing.T) {
	if testing.Short() {
		t.Skip("slow, and what runs beside what is that of TestMeasureWithMount")
	}
	e := newEvening(t, false, nil)
	e.whenever(e.turnedByHand())
	paths, err := e.measure(3)
	if err != nil || len(paths) != 3 {
		t.Fatalf("%v, %v", paths, err)
	}
	if st := e.answers(paths); len(st.Hands.Turns) != 0 {
		t.Errorf("%+v", st.Hands.Turns)
	}
}

// Frames that a motor turned and that scatter give no answer. The same by hand
// give one with a doubt.
func TestDeviceScatterGivesNoAnswer(t *testing.T) {
	if testing.Short() {
		t.Skip("slow, and what runs beside what is that of TestMeasureWithMount")
	}
	for _, mount := range []bool{true, false} {
		e := newEvening(t, mount, nil)
		shots := 0
		e.on(func(name string) bool {
			if name == "startexposure" {
				if shots++; shots == 2 {
					e.fake.Mount().Move(night.Pose{Dec: 0.1 * sphere.Degree})
				}
			}
			return false
		})
		if mount {
			e.says(session.Agree)
		} else {
			e.whenever(e.turnedByHand())
		}
		paths, err := e.measure(3)
		if err != nil {
			t.Fatal(err)
		}
		if err := e.s.Measure(context.Background(), paths); err != nil {
			t.Fatal(err)
		}
		st := e.s.State()
		if mount && (st.Answer != nil || st.Refusal == nil || st.Refusal.Kind != session.DeviceScatter) {
			t.Errorf("turned by the mount: answer %+v, refusal %+v", st.Answer, st.Refusal)
		}
		if !mount && st.Answer == nil {
			t.Errorf("turned by hand: refusal %+v", st.Refusal)
		}
	}
}

// A stop in mid-turn ends the turn and all that follows.
func TestStopInMidTurn(t *testing.T) {
	e := newEvening(t, true, nil)
	e.says(session.Agree)
	polls := 0
	e.on(func(name string) bool {
		if name == "rightascension" && e.fake.Moving() > 2.5 {
			if polls++; polls == 10 {
				e.Key(' ')
			}
		}
		return false
	})
	_, err := e.measure(3)
	if !errors.Is(err, ErrStopped) {
		t.Fatal(err)
	}
	turns := e.Status().Turns
	if len(turns) != 1 || turns[0].StoppedBy != "user" || turns[0].Reported > 10*sphere.Degree {
		t.Errorf("%+v", turns)
	}
	if err := Ended(err, "x"); !strings.Contains(err.Error(), "stopped by you") {
		t.Error(err)
	}
	if !e.fake.Mount().Tracking() {
		t.Error("tracking was not restored")
	}
}

func TestDeclined(t *testing.T) {
	e := newEvening(t, true, nil)
	e.says(session.Decline)
	_, err := e.measure(3)
	if device.KindOf(err) != device.NoConsent || !strings.Contains(Ended(err, "x").Error(), "nothing was moved") {
		t.Fatal(err)
	}
	for _, c := range e.fake.Calls() {
		if c.Name == "moveaxis" {
			t.Error("the mount was moved")
		}
	}
}

// Ctrl-C at the question ends it all, and nothing is asked any more: what tells the
// status finds no question without its words.
func TestEndedAtTheQuestion(t *testing.T) {
	e := newEvening(t, true, nil)
	scout, err := e.s.Scout()
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	e.whenever(func(h session.Handling) {
		if h.Ask != nil {
			cancel()
		}
	})
	if _, err := e.Measure(ctx, scout, 3); err == nil {
		t.Error("no error")
	}
	if h := e.Status(); h.Doing == session.Asking || h.Ask != nil {
		t.Errorf("after the end it is %s, with the question %+v", h.Doing, h.Ask)
	}
}

// While no frame was recognised nothing moves; each is exposed longer than the one
// before, up to the longest, and that is told.
func TestNoTurnBeforeAFrameIsRecognised(t *testing.T) {
	spec := turnable(t)
	spec.Camera.Exposure = time.Millisecond // shows no stars
	e := newEveningOf(t, spec, true, func(_ *evening, c *Config) {
		c.Agreed, c.Fixed, c.Shot.Time, c.Longest = true, false, time.Second, 3*time.Second
	})
	paths, err := e.measure(3)
	var un *Unseen
	if !errors.As(err, &un) || len(paths) != mostTries || un.Advice() == "" {
		t.Fatalf("%v after %d photographs", err, len(paths))
	}
	var exposures []string
	for _, c := range e.fake.Calls() {
		if c.Name == "moveaxis" {
			t.Error("the mount was moved")
		}
		if c.Name == "startexposure" {
			exposures = append(exposures, c.Values["Duration"]...)
		}
	}
	if strings.Join(exposures, " ") != "1 2 3 3" || e.Status().Exposure != 3*time.Second {
		t.Errorf("exposures %v", exposures)
	}
}

// live runs a session that the hands serve, until the test ends.
func (e *evening) live() *witness {
	e.t.Helper()
	w := &witness{t: e.t, states: make(chan session.State, 1000)}
	r := &session.Run{Session: e.s, Now: e.clock.Now, Watch: watch.New(e.c.Folder.Dir, watch.Options{}), Actions: make(chan session.Action, 4), Views: []session.View{e.Hands, w}}
	ctx, cancel := context.WithCancel(context.Background())
	var all sync.WaitGroup
	all.Go(func() { r.Watch.Run(ctx) })
	all.Go(func() {
		if err := r.Until(ctx); err != nil {
			e.t.Error(err)
		}
	})
	all.Go(func() { e.Run(ctx) })
	e.t.Cleanup(func() { cancel(); all.Wait() })
	return w
}

// witness sees what a run shows.
type witness struct {
	t      *testing.T
	states chan session.State
}

func (w *witness) Frame(st session.State) { w.states <- st }
func (w *witness) Show(st session.State)  { w.states <- st }

// until waits for a state of which ok is true.
func (w *witness) until(what string, ok func(*session.State) bool) session.State {
	w.t.Helper()
	late := time.After(60 * time.Second)
	var last session.State
	for {
		select {
		case st := <-w.states:
			if last = st; ok(&st) {
				return st
			}
		case <-late:
			w.t.Fatalf("waited for %s; at last %+v", what, last.Hands)
		}
	}
}

func halted(st *session.State) bool { return st.Hands.Doing == session.Halted }

// The whole of it: measured with the mount turned by pintle, then six positions of
// the bolts, each within 0.7 arcminutes of the truth.
func TestLive(t *testing.T) {
	e := newEvening(t, true, nil)
	w := e.live()
	yes := func(number int) session.State {
		st := w.until("a question", func(st *session.State) bool { return st.Hands.Ask != nil && st.Hands.Ask.Number > number })
		e.Key('y')
		return st
	}
	first := yes(0)
	yes(first.Hands.Ask.Number)
	st := w.until("an answer of three frames", func(st *session.State) bool { return st.Answer != nil && st.Sightings >= 3 })
	if len(st.Hands.Turns) != 2 || st.Last.TakenBy != "Invented camera" || st.Phase != session.Measuring {
		t.Errorf("%d turns, taken by %q, %s", len(st.Hands.Turns), st.Last.TakenBy, st.Phase)
	}
	e.true(&st)
	bolts := [][2]float64{{20, 0}, {-30, 0}, {0, 25}, {5, -40}, {-3, 4}, {0.5, 0.5}}
	if testing.Short() {
		bolts = bolts[:1]
	}
	for i, b := range bolts {
		// Between exposures: a bolt turned in the middle of one is no position of it.
		e.Key(' ')
		st = w.until("a halt", halted)
		if err := e.fake.Mount().Move(night.Pose{Alt: sphere.Angle(b[0]) * sphere.Arcminute, Az: sphere.Angle(b[1]) * sphere.Arcminute}); err != nil {
			t.Fatal(err)
		}
		count := st.Count
		e.Key('g')
		st = w.until("a frame", func(st *session.State) bool { return st.Count > count && st.Last.In() && st.Answer != nil && !st.Old })
		truth, err := e.fake.Mount().Truth(e.clock.Now())
		if err != nil {
			t.Fatal(err)
		}
		miss := st.Answer.Axis.Sep(truth.Axis)
		t.Logf("bolts at position %d: off by %.2f'", i+1, miss.Arcminutes())
		if miss > 0.7*sphere.Arcminute {
			t.Errorf("bolts at position %d: the axis is off by %.2f'", i+1, miss.Arcminutes())
		}
	}
	if n := len(e.Status().Turns); n != 2 {
		t.Errorf("%d turns", n)
	}
}

// A turn that is declined leaves RA to the person, until it is given back.
func TestDeclinedAndGivenBack(t *testing.T) {
	e := newEvening(t, true, nil)
	w := e.live()
	asks := func(st *session.State) bool { return st.Hands.Ask != nil }
	w.until("a question", asks)
	e.Key('x')
	st := w.until("RA left", func(st *session.State) bool { return st.Hands.Left })
	if st.Hands.Trouble != nil {
		t.Error(st.Hands.Trouble)
	}
	count := st.Count
	w.until("another photograph", func(st *session.State) bool { return st.Count > count })
	e.Key('g')
	w.until("another question", asks)
	for _, c := range e.fake.Calls() {
		if c.Name == "moveaxis" {
			t.Error("the mount was moved")
		}
	}
}

// What is refused before anything moves leaves RA to the person; photographs go on.
func TestRefusedTurnIsLeftToThePerson(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*evening, *Config)
		kind   device.Kind
	}{
		"parked": {func(e *evening, _ *Config) { e.fake.Parked = true }, device.Parked},
		"low":    {func(_ *evening, c *Config) { c.Turner.Limits.Lowest = 80 * sphere.Degree }, device.Low},
	} {
		if name == "low" && testing.Short() {
			continue
		}
		e := newEvening(t, true, c.change)
		w := e.live()
		st := w.until("trouble", func(st *session.State) bool { return st.Hands.Left })
		if device.KindOf(st.Hands.Trouble) != c.kind {
			t.Errorf("%s: %v", name, st.Hands.Trouble)
		}
		count := st.Count
		w.until("another photograph", func(st *session.State) bool { return st.Count > count })
	}
}

// The camera goes away, comes back, and the folder cannot be written: each halts,
// says so, and goes on when the person says so.
func TestCameraGoneAndDiskFull(t *testing.T) {
	e := newEvening(t, false, nil)
	e.on(func(name string) bool { return name == "imageready" })
	w := e.live()
	st := w.until("a halt", func(st *session.State) bool { return halted(st) && st.Hands.Trouble != nil })
	if device.KindOf(st.Hands.Trouble) != device.Gone {
		t.Error(st.Hands.Trouble)
	}
	e.on(func(string) bool { return false })
	e.Key('g')
	w.until("a frame", func(st *session.State) bool { return st.Count > 0 })
	e.Key(' ')
	st = w.until("a halt", halted)
	dir := e.c.Folder.Dir
	away := dir + "-away"
	if err := errors.Join(os.Rename(dir, away), os.WriteFile(dir, nil, 0o644)); err != nil { // no folder at all
		t.Fatal(err)
	}
	e.Key('g')
	st = w.until("a halt", func(st *session.State) bool { return halted(st) && st.Hands.Trouble != nil })
	if device.KindOf(st.Hands.Trouble) != shoot.NoRoom {
		t.Error(st.Hands.Trouble)
	}
	if err := errors.Join(os.Remove(dir), os.Rename(away, dir)); err != nil {
		t.Fatal(err)
	}
	count := st.Count
	e.Key('g')
	w.until("a frame", func(st *session.State) bool { return st.Count > count })
}
