package axis

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// Reason says why there is no answer.
type Reason int

// Reasons for no answer.
const (
	TooFewFrames Reason = iota // fewer than two frames with stars enough
	NoTurn                     // the mount did not turn between the frames
	TooUncertain               // it turned, but too little for what the stars can tell
	NoAttitude                 // the stars do not say where the camera looked
	Flipped                    // the mount changed sides of its pier between frames
	NotOneAxis                 // it turned far enough, but not about one axis
)

// String names the reason for developers; people read what package words makes
// of it.
func (r Reason) String() string {
	return name(int(r), "too few frames", "no turn", "too uncertain", "no attitude", "changed sides of the pier", "not about one axis")
}

// name is the name of a kind.
func name(kind int, names ...string) string {
	if kind < 0 || kind >= len(names) {
		return fmt.Sprintf("kind %d", kind)
	}
	return names[kind]
}

// WeakError is the answer that there is none: the frames may be good in
// themselves, but do not say where the axis is.
type WeakError struct {
	Reason        Reason
	Frames        int          // frames with stars enough
	Turn, TurnErr sphere.Angle // largest rotation between two frames
	Least         sphere.Angle // that would count as a turn
	AxisErr, Most sphere.Angle // larger standard error of the axis, and its limit
}

func (e *WeakError) Error() string {
	return fmt.Sprintf("no axis from %d frames: %v, turned by %v +- %v, error of the axis %v", e.Frames, e.Reason, e.Turn, e.TurnErr, e.AxisErr)
}

// enoughTurn is a turn after which frames that belong together tell the axis well
// (common practice, no source).
const enoughTurn = 20 * sphere.Degree

// Kind is a kind of warning.
type Kind int

// Kinds of warnings, and what Angle and Count hold.
const (
	NoStars       Kind = iota // frame left out: only Count matched stars, or all on one spot
	Scrambled                 // frame left out: its stars lie Angle from where they should
	FewStars                  // frame has only Count good stars
	RoughStars                // stars of the frame scatter by Angle about the fit, Count of them were left out
	LowFrame                  // frame looks only Angle above the horizon
	LowPole                   // the refracted pole is uncertain by Angle, being low
	SmallTurn                 // the largest turn between frames is only Angle
	TwoFrames                 // two frames, which fit any axis between them: nothing checks the answer
	FarAxis                   // the axis is Angle from the pole
	Disagree                  // the frames scatter by Angle about one rotation
	OddFrame                  // the frame is Angle off the rotation of the others, and left out if that is certain
	DecSlip                   // the declination axis turned by Angle between two frames
	MountMoved                // the mount's axis moved by Angle between two frames
	CameraShifted             // the camera turned on the mount by Angle between two frames
	Bends                     // the camera turns on the mount by Angle over all the frames, in step with RA
	Sinks                     // the mount's axis moves by Angle from the first frame to the last, evenly
	Flops                     // the camera turns on the mount by Angle when it passes the meridian, as a mirror with play does
)

// String names the kind for developers.
func (k Kind) String() string {
	return name(int(k), "no stars", "scrambled", "few stars", "rough stars", "low frame", "low pole", "small turn", "two frames", "far axis",
		"disagree", "odd frame", "declination slips", "mount moved", "camera shifted", "bends", "sinks", "flops")
}

// Warning is something to look into although there is an answer.
type Warning struct {
	Kind   Kind
	Frames []int    // indices of the sightings concerned; none for the whole
	Names  []string // their names
	Count  int
	Least  int // stars that are needed, of NoStars
	Angle  sphere.Angle
	// Chance is the probability that this is what happened to the frames, as far as
	// they can tell; 0 for kinds of which there is no doubt.
	Chance float64
}

// Certain reports whether there is no doubt that this is what happened.
func (w Warning) Certain() bool { return w.Chance == 0 || w.Chance >= certain }

// String tells the warning to developers; people read what package words makes of
// it.
func (w Warning) String() string {
	return fmt.Sprintf("%v %v: count %d, angle %v, chance %.2f", w.Kind, w.Names, w.Count, w.Angle, w.Chance)
}

// Limits of the warnings (common practice, no source).
const (
	fewStars   = 8
	roughStars = 0.7 // pixels, beyond the stated errors
	roughShare = 0.3 // of the matches left out
	lowFrame   = 15 * sphere.Degree
	lowPole    = 10 * sphere.Arcsecond
	smallTurn  = 15 * sphere.Degree
	farAxis    = 10 * sphere.Degree
)

func (f *fit) warn(w Warning) {
	for _, i := range w.Frames {
		w.Names = append(w.Names, f.sightings[i].Name)
	}
	f.warnings = append(f.warnings, w)
}

// look goes over a finished result for what deserves a warning.
func (f *fit) look(r *Result) {
	for i := range r.Frames {
		if r.Frames[i].Kept != nil {
			f.lookAtFrame(r, i)
		}
	}
	if turn, _ := f.own.only(f.used).largestTurn(); turn < float64(smallTurn) {
		f.warn(Warning{Kind: SmallTurn, Angle: sphere.Angle(turn)})
	}
	if len(f.used) == 2 {
		f.warn(Warning{Kind: TwoFrames})
	}
	if e := r.place.ModelErr(r.place.RefractedPole()); e > lowPole {
		f.warn(Warning{Kind: LowPole, Angle: e})
	}
	if d := r.Axis.Sep(r.place.RefractedPole()); d > farAxis {
		f.warn(Warning{Kind: FarAxis, Angle: d})
	}
}

func (f *fit) lookAtFrame(r *Result, i int) {
	ff := &r.Frames[i]
	one := []int{i}
	lost := ff.Stars - ff.Inliers
	if ff.Inliers < fewStars {
		f.warn(Warning{Kind: FewStars, Frames: one, Count: ff.Inliers})
	}
	if ff.Floor > roughStars || float64(lost) > roughShare*float64(ff.Stars) {
		f.warn(Warning{Kind: RoughStars, Frames: one, Count: lost, Angle: ff.RMS})
	}
	if z := ff.LocalFromCam.Apply(r3.Vec{Z: 1}).Z; z < math.Sin(float64(lowFrame)) {
		f.warn(Warning{Kind: LowFrame, Frames: one, Angle: sphere.Angle(math.Asin(z))})
	}
}
