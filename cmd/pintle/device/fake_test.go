package device

import (
	"context"
	"errors"
	"time"

	"pintle/index/sphere"
)

// fakeClock is a clock that only waiting moves on.
type fakeClock struct {
	now  time.Time
	tick func() // after every wait
}

func (c *fakeClock) Now() time.Time { return c.now }

func (c *fakeClock) Wait(ctx context.Context, d time.Duration) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	c.now = c.now.Add(d)
	if c.tick != nil {
		c.tick()
	}
	return ctx.Err()
}

// fakeMount is a mount that follows its orders exactly, but for what a test
// spoils.
type fakeMount struct {
	clock  *fakeClock
	speeds Speeds
	rates  []float64 // degrees/s of the steps

	ha, dec  sphere.Angle
	west     Rate // present rate, toward west, tracking not included
	tracking bool
	parked   bool
	pier     Pier
	ahead    time.Duration // of its clock
	slewing  bool
	last     time.Time

	reversed  bool // signs the other way
	stuck     bool
	silent    bool          // positions keep their age
	said      Position      // the last position, for silent
	decRate   Rate          // of the declination while RA turns
	deaf      int           // stops that it does not hear
	down      time.Duration // of a cut link, from cutAt on
	cutAt     time.Duration // after the start of a motion
	every     time.Duration // between positions, 0: each is fresh
	moved     time.Time     // start of the motion
	stops     int
	tracks    []bool
	reconnect int
	panics    bool
}

var errCut = errors.New("connection reset")

func (m *fakeMount) Name() string   { return "Fork" }
func (m *fakeMount) Speeds() Speeds { return m.speeds }
func (m *fakeMount) Close() error   { return nil }

// run brings the mount up to now.
func (m *fakeMount) run() {
	now := m.clock.now
	if m.last.IsZero() {
		m.last = now
	}
	dt := now.Sub(m.last)
	m.last = now
	if m.tracking {
		m.ha += Sidereal.Over(dt)
	}
	if !m.stuck {
		m.ha += m.west.Over(dt)
	}
	if m.west != 0 {
		m.dec += m.decRate.Over(dt)
	}
}

func (m *fakeMount) cut() bool {
	if m.down == 0 || m.moved.IsZero() {
		return false
	}
	since := m.clock.now.Sub(m.moved)
	return since >= m.cutAt && since < m.cutAt+m.down
}

func (m *fakeMount) Position(context.Context) (Position, error) {
	m.run()
	if m.panics && m.west != 0 {
		panic("invented")
	}
	if m.cut() {
		return Position{}, errCut
	}
	fresh := m.clock.now.Sub(m.said.At) >= m.every
	if m.silent && m.west != 0 || !fresh {
		return m.said, nil
	}
	lst := Sidereal.Over(m.clock.now.Sub(time.Unix(1.8e9, 0)))
	m.said = Position{RA: (lst - m.ha).Turn(), Dec: m.dec, At: m.clock.now}
	return m.said, nil
}

func (m *fakeMount) State(ctx context.Context) (State, error) {
	p, err := m.Position(ctx)
	return State{Position: p, Parked: m.parked, Tracking: m.tracking, CanTrack: true, Slewing: m.slewing, Pier: m.pier, Clock: m.ahead, ClockOK: true}, err
}

func (m *fakeMount) Move(_ context.Context, d Direction, s Speed) error {
	m.run()
	if m.cut() {
		return errCut
	}
	r := s.Rate
	if len(m.rates) > 0 {
		r = DegreesPerSecond(m.rates[s.Step])
	}
	if s.Reverse != m.reversed {
		r = -r
	}
	m.west = r * Rate(d)
	m.tracking = false
	if m.moved.IsZero() {
		m.moved = m.clock.now
	}
	return nil
}

func (m *fakeMount) Stop(context.Context) error {
	m.run()
	if m.cut() {
		return errCut
	}
	m.stops++
	if m.stops > m.deaf {
		m.west = 0
	}
	return nil
}

func (m *fakeMount) Track(_ context.Context, on bool) error {
	m.run()
	m.tracking = on
	m.tracks = append(m.tracks, on)
	return nil
}

func (m *fakeMount) Unpark(context.Context) error { m.parked = false; return nil }

func (m *fakeMount) Reconnect(context.Context) error {
	m.reconnect++
	if m.cut() {
		return errCut
	}
	return nil
}
