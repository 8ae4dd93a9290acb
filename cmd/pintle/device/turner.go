package device

import (
	"context"
	"time"

	"pintle/index/sphere"
)

// Turner turns the RA axis between photographs. Each turn needs a frame that
// was recognised since the one before. It is used by one goroutine at a time.
type Turner struct {
	Mount  Mount
	Clock  Clock
	Limits Limits
	// Agree asks the user; an error is a no. Nothing moves before.
	Agree  func(context.Context, Question) error
	Unpark bool // a parked mount may be unparked, after consent
	// Brake stops the mount when this process dies; nil for none.
	Brake Brake
	// Progress is told, as often as the mount tells its position, how far a turn has
	// come; nil for nobody. It must not wait.
	Progress func(sphere.Angle)

	seen  *Pointing
	at    Position     // of the mount when the frame was told
	spent sphere.Angle // of Limits.Run
	loose bool         // after a motion the mount was not known to stand
	speed Speed        // found out in an earlier turn
	rate  Rate         // what that speed gives, 0 when not known yet
	begun Position     // of the mount when the turn began
}

// Brake is told when a turn starts and when the mount is known to stand.
type Brake interface {
	Arm() error
	Release() error
}

// Question is what the user has to agree to.
type Question struct {
	Mount     string
	Angle     sphere.Angle
	Direction Direction
	Rate      Rate          // expected; 0 when the mount's rates have no unit
	Limit     Rate          // never faster
	Time      time.Duration // expected; at the limit when the rate is not known
	Unpark    bool
	Unbraked  bool // nothing stops the mount when this process dies
}

// Request asks for a turn.
type Request struct {
	Angle     sphere.Angle // above 0
	Direction Direction    // 0: away from the meridian when that is possible
}

// Stopped says what ended a turn.
type Stopped string

// What ended a turn.
const (
	ByAngle Stopped = "angle"
	ByTime  Stopped = "time"
	ByLimit Stopped = "limit"
	ByUser  Stopped = "user"
	ByFault Stopped = "fault"
)

// Turned tells of a turn that was made, or begun.
type Turned struct {
	Asked     sphere.Angle
	Reported  sphere.Angle // by the mount, along Direction, after it stood still
	Direction Direction
	Rate      Rate // reported, while it ran
	Time      time.Duration
	StoppedBy Stopped
}

// Seen tells that a frame has been recognised, soon after it was taken. The
// mount is asked where it believes to be, so that a later move shows.
func (t *Turner) Seen(ctx context.Context, p Pointing) error {
	t.seen = nil
	at, err := t.Mount.Position(ctx)
	if err != nil {
		return lost(err)
	}
	t.seen, t.at = &p, at
	return nil
}

// Turn asks for consent and turns the RA axis. A Fault says which rule refused
// or stopped it; Turned tells what was moved even then. When ctx ends the mount
// is stopped, confirmed to stand, and the error of ctx is returned.
func (t *Turner) Turn(ctx context.Context, r Request) (out Turned, err error) {
	q, err := t.plan(ctx, r)
	if err != nil {
		return Turned{}, err
	}
	if err := t.agree(ctx, q); err != nil {
		return Turned{}, err
	}
	state, err := t.ready(ctx)
	if err != nil {
		return Turned{}, err
	}
	t.seen = nil // whatever happens now, the next turn needs a new frame
	if t.Brake != nil {
		if err := t.Brake.Arm(); err != nil {
			return Turned{}, &Fault{Kind: Unfit, Text: "the brake cannot be armed", Try: "start pintle again; nothing was moved", Err: err}
		}
	}
	r.Direction = q.Direction
	out, err = t.turn(ctx, r, state)
	t.spent += out.Reported.Abs()
	if t.Brake != nil && !t.loose { // else the brake acts when this program ends
		if e := t.Brake.Release(); err == nil && e != nil {
			err = &Fault{Kind: Unfit, Text: "the brake does not answer", Try: "the mount stands; start pintle again", Err: e}
		}
	}
	return out, err
}

// plan works out the turn and refuses it if it leaves the limits.
func (t *Turner) plan(ctx context.Context, r Request) (Question, error) {
	q := Question{Mount: t.Mount.Name(), Angle: r.Angle, Limit: t.Limits.Rate, Unbraked: t.Brake == nil}
	if err := t.checkAngle(r.Angle); err != nil {
		return q, err
	}
	e, err := t.checkSky()
	if err != nil {
		return q, err
	}
	if q.Rate, err = t.expected(); err != nil {
		return q, err
	}
	s, err := t.Mount.State(ctx)
	if err != nil {
		return q, lost(err)
	}
	if err := t.checkState(e, s); err != nil {
		return q, err
	}
	if s.Tracking {
		e.ha += Sidereal.Over(t.Clock.Now().Sub(t.seen.At))
	}
	fastest := q.Rate
	if fastest == 0 {
		fastest = t.Limits.Rate
	}
	reach := t.Limits.reach(r.Angle, fastest)
	if q.Rate == 0 {
		reach = max(reach, t.Limits.reach(t.Limits.tried(), fastest))
	}
	q.Time, q.Unpark = seconds(r.Angle, fastest), s.Parked
	q.Direction, err = t.Limits.choose(e, r.Direction, r.Angle, reach)
	return q, err
}

// checkAngle refuses angles that are too large for one turn or for the run.
func (t *Turner) checkAngle(a sphere.Angle) error {
	switch {
	case !(a >= 0.5*sphere.Degree):
		return NewFault(TooMuch, "ask for 10 to 30 degrees", "a turn of %g degrees is below 0.5", a.Degrees())
	case a > t.Limits.Turn:
		return NewFault(TooMuch, "ask for less", "a turn of %.0f degrees is more than the limit of %.0f", a.Degrees(), t.Limits.Turn.Degrees())
	case t.spent+a > t.Limits.Run:
		return NewFault(TooMuch, "start again when you have looked at cables and counterweight",
			"%.0f degrees more after %.0f exceed the limit of %.0f degrees in one run", a.Degrees(), t.spent.Degrees(), t.Limits.Run.Degrees())
	}
	return nil
}

// checkSky refuses when no fresh frame was recognised, or in daylight.
func (t *Turner) checkSky() (equatorial, error) {
	if t.seen == nil {
		return equatorial{}, NewFault(NotSeen, "take a frame and let it be recognised first", "nothing is turned before a frame of this camera has been recognised")
	}
	p := *t.seen
	if age := t.Clock.Now().Sub(p.At); age > t.Limits.Age || age < -t.Limits.Age {
		return equatorial{}, NewFault(NotSeen, "take another frame", "the recognised frame is %.0f s old; the limit is %.0f", age.Seconds(), t.Limits.Age.Seconds())
	}
	if alt, err := p.sun(t.Clock.Now()); err != nil {
		return equatorial{}, err
	} else if alt > t.Limits.Sun {
		return equatorial{}, NewFault(Daylight, "wait until it is dark, or check site and clock", "the Sun stands at %.1f degrees; it must be below %.0f", alt.Degrees(), t.Limits.Sun.Degrees())
	}
	return p.equatorial()
}

// expected returns the rate at which a turn will run, 0 when the mount's rates
// have no unit and none was tried yet.
func (t *Turner) expected() (Rate, error) {
	if t.rate > 0 {
		return t.rate, nil
	}
	s := t.Mount.Speeds()
	if len(s.Steps) > 0 {
		return 0, nil
	}
	r, ok := s.Best(t.Limits.Rate)
	if !ok {
		return 0, NewFault(Unfit, "turn RA by hand: pintle axis without --mount does that", "%s cannot turn its RA axis at a rate of up to %.1f degrees/s", t.Mount.Name(), t.Limits.Rate.Degrees())
	}
	return r, nil
}

// checkState refuses when the mount itself is not ready, or contradicts.
func (t *Turner) checkState(e equatorial, s State) error {
	side := PierWest // looking east
	if e.ha > 0 {
		side = PierEast
	}
	switch {
	case s.Parked && !t.Unpark:
		return NewFault(Parked, "unpark it, or allow it with --unpark", "%s is parked", t.Mount.Name())
	case s.Slewing:
		return NewFault(Moved, "wait until it stands", "%s is being moved by someone else", t.Mount.Name())
	case s.Pier != PierUnknown && s.Pier != side:
		return NewFault(Contrary, "bring the telescope to the other side of the pier, or set the mount's time and site right",
			"the mount says that the telescope is on the %s side of the pier, but the frame looks %s", s.Pier, lookingFrom(s.Pier))
	case s.ClockOK && s.Clock.Abs() > t.Limits.Clock:
		return NewFault(Contrary, "set the mount's clock, or this computer's", "the mount's clock is %.0f s from this computer's; the limit is %.0f", s.Clock.Abs().Seconds(), t.Limits.Clock.Seconds())
	}
	if m := t.at.moved(s.Position); m > t.Limits.Nudge {
		return NewFault(Moved, "take another frame", "the mount has moved by %.1f degrees since the frame was recognised", m.Degrees())
	}
	return nil
}

func (p Pier) String() string {
	switch p {
	case PierEast:
		return "east"
	case PierWest:
		return "west"
	}
	return "unknown"
}

// lookingFrom is where the frame looks when it contradicts a side of the pier.
func lookingFrom(p Pier) string {
	if p == PierEast {
		return "east of the meridian"
	}
	return "west of the meridian"
}

func (t *Turner) agree(ctx context.Context, q Question) error {
	if t.Agree == nil {
		return NewFault(NoConsent, "give --yes when nobody can be asked", "nobody was asked whether the mount may move")
	}
	if err := t.Agree(ctx, q); err != nil {
		return &Fault{Kind: NoConsent, Text: "nothing was moved", Try: "stay beside the mount and agree, or turn RA by hand", Err: err}
	}
	return ctx.Err()
}

// ready looks again after the user has agreed, who may have taken a while, and
// unparks.
func (t *Turner) ready(ctx context.Context) (State, error) {
	e, err := t.checkSky()
	if err != nil {
		return State{}, err
	}
	s, err := t.Mount.State(ctx)
	if err != nil {
		return s, lost(err)
	}
	if err := t.checkState(e, s); err != nil || !s.Parked {
		return s, err
	}
	if err := t.Mount.Unpark(ctx); err != nil {
		return s, &Fault{Kind: Refused, Text: "the mount was not unparked", Try: "unpark it by its keypad", Err: err}
	}
	for range 20 {
		if err := t.Clock.Wait(ctx, 250*time.Millisecond); err != nil {
			return s, err
		}
		if s, err = t.Mount.State(ctx); err != nil {
			return s, lost(err)
		}
		if !s.Parked {
			return s, nil
		}
	}
	return s, NewFault(Parked, "unpark it by its keypad", "%s is still parked 5 s after it was unparked", t.Mount.Name())
}

func lost(err error) error {
	if KindOf(err) != "" {
		return err
	}
	return &Fault{Kind: LinkLost, Text: "the mount does not answer", Try: "check its power, cable and server", Err: err}
}

// seconds returns the time that a turn takes.
func seconds(a sphere.Angle, r Rate) time.Duration {
	return time.Duration(float64(a) / float64(r) * float64(time.Second))
}
