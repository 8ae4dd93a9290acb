package evening

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"net/http/httptest"
	"os"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"pintle/cmd/night"
	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/device"
	"pintle/cmd/pintle/device/alpaca"
	"pintle/cmd/pintle/device/fake"
	"pintle/cmd/pintle/hands"
	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/session"
	"pintle/index/sphere"
)

// stage is an evening with a pretended camera and mount, whose clock runs when somebody
// waits.
type stage struct {
	*Evening
	t     *testing.T
	fake  *fake.Server
	clock *fake.Clock
	seen  chan session.State
}

func (s *stage) Frame(st session.State) { s.seen <- st }
func (s *stage) Show(st session.State)  { s.seen <- st }

func newStage(t *testing.T, change func(*stage, *night.Spec)) *stage {
	t.Helper()
	spec := fake.Tonight(time.Date(2026, 11, 28, 20, 0, 0, 0, time.UTC), 1, true)
	spec.Camera.W, spec.Camera.H, spec.Camera.Pixel = spec.Camera.W/2, spec.Camera.H/2, spec.Camera.Pixel*2
	s := &stage{t: t, clock: fake.NewClock(spec.Start), seen: make(chan session.State, 10000)}
	s.fake = &fake.Server{Now: s.clock.Now, Idle: s.clock.Pass}
	if change != nil {
		change(s, &spec)
	}
	var err error
	if s.fake.Night, err = night.New(spec); err != nil {
		t.Fatal(err)
	}
	server := httptest.NewServer(s.fake)
	t.Cleanup(server.Close)
	t.Cleanup(s.stands)
	host := strings.TrimPrefix(server.URL, "http://")
	s.Evening = begun(t, func(c *Config) {
		c.Now, c.Photos = s.clock.Now, &session.Photographs{Solver: fake.Solver(), Now: s.clock.Now}
		c.Views = []session.View{s}
		c.Hands = func(ctx context.Context, task Task) (*hands.Hands, func() error, error) {
			return s.hands(ctx, host, task)
		}
		c.Shooter = func(context.Context, string, time.Duration, string) (Shooter, error) {
			return nil, errors.New("not in this test")
		}
	})
	gear := "[default]\ncamera = \"finder\"\nmount = \"fork\"\n[camera.finder]\nfocal_mm = 200.0\npixel_um = 3.76\nat = \"alpaca://127.0.0.1:1/camera/0\"\n[mount.fork]\nat = \"alpaca://127.0.0.1:1/telescope/0\"\n"
	if err := os.WriteFile(s.c.Gear, []byte(gear), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := s.setPlace(placeOf(spec.Site, "the test")); err != nil {
		t.Fatal(err)
	}
	return s
}

// hands are those of the verb, without its addresses and its second process.
func (s *stage) hands(ctx context.Context, host string, task Task) (*hands.Hands, func() error, error) {
	if task.Camera != "alpaca://127.0.0.1:1/camera/0" || task.Mount != "alpaca://127.0.0.1:1/telescope/0" {
		s.t.Errorf("opened %+v", task)
	}
	c := task.Hands
	c.Clock, c.Fixed = s.clock, true
	c.Camera = func(ctx context.Context) (device.Camera, error) { return alpaca.OpenCamera(ctx, host, 0, s.clock.Now) }
	m, err := alpaca.OpenMount(ctx, host, 0, s.clock.Now)
	if err != nil {
		return nil, nil, err
	}
	c.Turner = &device.Turner{Mount: m, Clock: s.clock, Limits: device.Usual, Unpark: task.Unpark}
	if task.Lowest > 0 {
		c.Turner.Limits.Lowest = task.Lowest
	}
	return hands.New(c), m.Close, nil
}

// stands makes sure that nothing was ever told a place to go, a site or a time, and
// that the mount stands.
func (s *stage) stands() {
	for _, name := range s.fake.Forbidden("unpark") {
		s.t.Errorf("%s was called", name)
	}
	if s.fake.Moving() != 0 {
		s.t.Error("the mount still moves")
	}
}

// moved reports whether the mount was ever told to move.
func (s *stage) moved() bool {
	return slices.ContainsFunc(s.fake.Calls(), func(c fake.Call) bool { return c.Name == "moveaxis" && c.Values["Rate"][0] != "0" })
}

// run runs the evening; end ends it.
func (s *stage) run() (end func()) {
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		if err := s.Run(ctx); err != nil {
			s.t.Error(err)
		}
	}()
	end = sync.OnceFunc(func() { cancel(); <-done })
	s.t.Cleanup(end)
	return end
}

// begins asks for photographs and turns, once the evening runs.
func (s *stage) begins(w TurnWish) {
	s.t.Helper()
	var err error
	for end := time.Now().Add(20 * time.Second); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		if err = s.Turn(w); err == nil {
			return
		}
	}
	s.t.Fatal(err)
}

// until waits for a state that is shown.
func (s *stage) until(what string, ok func(*session.State) bool) session.State {
	s.t.Helper()
	var last session.State
	for late := time.After(60 * time.Second); ; {
		select {
		case last = <-s.seen:
			if ok(&last) {
				return last
			}
		case <-late:
			s.t.Fatalf("waited for %s; at last %+v, %+v", what, last.Hands, s.Summary().Shooting)
		}
	}
}

func (s *stage) asked(after int) session.State {
	s.t.Helper()
	return s.until("a question", func(st *session.State) bool {
		return st.Hands != nil && st.Hands.Ask != nil && st.Hands.Ask.Number > after
	})
}

func (s *stage) says(name session.ActionName, number int) {
	s.t.Helper()
	if !s.Urgent(session.Action{Name: name, Value: float64(number)}) {
		s.t.Errorf("%s is not taken", name)
	}
}

func isHalted(st *session.State) bool { return st.Hands != nil && st.Hands.Doing == session.Halted }

// over is the state in which nothing is commanded any more.
func (s *stage) over() session.State {
	s.t.Helper()
	return s.until("the end", func(st *session.State) bool { return st.Hands == nil && !s.Summary().Shooting.On })
}

var three = TurnWish{Exposure: 2, Frames: 3, Turn: 20}

// The evening photographs and has the mount turn RA, after a question each time; then
// nothing turns any more. Who took what, and how RA was turned, is kept and recorded.
func TestPhotographAndTurn(t *testing.T) {
	s := newStage(t, nil)
	s.run()
	s.begins(three)
	q := s.asked(0)
	if a := q.Hands.Ask; a.Angle != 20*sphere.Degree || a.Time == 0 || a.Rate == 0 || s.moved() {
		t.Errorf("asked %+v; moved %v", a, s.moved())
	}
	if err := s.UseGear("", ""); err == nil || advice.Of(err) == "" {
		t.Errorf("gear is changed meanwhile: %v", err)
	}
	s.says(session.Agree, 0) // of no question
	s.says(session.Agree, q.Hands.Ask.Number)
	s.says(session.Agree, s.asked(q.Hands.Ask.Number).Hands.Ask.Number)
	st := s.over()
	if st.Answer == nil || st.Sightings != 3 {
		t.Fatalf("%d frames, refusal %+v", st.Sightings, st.Refusal)
	}
	truth, err := s.fake.Mount().Truth(s.clock.Now())
	if err != nil {
		t.Fatal(err)
	}
	if miss, stated := st.Answer.Axis.Sep(truth.Axis), st.Answer.Offset.Err.Total; miss > max(3*stated, 0.1*sphere.Arcminute) {
		t.Errorf("the axis is off by %.1f\", stated %.1f\"", miss.Arcseconds(), stated.Arcseconds())
	}
	sum := s.Summary()
	if sum.Shooting.On || sum.Shooting.Trouble != nil || sum.Shooting.Mount != "fork" || sum.Shooting.Undone != "" || len(sum.Photographs) != 3 {
		t.Errorf("%+v, %d photographs", sum.Shooting, len(sum.Photographs))
	}
	var turns []journal.Turn
	for _, p := range sum.Photographs {
		if turns = append(turns, p.Turns...); p.TakenBy != "Invented camera" || p.State != In {
			t.Errorf("%+v", p)
		}
	}
	for _, x := range turns {
		if x.Asked != 20 || x.StoppedBy != "angle" || x.Measured == nil || math.Abs(*x.Measured-x.Reported) > 0.3 {
			t.Errorf("%+v", x)
		}
	}
	if len(turns) != 2 {
		t.Errorf("%d turns", len(turns))
	}
	records, _, err := journal.Read(s.c.Journal)
	if last := records[len(records)-1]; err != nil || len(last.Turns) != 2 || last.Frames[0].By != "Invented camera" {
		t.Errorf("recorded %+v, %v", last, err)
	}
	// After a restart as well.
	again, err := Open(s.c)
	if err != nil {
		t.Fatal(err)
	}
	if n := len(again.command.Status().Turns); n != 2 || again.command.TakenBy("x/"+sum.Photographs[0].Name) != "Invented camera" {
		t.Errorf("after a restart: %d turns", n)
	}
	b, _ := json.Marshal(again.Summary())
	for _, want := range []string{`"taken_by":"Invented camera"`, `"asked_deg":20`, `"measured_deg":`, `"stopped_by":"angle"`} {
		if !strings.Contains(string(b), want) {
			t.Errorf("the summary has no %s", want)
		}
	}
}

// A stop in mid-turn has the mount stand, whatever else is being worked on; it goes on
// when the person says so, and asks anew.
func TestStopWhileItTurns(t *testing.T) {
	s := newStage(t, nil)
	var stops atomic.Int32
	s.fake.Fail = func(name string) bool {
		if name == "rightascension" && s.fake.Moving() > 2.5 && stops.Add(1) == 5 {
			// Whoever has the evening for something else is not waited for.
			s.mu.Lock()
			s.Urgent(session.Action{Name: session.Stop})
			s.mu.Unlock()
		}
		return false
	}
	s.run()
	s.begins(three)
	q := s.asked(0)
	s.says(session.Agree, q.Hands.Ask.Number)
	st := s.until("a halt", func(st *session.State) bool { return isHalted(st) && len(st.Hands.Turns) == 1 })
	if x := st.Hands.Turns[0]; x.StoppedBy != "user" || x.Reported > 10*sphere.Degree || s.fake.Moving() != 0 {
		t.Errorf("%+v, moving at %g", x, s.fake.Moving())
	}
	s.says(session.GoOn, 0)
	s.says(session.Decline, s.asked(q.Hands.Ask.Number).Hands.Ask.Number)
	s.until("RA left to the person", func(st *session.State) bool { return st.Hands != nil && st.Hands.Doing == session.HandTurn })
	if err := s.Shoot(false, 0, false); err != nil {
		t.Error(err)
	}
	s.over()
}

// Declined, refused by a limit: the person turns RA, and it is measured all the same.
func TestTurnedByThePerson(t *testing.T) {
	if testing.Short() {
		t.Skip("slow, and what runs beside what is that of TestPhotographAndTurn")
	}
	s := newStage(t, func(s *stage, _ *night.Spec) { s.fake.Parked = true })
	s.run()
	s.begins(TurnWish{Exposure: 2, Frames: 2, Turn: 20})
	st := s.until("RA left to the person", func(st *session.State) bool { return st.Hands != nil && st.Hands.Doing == session.HandTurn })
	if device.KindOf(st.Hands.Trouble) != device.Parked || s.moved() {
		t.Errorf("%v; moved %v", st.Hands.Trouble, s.moved())
	}
	s.fake.Mount().Move(night.Pose{Turn: 20 * sphere.Degree})
	s.says(session.GoOn, 0)
	st = s.over()
	if st.Sightings != 2 || s.moved() || len(s.command.Status().Turns) != 0 {
		t.Errorf("%d frames, %+v", st.Sightings, s.command.Status())
	}
	// What is asked for beyond the limits is refused at once.
	for _, w := range []TurnWish{{2, 3, 46, 0, false}, {2, 3, math.NaN(), 0, false}, {2, 6, 40, 0, false}, {2, 1, 20, 0, false}, {2, 9, 5, 0, false}, {0, 3, 20, 0, false}, {2, 3, 20, 2, false}, {2, 3, -20, 0, false}} {
		if err := s.Turn(w); err == nil || advice.Of(err) == "" {
			t.Errorf("%+v: %v", w, err)
		}
	}
}

// Nothing moves before a photograph was recognised.
func TestNothingTurnsInTheDark(t *testing.T) {
	if testing.Short() {
		t.Skip("slow, and what runs beside what is that of TestPhotographAndTurn")
	}
	s := newStage(t, func(_ *stage, spec *night.Spec) { spec.Camera.Exposure = time.Millisecond })
	s.run()
	s.begins(three)
	st := s.until("a halt", isHalted)
	var un *hands.Unseen
	if !errors.As(st.Hands.Trouble, &un) || s.moved() {
		t.Errorf("%v; moved %v", st.Hands.Trouble, s.moved())
	}
}

// A program that ends in mid-turn has the mount stand first. The next one says so, and
// turns nothing by itself; one that photographed on and on asks whether to go on.
func TestNothingTurnsByItselfAfterwards(t *testing.T) {
	s := newStage(t, nil)
	end := s.run()
	s.begins(three)
	s.says(session.Agree, s.asked(0).Hands.Ask.Number)
	s.until("a turn", func(st *session.State) bool { return st.Hands != nil && st.Hands.Doing == session.Turning })
	end()
	if s.fake.Moving() != 0 {
		t.Error("the mount moves on")
	}
	orders := func() (n int) { // what asks only may still be on its way
		for _, c := range s.fake.Calls() {
			if c.HTTP == "PUT" {
				n++
			}
		}
		return n
	}
	given := orders()
	again, err := Open(s.c)
	if err != nil {
		t.Fatal(err)
	}
	sh := again.Summary().Shooting
	if sh == nil || sh.On || sh.Resume || !strings.Contains(sh.Undone, "Nothing turns by itself") || orders() != given {
		t.Errorf("%+v, %d orders more", sh, orders()-given)
	}
	if err := again.Shoot(false, 0, false); err != nil || again.Summary().Shooting.Undone != "" {
		t.Errorf("read: %v", err)
	}
	again.kept.Undone = &undone{Exposure: 4}
	if sh := again.Summary().Shooting; !sh.Resume || sh.Exposure != 4 || !strings.Contains(sh.Undone, "Go on?") {
		t.Errorf("%+v", sh)
	}
}
