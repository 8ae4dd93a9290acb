package main

import (
	"fmt"
	"time"

	"pintle/axis/drive"
	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/words"
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

// atMost is smallAngle, with the largest error ever allowed said as such.
func atMost(a sphere.Angle) string {
	if a >= drive.MostError {
		return "20° and more"
	}
	return words.SmallAngle(a)
}

// poleNames are the kinds of pole in words.
var poleNames = map[drive.PoleKind]string{drive.TruePole: "true", drive.RefractedPole: "refracted", drive.KingsPole: "King's"}

// tellLimit prints what is allowed for people or machines.
func (a *app) tellLimit(l *limits, asJSON bool) error {
	if asJSON {
		return a.limitJSON(l)
	}
	a.showLimit(l)
	return nil
}

func (a *app) showLimit(l *limits) {
	p := a.Line
	e := l.exposure
	how := "unguided"
	if e.Guided {
		how = "guided"
	}
	named := ""
	if l.camera != "" {
		named = l.camera + ": "
	}
	p("%s%g mm, %g µm pixels (%.2f\" each), %s %s, trails up to %g px", named, e.Focal, e.Pixel, e.Scale().Arcseconds(), words.Seconds(e.Time), how, e.Trail)
	p("")
	p("   any target, anywhere    the axis may be off by %s", a.Bold(atMost(l.worst)))
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

func (a *app) showTarget(l *limits, p func(string, ...any)) {
	s := l.stretch
	p("   %-23s the axis may be off by %s", l.target.Name+" tonight", a.Bold(atMost(l.allowed.Any)))
	p("                           if only the altitude is off, by %s; only the azimuth, by %s on the sky", atMost(l.allowed.Alt), atMost(l.allowed.Az))
	p("")
	p("%s from %s to %s at %s,", l.target.Title(), s.From.Format("2 January 15:04"), s.To.Format("15:04 MST"), l.home.where())
	p("%s to %s, never below %.0f°.", words.HourAngle(s.Window.From), words.HourAngle(s.Window.To), s.Lowest.Degrees())
	p("")
	p("Which pole serves? Refraction drives stars north or south even when the axis is")
	p("right; the drift in declination over that time (root mean square):")
	for _, c := range l.poles {
		mark := " "
		if c.Serves {
			mark = "*"
		}
		p("  %s %-9s pole, %4.0f\" above the true one: %6.2f\" an hour", mark, poleNames[c.Kind], c.Above.Arcseconds(), c.Drift.Arcseconds())
	}
	drift := l.poles[0].Drift
	for _, c := range l.poles {
		drift = max(drift, c.Drift)
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
	p("An axis off by %s (altitude %+.2f', azimuth adjuster %+.2f'; %s) does this to %s", words.SmallAngle(m.sep), m.alt.Arcminutes(), m.azKnob.Arcminutes(), m.source, what)
	p("in one exposure of %s, at its worst (%s):", words.Seconds(e.Time), words.HourAngle(m.at))
	p("   drift in declination    %+.2f\"  (%+.2f px)", f.Drift.Arcseconds(), float64(f.Drift/e.Scale()))
	p("   drift in RA             %+.2f\"  (%+.2f px)", f.Along.Arcseconds(), float64(f.Along/e.Scale()))
	p("   field rotation          %.1f\" unguided, %.1f\" guided", f.Rotated.Abs().Arcseconds(), f.Guided.Abs().Arcseconds())
	verdict := "within"
	if m.worstPx > e.Trail {
		verdict = "MORE THAN"
	}
	p("   longest trail           %s px, %s the %g px you accept", a.Bold(fmt.Sprintf("%.2f", m.worstPx)), verdict, e.Trail)
}

type effectJSON struct {
	Source    string  `json:"source"`
	Alt       float64 `json:"alt_arcmin"`
	AzKnob    float64 `json:"az_knob_arcmin"`
	Total     float64 `json:"total_arcmin"`
	HA        float64 `json:"worst_start_hour_angle_deg"`
	Drift     float64 `json:"dec_drift_arcsec"`
	Along     float64 `json:"ra_drift_arcsec"`
	Move      float64 `json:"move_arcsec"`
	Guided    float64 `json:"rotation_guided_arcsec"`
	Unguided  float64 `json:"rotation_unguided_arcsec"`
	Trail     float64 `json:"trail_px"`
	ForTarget bool    `json:"for_target"`
}

type poleChoiceJSON struct {
	Pole   string  `json:"pole"`
	Above  float64 `json:"above_true_arcsec"`
	Drift  float64 `json:"dec_drift_rms_arcsec_per_hour"`
	Serves bool    `json:"serves"`
}

func (a *app) limitJSON(l *limits) error {
	type targetJSON struct {
		Name   string  `json:"name"`
		Dec    float64 `json:"dec_deg"`
		From   string  `json:"from"`
		To     string  `json:"to"`
		FromHA float64 `json:"from_hour_angle_deg"`
		ToHA   float64 `json:"to_hour_angle_deg"`
		Any    float64 `json:"allowed_arcmin"`
		Alt    float64 `json:"allowed_alt_arcmin"`
		Az     float64 `json:"allowed_az_sky_arcmin"`
	}
	type out struct {
		Scale    float64          `json:"scale_arcsec_px"`
		Exposure float64          `json:"exposure_s"`
		Guided   bool             `json:"guided"`
		Corner   float64          `json:"corner_deg"`
		Trail    float64          `json:"trail_px"`
		Worst    float64          `json:"allowed_worst_arcmin"`
		Target   *targetJSON      `json:"target"`
		Poles    []poleChoiceJSON `json:"poles"`
		Effect   *effectJSON      `json:"effect"`
	}
	e := l.exposure
	o := out{Scale: e.Scale().Arcseconds(), Exposure: e.Time.Seconds(), Guided: e.Guided, Corner: e.Corner.Degrees(), Trail: e.Trail,
		Worst: l.worst.Arcminutes(), Poles: []poleChoiceJSON{}}
	if l.allowed != nil {
		w := l.stretch.Window
		o.Target = &targetJSON{l.target.Title(), w.Dec.Degrees(), l.stretch.From.Format(time.RFC3339), l.stretch.To.Format(time.RFC3339),
			w.From.Degrees(), w.To.Degrees(), l.allowed.Any.Arcminutes(), l.allowed.Alt.Arcminutes(), l.allowed.Az.Arcminutes()}
	}
	for _, p := range l.poles {
		o.Poles = append(o.Poles, poleChoiceJSON{poleNames[p.Kind], p.Above.Arcseconds(), p.Drift.Arcseconds(), p.Serves})
	}
	if m := l.measured; m != nil {
		f := m.effect
		o.Effect = &effectJSON{m.source, m.alt.Arcminutes(), m.azKnob.Arcminutes(), m.sep.Arcminutes(), m.at.Degrees(), f.Drift.Arcseconds(), f.Along.Arcseconds(),
			f.Move.Arcseconds(), f.Guided.Arcseconds(), f.Rotated.Arcseconds(), m.worstPx, m.forTarget}
	}
	return a.JSON(o)
}
