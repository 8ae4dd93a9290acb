package device

import (
	"context"
	"math"
	"time"

	"pintle/index/sphere"
)

// Sidereal is the rate of the sky's turn: a turn in 86164.0905 s (the IERS'
// nominal rate of the Earth).
const Sidereal = Rate(2 * math.Pi / 86164.0905)

// Rate is an angle a second.
type Rate float64

// DegreesPerSecond makes a Rate.
func DegreesPerSecond(d float64) Rate { return Rate(sphere.Angle(d) * sphere.Degree) }

// Degrees returns the rate in degrees a second.
func (r Rate) Degrees() float64 { return sphere.Angle(r).Degrees() }

// Over returns the angle in a time.
func (r Rate) Over(d time.Duration) sphere.Angle { return sphere.Angle(float64(r) * d.Seconds()) }

// Direction is a way to turn the RA axis, named as the telescope moves: West is
// the way the sky goes, toward greater hour angles.
type Direction int

// The directions; 0 is none.
const (
	West Direction = 1
	East Direction = -1
)

func (d Direction) String() string {
	switch d {
	case West:
		return "west"
	case East:
		return "east"
	}
	return "no direction"
}

// Pier is the side of the pier that the telescope of a German mount is on.
type Pier int

// Sides. From the east side a telescope looks west of the meridian.
const (
	PierUnknown Pier = iota
	PierEast
	PierWest
)

// Position is where a mount believes that it points. Only its changes are used.
type Position struct {
	RA, Dec sphere.Angle // of date or J2000, as the mount has it
	At      time.Time    // by our clock
}

// Turned returns by how much the hour angle grew from p to q, which lie less
// than half a turn apart: positive toward west.
func (p Position) Turned(q Position) sphere.Angle {
	return (Sidereal.Over(q.At.Sub(p.At)) - (q.RA - p.RA)).Wrap()
}

// moved returns by how much a mount that should stand or track was moved from p
// to q.
func (p Position) moved(q Position) sphere.Angle {
	return max(min((q.RA-p.RA).Wrap().Abs(), p.Turned(q).Abs()), (q.Dec - p.Dec).Abs())
}

// State is what else a mount says of itself.
type State struct {
	Position
	Parked, Tracking bool
	CanTrack         bool // Tracking is known and can be switched
	Slewing          bool // by someone else's command
	Pier             Pier
	// Clock is the mount's own time, less ours; ok is false when not told.
	Clock   time.Duration
	ClockOK bool
}

// Speeds are the rates that a mount can be asked for.
type Speeds struct {
	// Steps names rates without a unit, slowest first; when empty, any rate in
	// one of Ranges can be asked for.
	Steps  []string
	Ranges []Range
	// Signless says that the standard does not tell which sign is west.
	Signless bool
}

// Range is a range of rates, both ends included.
type Range struct{ Min, Max Rate }

// Best returns the fastest rate that is not above limit.
func (s Speeds) Best(limit Rate) (Rate, bool) {
	best, ok := Rate(0), false
	for _, r := range s.Ranges {
		if r.Max > 0 && r.Min <= limit && min(r.Max, limit) > best {
			best, ok = min(r.Max, limit), true
		}
	}
	return best, ok
}

// Slowest returns the slowest rate that is not below least, and not above limit.
func (s Speeds) Slowest(least, limit Rate) (Rate, bool) {
	best, ok := limit, false
	for _, r := range s.Ranges {
		if v := max(r.Min, least); v <= r.Max && v <= best {
			best, ok = v, true
		}
	}
	return best, ok
}

// Speed is one of Speeds.
type Speed struct {
	Step    int  // index into Steps
	Rate    Rate // when there are no steps
	Reverse bool // ask for the other direction: the mount has its signs that way
}

// Mount turns its RA axis by rate. Calls return within 2 s.
type Mount interface {
	Name() string
	Speeds() Speeds
	Position(context.Context) (Position, error)
	State(context.Context) (State, error)
	// Move starts the RA axis, which then runs until Stop.
	Move(context.Context, Direction, Speed) error
	// Stop ends all motion: off in both directions, then abort. It may be
	// called at any time and any number of times.
	Stop(context.Context) error
	Track(context.Context, bool) error
	Unpark(context.Context) error
	// Reconnect makes a new link in place of one that was lost.
	Reconnect(context.Context) error
	Close() error
}
