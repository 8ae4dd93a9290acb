package device

import (
	"context"
	"time"

	"pintle/index/sphere"
)

const (
	poll = 100 * time.Millisecond
	// slowStart is what a mount may take to get going, stuckAfter how long it
	// may show no movement at all. No source: light mounts take up to 1 s.
	slowStart  = time.Second
	stuckAfter = 3 * time.Second
	near       = 0.05 * sphere.Degree // of the end: the turn is done
	// signRate is the rate at which the sense of a mount's signs is tried.
	signRate = Rate(0.3 * sphere.Degree)
)

// turn finds a speed if none is known yet, and turns.
func (t *Turner) turn(ctx context.Context, r Request, s State) (Turned, error) {
	out := Turned{Asked: r.Angle, Direction: r.Direction}
	first := s.Position
	t.begun = first
	begun := t.Clock.Now()
	run, err := t.find(ctx, r, s)
	left := r.Angle - t.along(first, run.last, r.Direction)
	if err == nil && left > near && t.rate > 0 {
		l := leg{dir: r.Direction, speed: t.speed, rate: t.rate, angle: left}
		l.longest = time.Duration(t.Limits.Late * float64(seconds(left, t.rate)))
		run, err = t.drive(ctx, l, s)
	}
	out.Rate, out.StoppedBy = run.rate, run.by
	if err == nil && left <= near {
		out.StoppedBy = ByAngle // the trials have done it
	}
	out.Reported = t.along(first, run.last, r.Direction)
	out.Time = t.Clock.Now().Sub(begun)
	if err == nil && run.by == ByTime && out.Reported < r.Angle/2 {
		out.StoppedBy = ByFault
		err = NewFault(Stuck, "look whether the axis is clamped and the motor has power", "after %.0f s the mount has turned by %.1f of %.0f degrees", out.Time.Seconds(), out.Reported.Degrees(), r.Angle.Degrees())
	}
	return out, err
}

// along returns how far a mount came along a direction.
func (t *Turner) along(from, to Position, d Direction) sphere.Angle {
	if to.At.IsZero() {
		return 0
	}
	return from.Turned(to) * sphere.Angle(d)
}

// find settles the speed of the turn. A rate with a unit needs no trial unless
// the sense of its sign is open; steps without a unit are tried one after the
// other from the slowest, each for a moment, as long as the next may be allowed.
func (t *Turner) find(ctx context.Context, r Request, s State) (run, error) {
	speeds := t.Mount.Speeds()
	if t.rate > 0 {
		return run{last: s.Position, by: ByAngle}, nil
	}
	if len(speeds.Steps) == 0 {
		return t.findSign(ctx, r, s, speeds)
	}
	last := run{last: s.Position}
	for i := range speeds.Steps {
		left := r.Angle - t.along(s.Position, last.last, r.Direction)
		l := leg{dir: r.Direction, speed: Speed{Step: i}, trial: true, longest: t.Limits.Trial, angle: min(left, t.Limits.tried())}
		trial, err := t.drive(ctx, l, s)
		last = trial
		switch {
		case err != nil && trial.by != ByLimit:
			return last, err
		case trial.by == ByAngle && l.angle < t.Limits.tried():
			return last, nil // there already
		case trial.by != ByTime || trial.rate > t.Limits.Rate:
			return last, t.settled()
		}
		if trial.rate > t.rate {
			t.speed, t.rate = l.speed, trial.rate
		}
	}
	return last, t.settled()
}

// settled is nil when a trial found a rate that is of use.
func (t *Turner) settled() error {
	if t.rate < DegreesPerSecond(0.01) {
		t.rate = 0
		return NewFault(Stuck, "look whether the axis is clamped and the motor has power", "no rate of the mount up to %.1f degrees/s moves it by more than 0.01 degrees/s", t.Limits.Rate.Degrees())
	}
	return nil
}

// findSign tries the sense of a mount's signs at a slow rate.
func (t *Turner) findSign(ctx context.Context, r Request, s State, speeds Speeds) (run, error) {
	best, _ := speeds.Best(t.Limits.Rate)
	if speeds.Signless {
		slow, _ := speeds.Slowest(signRate, best)
		l := leg{dir: r.Direction, speed: Speed{Rate: slow}, rate: slow, trial: true, anyWay: true, longest: t.Limits.Trial, angle: sphere.Degree}
		trial, err := t.drive(ctx, l, s)
		if err != nil {
			return trial, err
		}
		if trial.turned.Abs() < slow.Over(t.Limits.Trial)/5 {
			trial.by = ByFault
			return trial, NewFault(Stuck, "look whether the axis is clamped and the motor has power", "the mount turned by %.2f degrees in %.0f s at a rate of %.1f degrees/s", trial.turned.Degrees(), t.Limits.Trial.Seconds(), slow.Degrees())
		}
		t.speed, t.rate = Speed{Rate: best, Reverse: trial.turned < 0}, best
		return trial, nil
	}
	t.speed, t.rate = Speed{Rate: best}, best
	return run{last: s.Position, by: ByAngle}, nil
}

// leg is one uninterrupted motion.
type leg struct {
	dir     Direction
	speed   Speed
	rate    Rate // expected, 0 when not known
	angle   sphere.Angle
	longest time.Duration
	trial   bool // short: standing still is no fault
	anyWay  bool // the way is what is to be found out
}

// run is what came of a leg.
type run struct {
	turned sphere.Angle // along the direction, after it stood
	rate   Rate         // while it ran
	last   Position
	by     Stopped
}

// drive starts the motion, watches it, and stops it, whatever happens.
func (t *Turner) drive(ctx context.Context, l leg, s State) (out run, err error) {
	from, err := t.Mount.Position(ctx)
	if err != nil {
		return run{last: s.Position, by: ByFault}, lost(err)
	}
	w := watch{limits: &t.Limits, leg: l, from: from, last: from, begun: t.Clock.Now()}
	finished := false
	defer func() {
		if !finished { // a panic: the mount comes first
			t.halt(ctx, s.Tracking)
		}
	}()
	out.by, err = t.follow(ctx, &w)
	ran := t.Clock.Now().Sub(w.begun)
	last, e := t.halt(ctx, s.Tracking)
	finished = true
	if e != nil {
		out.by, err = ByFault, e
	}
	if last.At.IsZero() {
		last = w.last
	}
	var sure bool
	out.rate, sure = w.rate()
	out.last, out.turned = last, t.along(from, last, l.dir)
	if l.trial && !sure && ran > 0 { // few positions came: rather too fast a rate
		out.rate = max(out.rate, Rate(float64(out.turned.Abs())/ran.Seconds()))
	}
	return out, err
}

// follow watches a motion until something ends it.
func (t *Turner) follow(ctx context.Context, w *watch) (Stopped, error) {
	if err := ctx.Err(); err != nil {
		return ByUser, err
	}
	if err := t.Mount.Move(ctx, w.leg.dir, w.leg.speed); err != nil {
		return ByFault, &Fault{Kind: Refused, Text: "the mount did not take the order to move", Try: "look at what its driver says", Err: err}
	}
	for {
		if err := t.Clock.Wait(ctx, poll); err != nil {
			return ByUser, err
		}
		p, err := t.Mount.Position(ctx)
		if ctx.Err() != nil {
			return ByUser, ctx.Err()
		}
		if err != nil {
			return ByFault, lost(err)
		}
		if t.Progress != nil {
			t.Progress(t.along(t.begun, p, w.leg.dir))
		}
		if by, err := w.look(t.Clock.Now(), p); by != "" {
			return by, err
		}
	}
}
