package axis

import (
	"fmt"
	"math"
	"strings"

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
)

// WeakError is the answer that there is none: the frames may be good in
// themselves, but do not say where the axis is.
type WeakError struct {
	Reason        Reason
	Frames        int          // frames with stars enough
	Turn, TurnErr sphere.Angle // largest rotation between two frames
	Least         sphere.Angle // that would count as a turn
	AxisErr       sphere.Angle // larger standard error of the axis
}

func (e *WeakError) Error() string {
	switch e.Reason {
	case TooFewFrames:
		return fmt.Sprintf("%d frame(s) with stars enough, at least 2 are needed; turn the mount in right ascension and photograph again", e.Frames)
	case NoAttitude:
		return fmt.Sprintf("the stars of %d frame(s) do not say where the camera looked; more stars are needed, spread over the frame", e.Frames)
	case Flipped:
		return "the camera looks at the same declination but is upside down against earlier frames: the mount changed sides of its pier, and declination was turned with it; take all frames on one side of the pier"
	case NoTurn:
		return fmt.Sprintf("the mount turned by %.3f +- %.3f deg between the frames, at least %.2f is needed; turn it in right ascension by 30 deg or more, and check the times of the frames", e.Turn.Degrees(), e.TurnErr.Degrees(), e.Least.Degrees())
	}
	if e.Turn > enoughTurn {
		return fmt.Sprintf("the frames do not turn about one axis: after a turn of %.0f deg it is uncertain by %.2f deg, the limit is %.1f deg; something slipped or was touched between them: clamp declination and camera, and measure again, with four frames or more", e.Turn.Degrees(), e.AxisErr.Degrees(), largestSigma.Degrees())
	}
	return fmt.Sprintf("the axis is uncertain by %.2f deg after a turn of %.2f deg, the limit is %.1f deg; turn the mount further in right ascension, 30 deg or more between frames", e.AxisErr.Degrees(), e.Turn.Degrees(), largestSigma.Degrees())
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
	SameTime                  // the frames bear one time, which cannot be
)

// Warning is something to look into although there is an answer.
type Warning struct {
	Kind   Kind
	Frames []int    // indices of the sightings concerned; none for the whole
	Names  []string // their names
	Count  int
	Angle  sphere.Angle
	// Chance is the probability that this is what happened to the frames, as far as
	// they can tell; 0 for kinds of which there is no doubt.
	Chance float64
}

// String returns the warning as a sentence for someone at the mount.
func (w Warning) String() string {
	s := w.sentence()
	if w.Chance > 0 && w.Chance < certain {
		s = fmt.Sprintf("%s (the likeliest of several, %.0f %%)", s, 100*w.Chance)
	}
	return s
}

func (w Warning) sentence() string {
	frame, both := "", ""
	if len(w.Names) > 0 {
		frame = w.Names[0]
		both = strings.Join(w.Names, " and ")
	}
	switch w.Kind {
	case NoStars:
		return fmt.Sprintf("frame %s is left out: it has %d matched stars, and at least %d are needed, apart from each other", frame, w.Count, fewest)
	case Scrambled:
		return fmt.Sprintf("frame %s is left out: its stars lie %s from where they should; it was recognised wrongly", frame, small(w.Angle))
	case FewStars:
		return fmt.Sprintf("frame %s has only %d stars to measure by", frame, w.Count)
	case RoughStars:
		return fmt.Sprintf("frame %s: stars lie %s from where they should, %d were left out; is it trailed, out of focus, or shaken?", frame, small(w.Angle), w.Count)
	case LowFrame:
		if w.Angle < 0 {
			return fmt.Sprintf("by its time and site, frame %s looked %.0f deg below the horizon: the time, its zone, or the site is wrong; do not trust the answer", frame, -w.Angle.Degrees())
		}
		return fmt.Sprintf("frame %s looks only %.0f deg above the horizon, where refraction is uncertain", frame, w.Angle.Degrees())
	case LowPole:
		return fmt.Sprintf("the pole stands so low that its refraction is uncertain by %s", small(w.Angle))
	case SmallTurn:
		return fmt.Sprintf("the mount turned by only %.1f deg; 60 deg or more measure better", w.Angle.Degrees())
	case TwoFrames:
		return "two frames fit any mistake; a third would check them"
	case FarAxis:
		return fmt.Sprintf("the axis is %.0f deg from the pole; was the mount turned in right ascension only, and are site and times right?", w.Angle.Degrees())
	case Disagree:
		return fmt.Sprintf("the frames do not turn about one axis: they scatter by %s; was something moved or touched between them?", small(w.Angle))
	case OddFrame:
		if w.Chance > 0 && w.Chance < certain {
			return fmt.Sprintf("frame %s seems to be %s off the rotation of the others; was it shaken or touched, or is its time wrong?", frame, small(w.Angle))
		}
		return fmt.Sprintf("frame %s is left out: it is %s off the rotation of the others; was it shaken or touched, or is its time wrong?", frame, small(w.Angle))
	case DecSlip:
		return fmt.Sprintf("the declination axis turned by %s between frames %s; this is allowed for", small(w.Angle), both)
	case MountMoved:
		return fmt.Sprintf("the mount itself moved by %s between frames %s; the answer is for where it stands now, measure again to be sure", small(w.Angle), both)
	case CameraShifted:
		return fmt.Sprintf("that is as if the camera had shifted by %s between frames %s; is it loose, or does a cable pull? tighten it and measure again", small(w.Angle), both)
	case Bends:
		return fmt.Sprintf("that is as if something bent as the mount turned, by %s from the first frame to the last; firmer rings, or a smaller turn on one side of the meridian", small(w.Angle))
	case SameTime:
		return fmt.Sprintf("frames %s bear the same time: if the sky turned between them, by 15 arcsec a second, the answer is wrong; give each frame its own time", both)
	case Sinks:
		return fmt.Sprintf("the mount sank or turned slowly, by %s from the first frame to the last; the answer is for where it stood last; set the tripod on firm ground and measure again, or check the times of the frames", small(w.Angle))
	}
	return fmt.Sprintf("warning %d", w.Kind)
}

// small prints an angle in the unit that suits it.
func small(a sphere.Angle) string {
	switch x := a.Abs(); {
	case x < sphere.Arcminute:
		return fmt.Sprintf("%.1f arcsec", a.Arcseconds())
	case x < sphere.Degree:
		return fmt.Sprintf("%.1f arcmin", a.Arcminutes())
	}
	return fmt.Sprintf("%.1f deg", a.Degrees())
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
