package words

import (
	"fmt"
	"strings"

	"pintle/axis"
	"pintle/index/sphere"
)

// tooWeak says why frames give no axis, and what to do.
func tooWeak(e *axis.WeakError) string {
	switch e.Reason {
	case axis.TooFewFrames:
		return fmt.Sprintf("%s with stars enough, at least 2 are needed; turn the mount in right ascension and photograph again", Count(e.Frames, "frame"))
	case axis.NoAttitude:
		return fmt.Sprintf("the stars of %s do not say where the camera looked; more stars are needed, spread over the frame", Count(e.Frames, "frame"))
	case axis.Flipped:
		return "the camera looks at the same declination but is upside down against earlier frames: the mount changed sides of its pier, and declination was turned with it; take all frames on one side of the pier"
	case axis.NoTurn:
		return fmt.Sprintf("the mount turned by %.3f +- %.3f deg between the frames, at least %.2f is needed; turn it in right ascension by 30 deg or more, and check the times of the frames", e.Turn.Degrees(), e.TurnErr.Degrees(), e.Least.Degrees())
	case axis.NotOneAxis:
		if e.Most == 0 {
			return "the frames do not turn about one axis: declination or camera was turned far between them; stay on one side of the pier, clamp both, and measure again"
		}
		return fmt.Sprintf("the frames do not turn about one axis: after a turn of %.0f deg it is uncertain by %.2f deg, the limit is %.1f deg; something slipped or was touched between them: clamp declination and camera, stay on one side of the pier, and measure again, with four frames or more", e.Turn.Degrees(), e.AxisErr.Degrees(), e.Most.Degrees())
	}
	return fmt.Sprintf("the axis is uncertain by %.2f deg after a turn of %.2f deg, the limit is %.1f deg; turn the mount further in right ascension, 30 deg or more between frames", e.AxisErr.Degrees(), e.Turn.Degrees(), e.Most.Degrees())
}

// noWatch says why frames tell no drift, and what to do.
func noWatch(e *axis.NoWatchError) string {
	switch e.Kind {
	case axis.TooShort:
		return fmt.Sprintf("the frames span %.0f s, at least %.0f are needed; a drift shows after some minutes", e.Span.Seconds(), e.Least.Seconds())
	case axis.TooWeak:
		return fmt.Sprintf("the frames of %.0f s tell the axis to no better than %.1f deg; watch longer, or use a wider field", e.Span.Seconds(), e.Angle.Degrees())
	case axis.NotTracking:
		return fmt.Sprintf("frame %s: the camera stands as in the first frame although the sky has turned by %.2f deg; switch tracking on", e.Frame, e.Angle.Degrees())
	case axis.OtherPatch:
		return fmt.Sprintf("frame %s is turned by %.1f deg from where tracking would have left it; take all frames of the same patch without moving the mount", e.Frame, e.Angle.Degrees())
	}
	return "the frames do not turn about one axis near the pole; was the mount touched?"
}

// followAdvice says whether to measure anew, and why.
func followAdvice(a axis.Advice) string {
	switch a {
	case axis.DecTurned:
		return "declination was turned: measure anew"
	case axis.TripodMoved:
		return "the tripod was moved: measure anew"
	case axis.CameraMoved:
		return "the camera was moved: measure anew"
	case axis.TripodOrCamera:
		return "the tripod or the camera was moved: measure anew"
	case axis.Unclear:
		return "it is not clear what was turned: measure anew"
	case axis.Worn:
		return "the error has grown too large for the tolerance: measure anew"
	case axis.Rough:
		return "the axis is not known well enough for the tolerance: measure anew, with more frames or a larger turn"
	}
	return "no need to measure anew"
}

// warning says what is to be looked into although there is an answer.
func warning(w *axis.Warning) string {
	s := warned(w)
	if !w.Certain() {
		s = fmt.Sprintf("%s (the likeliest of several, %.0f %%)", s, 100*w.Chance)
	}
	return s
}

func warned(w *axis.Warning) string {
	switch w.Kind {
	case axis.NoStars, axis.Scrambled, axis.FewStars, axis.RoughStars, axis.LowFrame, axis.OddFrame:
		return frameWarned(w)
	case axis.DecSlip, axis.MountMoved, axis.CameraShifted:
		return movedBetween(w)
	case axis.LowPole:
		return fmt.Sprintf("the pole stands so low that its refraction is uncertain by %s", tiny(w.Angle))
	case axis.SmallTurn:
		return fmt.Sprintf("the mount turned by only %.1f deg; 60 deg or more measure better", w.Angle.Degrees())
	case axis.TwoFrames:
		return "two frames fit any mistake; a third would check them"
	case axis.FarAxis:
		return fmt.Sprintf("the axis is %.0f deg from the pole; was the mount turned in right ascension only, and are site and times right?", w.Angle.Degrees())
	case axis.Disagree:
		return fmt.Sprintf("the frames do not turn about one axis: they scatter by %s; was something moved or touched between them?", tiny(w.Angle))
	case axis.Bends:
		return fmt.Sprintf("that is as if something bent as the mount turned, by %s from the first frame to the last; firmer rings, or a smaller turn on one side of the meridian", tiny(w.Angle))
	case axis.Flops:
		return fmt.Sprintf("that is as if the camera, or a mirror in the telescope, tipped by %s each time it passed the meridian; this is allowed for; take all frames on one side of the meridian, or lock the mirror", tiny(w.Angle))
	case axis.Sinks:
		return fmt.Sprintf("the mount sank or turned slowly, by %s from the first frame to the last; the answer is for where it stood last; set the tripod on firm ground and measure again, or check the times of the frames", tiny(w.Angle))
	}
	return "warning: " + w.String()
}

// frameWarned is of one frame.
func frameWarned(w *axis.Warning) string {
	frame := strings.Join(w.Names, " and ")
	switch w.Kind {
	case axis.NoStars:
		return fmt.Sprintf("frame %s is left out: it has %s, and at least %d are needed, apart from each other", frame, Count(w.Count, "matched star"), w.Least)
	case axis.Scrambled:
		return fmt.Sprintf("frame %s is left out: its stars lie %s from where they should; it was recognised wrongly", frame, tiny(w.Angle))
	case axis.FewStars:
		return fmt.Sprintf("frame %s has only %s to measure by", frame, Count(w.Count, "star"))
	case axis.RoughStars:
		return fmt.Sprintf("frame %s: stars lie %s from where they should, %d were left out; is it trailed, out of focus, or shaken?", frame, tiny(w.Angle), w.Count)
	case axis.OddFrame:
		what := "is left out: it is"
		if !w.Certain() {
			what = "seems to be"
		}
		return fmt.Sprintf("frame %s %s %s off the rotation of the others; was it shaken or touched, or is its time wrong?", frame, what, tiny(w.Angle))
	}
	if w.Angle < 0 {
		return fmt.Sprintf("by its time and site, frame %s looked %.0f deg below the horizon: the time, its zone, or the site is wrong; do not trust the answer", frame, -w.Angle.Degrees())
	}
	return fmt.Sprintf("frame %s looks only %.0f deg above the horizon, where refraction is uncertain", frame, w.Angle.Degrees())
}

// movedBetween is of what moved between two frames.
func movedBetween(w *axis.Warning) string {
	both := strings.Join(w.Names, " and ")
	switch w.Kind {
	case axis.DecSlip:
		return fmt.Sprintf("the declination axis turned by %s between frames %s; this is allowed for", tiny(w.Angle), both)
	case axis.MountMoved:
		return fmt.Sprintf("the mount itself moved by %s between frames %s; the answer is for where it stands now, measure again to be sure", tiny(w.Angle), both)
	}
	return fmt.Sprintf("that is as if the camera had shifted by %s between frames %s; is it loose, or does a cable pull? tighten it and measure again", tiny(w.Angle), both)
}

// tiny writes an angle that may be far below an arcminute.
func tiny(a sphere.Angle) string {
	switch x := a.Abs(); {
	case x < sphere.Arcminute:
		return fmt.Sprintf("%.1f arcsec", a.Arcseconds())
	case x < sphere.Degree:
		return fmt.Sprintf("%.1f arcmin", a.Arcminutes())
	}
	return fmt.Sprintf("%.1f deg", a.Degrees())
}
