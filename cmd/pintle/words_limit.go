package main

import (
	"fmt"
	"math"
	"time"

	"pintle/cmd/pintle/journal"
	"pintle/index/sphere"
)

const textLimitLong = `Says how far the polar axis may be off before your exposures show it: for any
target, and with --target for that one tonight, when it stands high enough in
a dark sky. With --off-alt and --off-az, or --measured, the other way round:
what a known error does to an exposure. Also which pole serves the target best:
the true one, the one seen through the air, or the one that keeps refraction's
drift away (King).`

const textLimitExample = `  pintle limit --focal 400 --pixel 3.76 --exposure 180
  pintle limit --target M42 --camera long --site garden
  pintle limit --target M31 --off-alt 3 --off-az -5
  pintle limit --target M31 --measured`

// smallAngle writes an angle of the alignment in a unit that suits it.
func smallAngle(a sphere.Angle) string {
	switch m := math.Abs(a.Arcminutes()); {
	case m >= 90:
		return fmt.Sprintf("%.1f°", a.Degrees())
	case m >= 9.95:
		return fmt.Sprintf("%.0f'", a.Arcminutes())
	case m >= 0.995:
		return fmt.Sprintf("%.1f'", a.Arcminutes())
	}
	return fmt.Sprintf("%.2f' (%.0f\")", a.Arcminutes(), a.Arcseconds())
}

// atMost is smallAngle, with the largest error ever allowed said as such.
func atMost(a sphere.Angle) string {
	if a >= 20*sphere.Degree {
		return "20° and more"
	}
	return smallAngle(a)
}

func (a *app) showLimit(l *limits) {
	p := func(format string, args ...any) { fmt.Fprintf(a.out, format+"\n", args...) }
	e := l.exposure
	how := "unguided"
	if e.Guided {
		how = "guided"
	}
	named := ""
	if l.camera != "" {
		named = l.camera + ": "
	}
	p("%s%g mm, %g µm pixels (%.2f\" each), %s %s, trails up to %g px", named, e.Focal, e.Pixel, e.Scale().Arcseconds(), seconds(e.Time), how, e.Trail)
	p("")
	p("   any target, anywhere    the axis may be off by %s", a.bold(atMost(l.worst)))
	if e.Guided {
		p("                           (guiding leaves only the field's rotation, here over %.2f°; at", e.Corner.Degrees())
		p("                           declination ±60° half as much is allowed, nearer the pole less)")
	}
	if e.Time > time.Hour {
		p("                           (an exposure this long: the longest trail between start and end)")
	}
	if l.allowed != nil {
		a.showTarget(l, p)
	}
	if l.measured != nil {
		a.showEffect(l, p)
	}
	if l.allowed == nil && l.measured == nil {
		p("")
		p("Name a target with --target (and a site) to see what it allows tonight.")
	}
}

// seconds writes an exposure.
func seconds(d time.Duration) string { return fmt.Sprintf("%g s", d.Seconds()) }

// hourAngle writes an hour angle as time before or after the meridian.
func hourAngle(a sphere.Angle) string {
	h := a.Degrees() / 15
	switch {
	case math.Abs(h) < 0.05:
		return "on the meridian"
	case h < 0:
		return fmt.Sprintf("%.1f h before the meridian", -h)
	}
	return fmt.Sprintf("%.1f h after the meridian", h)
}

func (a *app) showTarget(l *limits, p func(string, ...any)) {
	s := l.session
	p("   %-23s the axis may be off by %s", l.target.Name+" tonight", a.bold(atMost(l.allowed.Any)))
	p("                           if only the altitude is off, by %s; only the azimuth, by %s on the sky", atMost(l.allowed.Alt), atMost(l.allowed.Az))
	p("")
	p("%s from %s to %s at %s,", l.target.Title(), s.from.Format("2 January 15:04"), s.to.Format("15:04 MST"), l.home.where())
	p("%s to %s, never below %.0f°.", hourAngle(s.window.From), hourAngle(s.window.To), s.lowest.Degrees())
	p("")
	p("Which pole serves? Refraction drives stars north or south even when the axis is")
	p("right; the drift in declination over that time (root mean square):")
	for _, c := range l.poles {
		mark := " "
		if c.serves {
			mark = "*"
		}
		p("  %s %-9s pole, %4.0f\" above the true one: %6.2f\" an hour", mark, c.name, c.gamma.Arcseconds(), c.drift.Arcseconds())
	}
	drift := l.poles[0].drift
	for _, c := range l.poles {
		drift = max(drift, c.drift)
	}
	if px := float64(drift/l.exposure.Scale()) * l.exposure.Time.Hours(); px < 0.3*l.exposure.Trail {
		p("In one exposure that is no more than %.2f px: any of them will do.", px)
	}
}

// measuredAt says where a known error comes from.
func measuredAt(r journal.Record) string {
	return "measured " + r.Time.Format("2 January 15:04 UTC")
}

func (a *app) showEffect(l *limits, p func(string, ...any)) {
	m := l.measured
	f, e := m.effect, l.exposure
	what := "any star"
	if m.forTarget {
		what = l.target.Name
	}
	p("")
	p("An axis off by %s (altitude %+.2f', azimuth adjuster %+.2f'; %s) does this to %s", smallAngle(m.sep), m.alt.Arcminutes(), m.azKnob.Arcminutes(), m.source, what)
	p("in one exposure of %s, at its worst (%s):", seconds(e.Time), hourAngle(m.at))
	p("   drift in declination    %+.2f\"  (%+.2f px)", f.Drift.Arcseconds(), float64(f.Drift/e.Scale()))
	p("   drift in RA             %+.2f\"  (%+.2f px)", f.Along.Arcseconds(), float64(f.Along/e.Scale()))
	p("   field rotation          %.1f\" unguided, %.1f\" guided", f.Rotated.Abs().Arcseconds(), f.Guided.Abs().Arcseconds())
	verdict := "within"
	if m.worstPx > e.Trail {
		verdict = "MORE THAN"
	}
	p("   longest trail           %s px, %s the %g px you accept", a.bold(fmt.Sprintf("%.2f", m.worstPx)), verdict, e.Trail)
}
