package device

import (
	"context"
	"errors"
	"io"
	"math"
	"strings"
	"testing"
	"time"

	"pintle/axis/place"
	"pintle/index/sphere"
)

// A dark hour at an invented site: 2026-11-28 22:00 UTC, 50 north, 10 east.
var (
	night = time.Date(2026, 11, 28, 22, 0, 0, 0, time.UTC)
	north = place.Site{Lat: 50 * sphere.Degree, Lon: 10 * sphere.Degree}
)

// stage is a turner over a fake mount whose camera looks at an hour angle and a
// declination, in degrees.
type stage struct {
	*Turner
	mount *fakeMount
	clock *fakeClock
	asked []Question
	way   Direction
}

func newStage(t *testing.T, site place.Site, ha, dec float64) *stage {
	t.Helper()
	return newStageAt(t, night, site, ha, dec)
}

func newStageAt(t *testing.T, now time.Time, site place.Site, ha, dec float64) *stage {
	t.Helper()
	s := &stage{clock: &fakeClock{now: now}}
	s.mount = &fakeMount{clock: s.clock, ha: sphere.Angle(ha) * sphere.Degree, dec: sphere.Angle(dec) * sphere.Degree, tracking: true,
		speeds: Speeds{Ranges: []Range{{0.001, DegreesPerSecond(4)}}}}
	s.Turner = &Turner{Mount: s.mount, Clock: s.clock, Limits: Usual, Agree: func(_ context.Context, q Question) error {
		s.asked = append(s.asked, q)
		return nil
	}}
	s.look(t, site)
	return s
}

// look tells the turner a recognised frame of where the mount points.
func (s *stage) look(t *testing.T, site place.Site) {
	t.Helper()
	if err := s.Seen(context.Background(), s.pointing(t, site)); err != nil {
		t.Fatal(err)
	}
}

func (s *stage) pointing(t *testing.T, site place.Site) Pointing {
	t.Helper()
	s.mount.run()
	pl, err := place.At(s.clock.now, site, place.Air{})
	if err != nil {
		t.Fatal(err)
	}
	e := equatorial{ha: s.mount.ha, dec: s.mount.dec, lat: site.Lat}
	alt := e.altitude(0)
	// Azimuth from north through east (spherical triangle of pole, zenith, star).
	az := math.Atan2(-e.dec.Cos()*e.ha.Sin(), (e.dec.Sin()-alt.Sin()*site.Lat.Sin())/site.Lat.Cos())
	return Pointing{Camera: "finder", Sky: pl.Catalogue(sphere.LocalAt(sphere.Angle(az), alt)), At: s.clock.now, Site: site}
}

func (s *stage) turn(deg float64) (Turned, error) {
	return s.Turn(context.Background(), Request{Angle: sphere.Angle(deg) * sphere.Degree, Direction: s.way})
}

// want fails the test unless err is a Fault of the kind that says what to do.
func want(t *testing.T, err error, k Kind) {
	t.Helper()
	var f *Fault
	if !errors.As(err, &f) || f.Kind != k {
		t.Fatalf("got %v, want %q", err, k)
	}
	if f.Try == "" || f.Text == "" {
		t.Errorf("%q says %q, advises %q", k, f.Text, f.Try)
	}
}

// still fails the test unless the mount was never moved.
func (s *stage) still(t *testing.T) {
	t.Helper()
	if !s.mount.moved.IsZero() {
		t.Error("the mount was moved")
	}
}

func (s *stage) stands(t *testing.T) {
	t.Helper()
	if s.mount.west != 0 {
		t.Error("the mount still moves")
	}
}

func TestTurn(t *testing.T) {
	for _, c := range []struct {
		ha, dec float64
		south   bool
		dir     Direction
	}{{20, 40, false, West}, {-20, 40, false, East}, {-30, -50, true, East}, {150, 65, false, East}} {
		site, now := north, night
		if c.south {
			site = place.Site{Lat: -35 * sphere.Degree, Lon: 140 * sphere.Degree}
			now = night.Add(-8 * time.Hour)
		}
		s := newStageAt(t, now, site, c.ha, c.dec)
		got, err := s.turn(20)
		if err != nil {
			t.Fatalf("%+v: %v", c, err)
		}
		s.stands(t)
		q := s.asked[0]
		if got.Direction != c.dir || q.Direction != c.dir || got.StoppedBy != ByAngle {
			t.Errorf("%+v: turned %v, stopped by %s", c, got.Direction, got.StoppedBy)
		}
		if d := got.Reported.Degrees(); math.Abs(d-20) > 0.5 {
			t.Errorf("%+v: turned %.2f degrees", c, d)
		}
		if r := got.Rate.Degrees(); math.Abs(r-3) > 0.05 || math.Abs(q.Rate.Degrees()-3) > 1e-9 {
			t.Errorf("%+v: at %.2f degrees/s", c, r)
		}
		if !s.mount.tracking {
			t.Error("tracking was not restored")
		}
	}
}

// What the solved frames say of a turn is what the mount did.
func TestMeasuredTurn(t *testing.T) {
	s := newStage(t, north, 20, 40)
	before, ha := s.pointing(t, north), s.mount.ha
	if _, err := s.turn(20); err != nil {
		t.Fatal(err)
	}
	after := s.pointing(t, north)
	d, err := before.Turned(after)
	if err != nil || (d-(s.mount.ha-ha)).Abs() > 0.02*sphere.Degree {
		t.Errorf("measured %v, turned %v (%v)", d, s.mount.ha-ha, err)
	}
}

func TestRefusals(t *testing.T) {
	for _, c := range []struct {
		name    string
		ha, dec float64
		change  func(*stage)
		deg     float64
		kind    Kind
	}{
		{"no frame", 20, 40, func(s *stage) { s.seen = nil }, 20, NotSeen},
		{"old frame", 20, 40, func(s *stage) { s.clock.now = s.clock.now.Add(6 * time.Minute) }, 20, NotSeen},
		{"too low", 60, 10, func(s *stage) { s.way = West }, 20, Low},
		{"too low by the watchdog's reach", 51, 10, func(s *stage) { s.way = West }, 16, Low},
		{"near the pole", 20, 85, nil, 20, NearPole},
		{"more than a turn", 20, 40, nil, 46, TooMuch},
		{"nothing", 20, 40, nil, math.NaN(), TooMuch},
		{"parked", 20, 40, func(s *stage) { s.mount.parked = true }, 20, Parked},
		{"someone else slews", 20, 40, func(s *stage) { s.mount.slewing = true }, 20, Moved},
		{"wrong side of the pier", 20, 40, func(s *stage) { s.mount.pier = PierWest }, 20, Contrary},
		{"clock of the mount", 20, 40, func(s *stage) { s.mount.ahead = -6 * time.Minute }, 20, Contrary},
		{"moved by hand", 20, 40, func(s *stage) { s.mount.ha += 2 * sphere.Degree }, 20, Moved},
		{"moved in declination", 20, 40, func(s *stage) { s.mount.dec += 2 * sphere.Degree }, 20, Moved},
		{"a no", 20, 40, func(s *stage) {
			s.Agree = func(context.Context, Question) error { return errors.New("the answer was no") }
		}, 20, NoConsent},
		{"nobody asked", 20, 40, func(s *stage) { s.Agree = nil }, 20, NoConsent},
		{"only fast rates", 20, 40, func(s *stage) { s.mount.speeds.Ranges = []Range{{DegreesPerSecond(3.5), DegreesPerSecond(8)}} }, 20, Unfit},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newStage(t, north, c.ha, c.dec)
			if c.change != nil {
				c.change(s)
			}
			_, err := s.turn(c.deg)
			want(t, err, c.kind)
			s.still(t)
		})
	}
}

func TestNoTurnInDaylight(t *testing.T) {
	s := newStageAt(t, night.Add(-11*time.Hour), north, 20, 40)
	_, err := s.turn(20)
	want(t, err, Daylight)
	s.still(t)
}

func TestMeridian(t *testing.T) {
	for _, c := range []struct {
		ha   float64
		dir  Direction
		deg  float64
		want Kind
	}{
		{40, East, 20, ""}, {25, East, 20, Meridian}, {-25, West, 20, Meridian}, {-40, West, 20, ""},
		{2, East, 10, Meridian}, {2, West, 10, ""}, {160, West, 20, Meridian}, {-160, East, 20, Meridian},
	} {
		s := newStage(t, north, c.ha, 65)
		_, err := s.Turn(context.Background(), Request{Angle: sphere.Angle(c.deg) * sphere.Degree, Direction: c.dir})
		if KindOf(err) != c.want {
			t.Errorf("hour angle %g, %g degrees %s: %v, want %q", c.ha, c.deg, c.dir, err, c.want)
		}
	}
}

// Away from the meridian it would get too low, toward it there is room.
func TestTowardTheMeridianWhenAwayIsLow(t *testing.T) {
	s := newStage(t, north, 58, 15)
	got, err := s.turn(20)
	if err != nil || got.Direction != East {
		t.Errorf("%v, %v", got.Direction, err)
	}
}

func TestNinetyDegreesARun(t *testing.T) {
	s := newStage(t, north, 10, 65)
	for range 2 {
		if _, err := s.turn(40); err != nil {
			t.Fatal(err)
		}
		s.mount.ha = 10 * sphere.Degree
		s.look(t, north)
	}
	_, err := s.turn(20)
	want(t, err, TooMuch)
}

func TestEveryTurnNeedsANewFrame(t *testing.T) {
	s := newStage(t, north, 20, 40)
	if _, err := s.turn(10); err != nil {
		t.Fatal(err)
	}
	_, err := s.turn(10)
	want(t, err, NotSeen)
}

func TestUnpark(t *testing.T) {
	s := newStage(t, north, 20, 40)
	s.mount.parked, s.Unpark = true, true
	if _, err := s.turn(10); err != nil {
		t.Fatal(err)
	}
	if !s.asked[0].Unpark {
		t.Error("the question does not tell of unparking")
	}
}

func TestEmergencyStops(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*stage)
		kind   Kind
		most   float64 // degrees moved, either way
	}{
		{"stuck", func(s *stage) { s.mount.stuck = true }, Stuck, 0.1},
		{"wrong direction", func(s *stage) { s.mount.reversed = true }, WrongWay, 1},
		{"declination", func(s *stage) { s.mount.decRate = DegreesPerSecond(0.2) }, DecMoved, 6},
		{"no position", func(s *stage) { s.mount.silent = true }, Silent, 7},
		{"too fast", func(s *stage) { s.mount.rates = []float64{7} }, TooFast, 4},
		{"link lost for good", func(s *stage) { s.mount.cutAt, s.mount.down = time.Second, time.Hour }, LinkLost, 200},
		{"link cut for 5 s", func(s *stage) { s.mount.cutAt, s.mount.down = time.Second, 5*time.Second }, LinkLost, 20},
		{"does not stop", func(s *stage) { s.mount.deaf = 1000 }, Runaway, 200},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newStage(t, north, 10, 65)
			c.change(s)
			pipe := &recorder{}
			s.Brake = Pedal{pipe}
			ha := s.mount.ha
			got, err := s.turn(20)
			want(t, err, c.kind)
			said := "armed\nreleased\n"
			if c.kind == Runaway || c.name == "link lost for good" {
				said = "armed\n" // and the brake acts when the program ends
			} else {
				s.stands(t)
			}
			if pipe.String() != said {
				t.Errorf("the brake was told %q, want %q", pipe.String(), said)
			}
			if got.StoppedBy != ByFault && c.kind != TooFast {
				t.Errorf("stopped by %q", got.StoppedBy)
			}
			if d := (s.mount.ha - ha).Abs().Degrees(); d > c.most {
				t.Errorf("moved %.1f degrees, at most %g expected", d, c.most)
			}
		})
	}
}

// A stop that is not heard is repeated until the mount stands.
func TestStopIsRepeated(t *testing.T) {
	s := newStage(t, north, 10, 65)
	s.mount.deaf = 3
	if _, err := s.turn(20); err != nil {
		t.Fatal(err)
	}
	s.stands(t)
	if s.mount.stops < 4 {
		t.Errorf("%d orders to stop", s.mount.stops)
	}
}

// The person stops the turn as the link is cut, a moment before or after: the mount
// stands within 3 s of the link's return, and tracks again.
func TestUserStopsAsTheLinkIsCut(t *testing.T) {
	const cut, down = 3 * time.Second, 7 * time.Second
	for _, after := range []time.Duration{-poll, 0, poll, time.Second} {
		s := newStage(t, north, 10, 65)
		s.mount.cutAt, s.mount.down = cut, down
		ctx, cancel := context.WithCancel(context.Background())
		defer cancel()
		s.clock.tick = func() {
			if !s.mount.moved.IsZero() && s.clock.now.Sub(s.mount.moved) >= cut+after {
				cancel()
			}
		}
		got, err := s.Turn(ctx, Request{Angle: 40 * sphere.Degree})
		if err == nil || got.StoppedBy != ByUser && KindOf(err) != LinkLost {
			t.Errorf("stopped %v after the cut: by %q, %v", after, got.StoppedBy, err)
		}
		s.stands(t)
		if took := s.clock.now.Sub(s.mount.moved) - cut - down; took > 3*time.Second {
			t.Errorf("stopped %v after the cut: it stands %v after the link is back", after, took)
		}
		if !s.mount.tracking || s.mount.reconnect == 0 {
			t.Errorf("stopped %v after the cut: tracking %v, %d new links", after, s.mount.tracking, s.mount.reconnect)
		}
	}
}

// A mount that is slower than it says is stopped by time: that is an answer,
// since the frames measure the turn.
func TestStoppedByTime(t *testing.T) {
	s := newStage(t, north, 10, 65)
	s.mount.rates = []float64{2}
	got, err := s.turn(20)
	if err != nil || got.StoppedBy != ByTime || math.Abs(got.Time.Seconds()-20.0/3*1.25) > 1.5 {
		t.Errorf("%+v, %v", got, err)
	}
}

func TestUserStops(t *testing.T) {
	s := newStage(t, north, 10, 65)
	ctx, cancel := context.WithCancel(context.Background())
	s.clock.tick = func() {
		if s.clock.now.Sub(night) > 3*time.Second {
			cancel()
		}
	}
	got, err := s.Turn(ctx, Request{Angle: 20 * sphere.Degree})
	if !errors.Is(err, context.Canceled) || got.StoppedBy != ByUser {
		t.Errorf("stopped by %q: %v", got.StoppedBy, err)
	}
	s.stands(t)
	if !s.mount.tracking {
		t.Error("tracking was not restored")
	}
	if d := got.Reported.Degrees(); d < 7 || d > 10 {
		t.Errorf("turned %.1f degrees in 3 s at 3 degrees/s", d)
	}
}

func TestPanicStops(t *testing.T) {
	s := newStage(t, north, 10, 65)
	s.mount.panics = true
	func() {
		defer func() {
			if recover() == nil {
				t.Error("the panic was swallowed")
			}
		}()
		s.turn(20)
	}()
	s.stands(t)
}

// Rates without a unit are tried from the slowest on; the first that is too fast
// is not used, and later turns do not try again.
func TestRatesWithoutAUnit(t *testing.T) {
	for _, every := range []time.Duration{0, 250 * time.Millisecond, time.Second} {
		s := newStage(t, north, 10, 65)
		s.mount.every = every
		s.mount.speeds = Speeds{Steps: []string{"guide", "centre", "find", "max"}}
		s.mount.rates = []float64{0.004, 0.3, 2, 8}
		got, err := s.turn(20)
		if err != nil {
			t.Fatal(err)
		}
		if r := got.Rate.Degrees(); math.Abs(r-2) > 0.1 || s.speed.Step != 2 {
			t.Errorf("positions every %v: %.2f degrees/s, step %d", every, r, s.speed.Step)
		}
		if d := got.Reported.Degrees(); math.Abs(d-20) > 2.5 {
			t.Errorf("positions every %v: turned %.2f degrees", every, d)
		}
		if s.asked[0].Rate != 0 {
			t.Error("a rate was promised")
		}
		s.mount.ha, s.mount.rates, s.mount.said = 10*sphere.Degree, []float64{0, 0, 2, 0}, Position{}
		s.look(t, north)
		if _, err := s.turn(20); err != nil {
			t.Errorf("second turn: %v", err)
		}
	}
}

func TestNoStepMoves(t *testing.T) {
	s := newStage(t, north, 10, 65)
	s.mount.speeds, s.mount.rates, s.mount.stuck = Speeds{Steps: []string{"slow", "fast"}}, []float64{0.1, 1}, true
	_, err := s.turn(20)
	want(t, err, Stuck)
	s.stands(t)
}

// A standard that leaves the sign open: it is found out slowly.
func TestSignIsFoundOut(t *testing.T) {
	for _, reversed := range []bool{false, true} {
		s := newStage(t, north, 10, 65)
		s.mount.speeds.Signless, s.mount.reversed = true, reversed
		got, err := s.turn(20)
		if err != nil || math.Abs(got.Reported.Degrees()-20) > 0.5 {
			t.Errorf("reversed %v: %v, %v", reversed, got.Reported, err)
		}
	}
}

func TestBrake(t *testing.T) {
	for _, c := range []struct {
		said   string
		braked bool
	}{{"", false}, {"armed\n", true}, {"armed\nreleased\n", false}, {"armed\nreleased\narmed\n", true}, {"armed\nreleased\ngoodbye\n", false}, {"armed\ngoodbye\n", true}} {
		clock := &fakeClock{now: night}
		m := &fakeMount{clock: clock, west: DegreesPerSecond(3)}
		tries := 0
		braked, err := HoldBrake(context.Background(), strings.NewReader(c.said), clock, func(context.Context) (Mount, error) {
			if tries++; tries < 3 {
				return nil, errCut
			}
			return m, nil
		})
		if err != nil || braked != c.braked || (m.west == 0) != c.braked {
			t.Errorf("%q: braked %v, rate %v, %v", c.said, braked, m.west, err)
		}
	}
}

type recorder struct {
	strings.Builder
	err error
}

func (r *recorder) Write(b []byte) (int, error) {
	if r.err != nil {
		return 0, r.err
	}
	return r.Builder.Write(b)
}
func (r *recorder) Close() error { return nil }

func TestTurnWorksTheBrake(t *testing.T) {
	s := newStage(t, north, 20, 40)
	pipe := &recorder{}
	s.Brake = Pedal{pipe}
	if _, err := s.turn(10); err != nil {
		t.Fatal(err)
	}
	if pipe.String() != "armed\nreleased\n" {
		t.Errorf("the brake was told %q", pipe.String())
	}
	s.look(t, north)
	pipe.err = io.ErrClosedPipe
	ha := s.mount.ha
	_, err := s.turn(10)
	want(t, err, Unfit)
	if s.mount.ha != ha {
		t.Error("moved without a brake")
	}
}
