package words

import (
	"fmt"
	"strings"

	"pintle/cmd/pintle/series"
)

// starsShow says what the look of the stars tells of air, optics and mount, and what to
// do.
func starsShow(f *series.Finding) string {
	s := looksLike(f)
	if !f.Certain() {
		s = fmt.Sprintf("%s (the likeliest of several, %.0f %%)", s, 100*f.Chance)
	}
	return s
}

func looksLike(f *series.Finding) string {
	frames := severalFrames(f.Names)
	long := fmt.Sprintf("%s (%.0f pixels)", tiny(f.Length), f.Much)
	switch f.Kind {
	case series.Dew:
		return fmt.Sprintf("the stars fade from frame to frame, by %.1f magnitudes up to the last, all over the picture: dew or frost on the lens? look at it by a red lamp, and warm it; frames that are recognised still count", f.Much)
	case series.Clouds:
		return fmt.Sprintf("clouds, or something else before the lens: in %s %s missing; frames that are recognised still count; wait, or turn to clear sky", frames, lacking(f))
	case series.Focus:
		return fmt.Sprintf("focus was lost: in %s the stars are up to %.1f times as wide as before and bring as much light; focus without turning the camera in its holder, or begin anew", frames, f.Much)
	case series.Shaken:
		return fmt.Sprintf("in %s the stars are trailed by up to %s, not the way RA turns: wind, a hand, or something that swings or slips; their middles are used; shelter the mount, wait before exposing, or expose for a shorter time", frames, long)
	case series.Turned:
		return fmt.Sprintf("in %s the stars are trailed by up to %s the way RA turns, and not by what the sky does: RA was still turning or swinging while the shutter was open; how far RA was turned is free in the fit, so the axis is none the worse for it; wait until the mount stands before exposing", frames, long)
	case series.Standing:
		return fmt.Sprintf("in %s the stars are trailed by up to %s, which is what the sky turns meanwhile: the drive is off or stands; their middles belong to the middle of the exposure and are used; switch tracking on, or expose for a shorter time", frames, long)
	}
	return f.Kind.String()
}

// thickest is the loss of light, magnitudes, from which on the figure means nothing:
// what is seen then is hardly the stars (no source).
const thickest = 6

// lacking says what clouds take away.
func lacking(f *series.Finding) string {
	light, of := fmt.Sprintf("up to %.1f magnitudes of starlight", f.Much), fmt.Sprintf("%.0f %% of the stars that should show", 100*f.Share)
	if f.Much > thickest {
		light = fmt.Sprintf("more than %d magnitudes of starlight", thickest)
	}
	switch {
	case f.Share < 0.005:
		return light + " are"
	case f.Much < 0.05:
		return "up to " + of + " are"
	}
	return light + " and " + of + " are"
}

// severalFrames names frames, of many the first.
func severalFrames(names []string) string {
	const most = 3
	switch n := len(names); {
	case n == 1:
		return "frame " + names[0]
	case n > most:
		return fmt.Sprintf("frames %s and %d more", strings.Join(names[:most], ", "), n-most)
	}
	return "frames " + strings.Join(names, ", ")
}
