// Package device is what pintle needs of a camera and a mount that can be
// commanded, and the turner, which turns the RA axis of such a mount within
// limits. It knows no standard: packages indi and alpaca serve its interfaces.
// It has no clock of its own either, so that every limit can be tested.
//
// A mount is moved by rate only. There is no goto, no sync, no park, and site
// and time are never written: a goto takes the mount's own model of its axis
// into the measurement, and what a mount believes of itself has driven gear
// into tripods.
package device

import (
	"context"
	"errors"
	"fmt"
	"time"
)

// Clock is the time by the computer, which must be right to some seconds.
type Clock interface {
	Now() time.Time
	// Wait returns after d, or earlier with the error of ctx.
	Wait(ctx context.Context, d time.Duration) error
}

// Fault is a refusal, or the reason for an emergency stop.
type Fault struct {
	Kind Kind
	Text string // with the value and the limit
	Try  string // what to do
	Err  error  // what lies below, or nil
}

// Kind says which rule a Fault is about.
type Kind string

// The rules. The first group refuses before anything moves, the second stops.
const (
	NotSeen   Kind = "not recognised"
	Low       Kind = "altitude"
	Meridian  Kind = "meridian"
	NearPole  Kind = "near the pole"
	Daylight  Kind = "sun"
	TooMuch   Kind = "angle"
	Parked    Kind = "parked"
	Contrary  Kind = "contradiction"
	Moved     Kind = "moved"
	NoConsent Kind = "no consent"
	Unfit     Kind = "not able"

	Stuck    Kind = "stuck"
	WrongWay Kind = "wrong direction"
	DecMoved Kind = "declination"
	TooFast  Kind = "rate"
	Silent   Kind = "no position"
	LinkLost Kind = "link"
	Runaway  Kind = "does not stop"
	Gone     Kind = "gone" // device or driver went away
	Refused  Kind = "refused"
)

func (f *Fault) Error() string {
	if f.Err != nil {
		return f.Text + ": " + f.Err.Error()
	}
	return f.Text
}

// Unwrap returns what lies below.
func (f *Fault) Unwrap() error { return f.Err }

// Advice returns what to do.
func (f *Fault) Advice() string { return f.Try }

// KindOf returns the kind of the first Fault in err, or "".
func KindOf(err error) Kind {
	var f *Fault
	if errors.As(err, &f) {
		return f.Kind
	}
	return ""
}

// NewFault makes a Fault without an error below.
func NewFault(k Kind, advice, format string, args ...any) *Fault {
	return &Fault{Kind: k, Try: advice, Text: fmt.Sprintf(format, args...)}
}
