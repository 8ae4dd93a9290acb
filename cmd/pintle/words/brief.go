package words

import (
	"errors"
	"fmt"

	"pintle/axis"
	"pintle/cmd/pintle/session"
	"pintle/solve"
	"pintle/solve/detect"
)

// MissBrief says why a frame takes no part in the few words that one reads first, on a
// phone in the dark; Miss has the details.
func MissBrief(f *session.Frame) string {
	var un *solve.Unsolved
	var weak *axis.WeakError
	switch kind, err := f.Miss.Kind, f.Miss.Err; {
	case kind == session.Unsolved && errors.As(err, &un):
		return "not recognised: " + notSolvedBrief(&un.Reason)
	case kind == session.Unsolved:
		return "not recognised"
	case kind == session.Unreadable && !errors.Is(err, session.ErrNotWhole):
		return "the file cannot be read"
	case errors.As(err, &weak) && weak.Reason == axis.Flipped:
		return "upside down: other side of the pier?"
	case errors.As(err, &weak):
		return "does not fit the other frames"
	}
	return Miss(f)
}

// notSolvedBrief is NotSolved in a few words: what is wrong with the picture as far as
// the picture tells, the worst first.
func notSolvedBrief(r *solve.Reason) string {
	for _, t := range r.Troubles {
		if t.Kind != detect.FewStars { // said below, by the number that counts
			return troubleBrief(t)
		}
	}
	switch {
	case r.Panorama:
		return "is it a panorama?"
	case r.Kind == solve.Tied:
		return "fits two parts of the sky"
	case r.Kind == solve.NoPattern:
		return "cloud, trees or lamps?"
	case r.Stars == 0:
		return "no stars"
	}
	return "only " + Count(r.Stars, "star")
}

func troubleBrief(t detect.Trouble) string {
	switch t.Kind {
	case detect.TooSmall:
		return "a tiny picture"
	case detect.Blank:
		return "the picture is blank"
	case detect.Overexposed:
		return "overexposed"
	case detect.BrightSky:
		return "the sky is too bright"
	case detect.Trailed:
		return "stars are trailed"
	case detect.OutOfFocus:
		return "out of focus"
	case detect.Obstructed:
		return fmt.Sprintf("obstacles on %.0f %% of it", 100*t.Much)
	}
	return fmt.Sprintf("cloud or obstacles on %.0f %% of it", 100*t.Much)
}
