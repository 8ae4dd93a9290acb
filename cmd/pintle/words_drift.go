package main

import (
	"fmt"
	"strings"

	"pintle/axis"
	"pintle/index/sphere"
)

const textDriftLong = `Checks the axis by another road than turning the mount: leave the telescope
tracking one patch of sky, without guiding, and photograph it for ten minutes or
more. Stars drift in declination and the field turns when the axis is off. The
drive's own errors do not matter. When the journal has a measurement of the same
evening, the two are compared.

A narrow field tells only the part of the error that makes stars drift at its
place: look once near the meridian, once low in the east or west.`

const textDriftExample = `  pintle drift t00.fits t05.fits t10.fits t15.fits`

func (a *app) showDrift(d *driftCheck) {
	p := func(format string, args ...any) { fmt.Fprintf(a.out, format+"\n", args...) }
	p("")
	if d.watch == nil {
		p("  %s  %s", a.bold("NO ANSWER"), d.reason)
		return
	}
	w, o := d.watch, d.offset
	p("   stars drift %s in declination, the field turns %s", a.bold(driftWords(w.Dec)), a.bold(fmt.Sprintf("%+.0f\" ± %.0f\" an hour", w.Field.PerHour.Arcseconds(), w.Field.Err.Arcseconds())))
	p("   (%d frames over %.0f min, %s, declination %+.0f°)", len(w.Frames), w.Span.Minutes(), hourAngle(w.HA), w.Dec0.Degrees())
	p("")
	p("   altitude %s   azimuth on the sky %s", plusMinus(o.Alt, o.Err.Alt), plusMinus(o.AzSky, o.Err.AzSky))
	p("   off the %s pole by %s", poleName(d.m.pole), a.bold(strings.TrimPrefix(plusMinus(o.Total, o.Err.Total), "+")))
	if max(o.Err.Alt, o.Err.AzSky) > 5*sphere.Arcminute {
		p("   note  one part is poorly known from here; watch longer, or at another hour angle")
	}
	if w.Tilt > 3*sphere.Arcsecond {
		p("   note  the frames scatter by %.0f\" beyond their stars' errors: wind, or something loose", w.Tilt.Arcseconds())
	}
	if rest := w.RA.PerHour.Abs(); rest > 60*sphere.Arcsecond {
		p("   note  stars also drift %s in RA: the drive's rate, its periodic error, or the same axis", westEast(w.RA))
	}
	p("")
	if d.other == nil {
		p("   The journal has no measurement of this evening here to compare with.")
		return
	}
	p("   The measurement of %s said altitude %+.2f', azimuth %+.2f': the two differ by", d.other.Time.Format("15:04 UTC"), d.other.Offset.Alt, d.other.Offset.AzSky)
	p("   %+.2f' and %+.2f', which is %s.", d.alt.Arcminutes(), d.az.Arcminutes(), a.bold(agreement(d.sigma)))
	if d.sigma > 3 {
		p("   Something moved since, or one of them is wrong: measure again.")
	}
}

// driftWords says a declination drift with its direction.
func driftWords(r axis.Rate) string {
	way := "north"
	if r.PerHour < 0 {
		way = "south"
	}
	return fmt.Sprintf("%.1f\" ± %.1f\" an hour %s", r.PerHour.Abs().Arcseconds(), r.Err.Arcseconds(), way)
}

func westEast(r axis.Rate) string {
	way := "west"
	if r.PerHour < 0 {
		way = "east"
	}
	return fmt.Sprintf("%.0f\" an hour %s", r.PerHour.Abs().Arcseconds(), way)
}

func plusMinus(x, sigma sphere.Angle) string {
	return fmt.Sprintf("%+.2f' ± %s", x.Arcminutes(), errWords(sigma))
}

// agreement words a difference in standard errors.
func agreement(sigma float64) string {
	switch {
	case sigma < 2:
		return fmt.Sprintf("%.1f sigma: they agree", sigma)
	case sigma < 3:
		return fmt.Sprintf("%.1f sigma: they barely agree", sigma)
	}
	return fmt.Sprintf("%.1f sigma: THEY DISAGREE", sigma)
}
