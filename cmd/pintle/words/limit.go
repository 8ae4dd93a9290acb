package words

import (
	"fmt"
	"time"

	"pintle/axis/drive"
	"pintle/cmd/pintle/planning"
	"pintle/index/sphere"
)

const LimitLong = `Says how far the polar axis may be off before your exposures show it: for any
target, and with --target for that one tonight, when it stands high enough in
a dark sky. With --off-alt and --off-az, or --measured, the other way round:
what a known error does to an exposure. Also which pole serves the target best:
the true one, the one seen through the air, or the one that keeps refraction's
drift away (King).`

const LimitExample = `  pintle limit --focal 400 --pixel 3.76 --exposure 180
  pintle limit --target M42 --camera long --site garden
  pintle limit --target M31 --off-alt 3 --off-az -5
  pintle limit --target M31 --measured`

// AtMost is SmallAngle, with the largest error ever allowed said as such.
func AtMost(a sphere.Angle) string {
	if a >= drive.MostError {
		return "20° and more"
	}
	return SmallAngle(a)
}

// PoleKind names a kind of pole.
func PoleKind(k drive.PoleKind) string {
	return map[drive.PoleKind]string{drive.TruePole: "true", drive.RefractedPole: "refracted", drive.KingsPole: "King's"}[k]
}

// Exposure says which photographs are to come out sharp.
func Exposure(l *planning.Limits) string {
	e := l.Exposure
	named := ""
	if l.Camera != "" {
		named = l.Camera + ": "
	}
	return fmt.Sprintf("%s%g mm, %g µm pixels (%.2f\" each), %s %s, trails up to %g px", named, e.Focal, e.Pixel, e.Scale().Arcseconds(), seconds(e.Time), guided(e.Guided), e.Trail)
}

// LimitNotes say what the allowance for any target leaves out.
func LimitNotes(e drive.Exposure) []string {
	var l lines
	if e.Guided {
		l.add("(guiding leaves only the field's rotation, here over %.2f°; at", e.Corner.Degrees())
		l.add("declination ±60° half as much is allowed, nearer the pole less)")
	}
	if e.Corner == 0 {
		l.add("(without --width and --height in pixels the field's rotation is left out)")
	}
	if e.Time > time.Hour {
		l.add("(an exposure this long: the longest trail between start and end)")
	}
	return l
}

// NameTarget says what more there is to ask.
const NameTarget = "Name a target with --target (and a site) to see what it allows tonight."

// Stretch says when the target stands high enough.
func Stretch(l *planning.Limits) []string {
	s, h := l.Stretch, l.Home
	var out lines
	out.add("%s from %s to %s at %s,", l.Target.Title(), s.From.Format("2 January 15:04"), s.To.Format("15:04 MST"), Where(h.Name, h.Site))
	out.add("%s to %s, never below %.0f°.", HourAngle(s.Window.From), HourAngle(s.Window.To), s.Lowest.Degrees())
	return out
}

// Poles says which pole serves a target.
func Poles(l *planning.Limits) []string {
	out := lines{
		"Which pole serves? Refraction drives stars north or south even when the axis is",
		"right; the drift in declination over that time (root mean square):",
	}
	drift := l.Poles[0].Drift
	for _, c := range l.Poles {
		mark := " "
		if c.Serves {
			mark = "*"
		}
		out.add("  %s %-9s pole, %4.0f\" above the true one: %6.2f\" an hour", mark, PoleKind(c.Kind), c.Above.Arcseconds(), c.Drift.Arcseconds())
		drift = max(drift, c.Drift)
	}
	if px := float64(drift/l.Exposure.Scale()) * l.Exposure.Time.Hours(); px < 0.3*l.Exposure.Trail {
		out.add("In one exposure that is no more than %.2f px: any of them will do.", px)
	}
	return out
}

// KnownFrom says where a known error comes from.
func KnownFrom(k *planning.Known) string {
	if k.Measured.IsZero() {
		return "given"
	}
	return "measured " + k.Measured.Format("2 January 15:04 UTC")
}

// Effect says what a known error does.
func Effect(l *planning.Limits) []string {
	k, e := l.Known, l.Exposure
	f := k.Effect
	what := "any star"
	if k.ForTarget {
		what = l.Target.Name
	}
	var out lines
	out.add("An axis off by %s (altitude %+.2f', azimuth adjuster %+.2f'; %s) does this to %s", SmallAngle(k.Sep), k.Alt.Arcminutes(), k.AzKnob.Arcminutes(), KnownFrom(k), what)
	out.add("in one exposure of %s, at its worst (%s):", seconds(e.Time), HourAngle(k.HA))
	out.add("   drift in declination    %+.2f\"  (%+.2f px)", f.Drift.Arcseconds(), float64(f.Drift/e.Scale()))
	out.add("   drift in RA             %+.2f\"  (%+.2f px)", f.Along.Arcseconds(), float64(f.Along/e.Scale()))
	if e.Corner == 0 {
		out.add("   field rotation          left out: the frame's size is not known")
	} else {
		out.add("   field rotation          %.1f\" unguided, %.1f\" guided", f.Rotated.Abs().Arcseconds(), f.Guided.Abs().Arcseconds())
	}
	return out
}

// TrailVerdict says whether the longest trail is accepted.
func TrailVerdict(l *planning.Limits) string {
	verdict := "within"
	if l.Known.Trail > l.Exposure.Trail {
		verdict = "MORE THAN"
	}
	return fmt.Sprintf("%s the %g px you accept", verdict, l.Exposure.Trail)
}
