package session

import (
	"time"

	"pintle/axis"
	"pintle/index/sphere"
)

// Hands are a camera, and perhaps a mount, that the program commands in the
// person's place. Their methods may be called from any goroutine and never wait.
type Hands interface {
	// TakenBy returns the name of the camera that took a file, "" for a file of
	// somebody else's.
	TakenBy(path string) string
	Status() Handling
	// Do takes an action that is for the hands, at once; false for any other.
	Do(Action) bool
	// Changed is readable when Status says something new.
	Changed() <-chan struct{}
}

// Handling is what the hands are at.
type Handling struct {
	Camera, Mount string // names; Mount is "" when the person turns RA
	Doing         Doing
	Exposure      time.Duration // of the next photograph, or of the one that is taken
	Ask           *Question     // of Asking
	Asked, Turned sphere.Angle  // of Turning: so much is asked for, so far it has come
	// Left is true when RA is the person's to turn although a mount is there: the
	// turn was declined, or refused for Trouble.
	Left    bool
	Trouble error // why Halted, or why Left; nil when the person wanted it
	Turns   []Turn
	Shot    *Shot   // the last photograph
	Change  *Change // of the exposure, after it; nil for none
}

// Shot is a photograph that was taken.
type Shot struct {
	Path     string
	Exposure time.Duration
	// Corrected is true when the computer's time was put into the file, which was
	// Apart from it, or had none.
	Corrected bool
	Apart     time.Duration
}

// Change is a change of the exposure, by what a photograph shows.
type Change struct {
	Why          string // few stars, burnt out or bright sky
	Stars, Burnt int
	Next         time.Duration
}

// Doing is a kind of doing.
type Doing string

// The kinds.
const (
	Exposing Doing = "exposing"
	Looking  Doing = "looking"   // at the photograph
	Asking   Doing = "asking"    // whether the mount may be turned
	Turning  Doing = "turning"   // the mount moves
	HandTurn Doing = "hand-turn" // the person turns RA and says when that is done
	Halted   Doing = "halted"    // until the person says GoOn
)

// Question asks whether the mount may be turned. Number tells it from others.
type Question struct {
	Number   int
	Angle    sphere.Angle
	West     bool
	Rate     sphere.Angle // a second; 0 when the mount's rates have no unit
	Limit    sphere.Angle // a second: never faster
	Time     time.Duration
	Unpark   bool
	Unbraked bool // nothing stops the mount when this program dies
}

// Turn is a turn of RA that a device made or began.
type Turn struct {
	Asked    sphere.Angle
	Reported sphere.Angle // by the mount, along the direction
	// Measured is by how much the hour angle grew along the direction from the
	// frame before to the frame after, tracking included; nil while that is not known.
	Measured  *sphere.Angle
	West      bool
	Rate      sphere.Angle // a second, while it ran
	Time      time.Duration
	StoppedBy string // angle, time, limit, user or fault
}

// takenBy returns the camera that the hands took a file with.
func (s *Session) takenBy(path string) string {
	if s.c.Hands == nil {
		return ""
	}
	return s.c.Hands.TakenBy(path)
}

// turnedByDevice reports whether a device turned the mount between frames.
func (s *Session) turnedByDevice() bool {
	return s.c.Hands != nil && len(s.c.Hands.Status().Turns) > 0
}

// scattered looks whether frames that a device turned scatter beyond their
// errors. By hand that is a note, since a person knows what was touched. What a
// motor does nobody saw: there is no answer.
func (s *Session) scattered() *Refusal {
	if !s.turnedByDevice() || s.engine.answer == nil {
		return nil
	}
	for _, w := range s.engine.warnings {
		switch w.Kind {
		case axis.Disagree, axis.OddFrame, axis.DecSlip, axis.MountMoved, axis.CameraShifted, axis.Bends, axis.Sinks, axis.Flops:
			return &Refusal{Kind: DeviceScatter, Warning: &w}
		}
	}
	return nil
}

// Scout returns a session that is told the same and keeps nothing: it looks at
// frames one by one before they are measured at once.
func (s *Session) Scout() (*Session, error) {
	c := s.c
	c.Journal, c.Folder, c.Newest = "", "", 0
	return New(c)
}
