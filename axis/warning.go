package axis

import (
	"fmt"

	"pintle/index/sphere"
)

// Reason says why there is no answer.
type Reason int

// Reasons for no answer.
const (
	TooFewFrames Reason = iota // fewer than two frames with stars enough
	NoTurn                     // the mount did not turn between the frames
	TooUncertain               // it turned, but too little for what the stars can tell
)

// WeakError is the answer that there is none: the frames are good in
// themselves, but do not say where the axis is.
type WeakError struct {
	Reason        Reason
	Frames        int          // frames with stars enough
	Turn, TurnErr sphere.Angle // largest rotation between two frames
	AxisErr       sphere.Angle // larger standard error of the axis
}

func (e *WeakError) Error() string {
	switch e.Reason {
	case TooFewFrames:
		return fmt.Sprintf("%d usable frame(s), at least 2 are needed: turn the mount in right ascension and photograph again", e.Frames)
	case NoTurn:
		return fmt.Sprintf("the frames show no turn of the mount (%.3f +- %.3f deg, at least %.2f is needed): turn it in right ascension by 30 deg or more between frames, and check the times", e.Turn.Degrees(), e.TurnErr.Degrees(), leastTurn.Degrees())
	}
	return fmt.Sprintf("the axis is uncertain by %.1f deg after a turn of %.2f deg: turn the mount further in right ascension, 30 deg or more between frames", e.AxisErr.Degrees(), e.Turn.Degrees())
}

// Kind is a kind of warning.
type Kind int

// Kinds of warnings.
const (
	FewStars  Kind = iota // Frame has only Count matched stars
	SmallTurn             // the mount turned by only Angle
	LowFrame              // Frame looks only Angle above the horizon
	LowPole               // the pole stands only Angle above the horizon
	Disagree              // the frames do not fit one axis
)

// Warning is something to look into although there is an answer.
type Warning struct {
	Kind  Kind
	Frame int // index of the sighting, or -1
	Count int
	Angle sphere.Angle
}
