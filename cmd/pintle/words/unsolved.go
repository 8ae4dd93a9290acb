package words

import (
	"errors"
	"fmt"
	"strings"

	"pintle/axis"
	"pintle/solve"
	"pintle/solve/detect"
)

// Reason says why there is no answer, when the error is one of frames that are
// good in themselves; ok is false for any other.
func Reason(err error) (why string, ok bool) {
	var weak *axis.WeakError
	var no *axis.NoWatchError
	var un *solve.Unsolved
	switch {
	case errors.As(err, &weak):
		return tooWeak(weak), true
	case errors.As(err, &no):
		return noWatch(no), true
	case errors.As(err, &un):
		return NotSolved(&un.Reason), true
	}
	return "", false
}

// searched says how far a frame was looked for that is not given up yet, "" for one
// that was looked for everywhere.
func searched(err error) string {
	var un *solve.Unsolved
	if errors.As(err, &un) && un.Bounded {
		return "; it was only looked for quickly"
	}
	return ""
}

// NotSolved says why a frame was not recognised, and what can be done about it.
func NotSolved(r *solve.Reason) string {
	switch r.Kind {
	case solve.NoStars:
		return "no stars found: is the lens uncovered and in focus, and the sky clear and dark?"
	case solve.Tied:
		return "two parts of the sky fit its stars nearly as well: expose longer, or point where there are more stars"
	}
	var out []string
	for _, t := range r.Troubles {
		if r.Kind != solve.NoPattern && t.Kind == detect.FewStars {
			continue // said below, with advice
		}
		out = append(out, trouble(t))
	}
	switch {
	case r.Kind == solve.TooFew:
		out = append(out, fmt.Sprintf("%s found, at least %d are needed: is the lens uncovered and in focus? if so, expose longer or point at clear sky", Count(r.Stars, "star"), r.Least))
	case r.Kind == solve.FewStars:
		out = append(out, fmt.Sprintf("%s found, too few to be sure: expose longer, or point where there are more stars and no cloud", Count(r.Stars, "star")))
	case len(out) == 0:
		out = append(out, fmt.Sprintf("none of the patterns of its %d brightest spots is one of the sky: cloud, trees, lamps or noise taken for stars, or a field of view outside %.2g to 180 degrees", r.Tried, r.Narrowest.Degrees()))
	default:
		out = append(out, "no pattern of its stars is one of the sky")
	}
	if r.Panorama {
		out = append(out, "twice as wide as high, it may be a panorama of 360 x 180 degrees, which no lens draws: give a photograph that it was made of")
	}
	return strings.Join(out, "; ")
}

// trouble says what is wrong with a picture.
func trouble(t detect.Trouble) string {
	percent := int(100*t.Much + 0.5)
	switch t.Kind {
	case detect.TooSmall:
		return fmt.Sprintf("the picture is only %d x %d pixels", t.W, t.H)
	case detect.Blank:
		return "the picture is blank"
	case detect.Overexposed:
		return fmt.Sprintf("%d %% of the picture is overexposed", percent)
	case detect.BrightSky:
		return fmt.Sprintf("the sky is bright: %d %% of full scale", percent)
	case detect.FewStars:
		if t.Much == 1 {
			return "only 1 star is visible"
		}
		return fmt.Sprintf("only %.0f stars are visible", t.Much)
	case detect.Trailed:
		return fmt.Sprintf("stars are trailed: %.1f times as long as wide", t.Much)
	case detect.OutOfFocus:
		return fmt.Sprintf("stars are out of focus: %.0f pixels wide", t.Much)
	case detect.Obstructed:
		return fmt.Sprintf("obstacles cross %d %% of the picture", percent)
	}
	return fmt.Sprintf("%d %% of the picture has far fewer stars than the rest: clouds or obstacles", percent)
}
