package words

import (
	"fmt"

	"pintle/axis/drive"
	"pintle/cmd/pintle/journal"
)

const ReportLong = `Makes one page of an evening: the way of the axis to the pole, every measurement
and adjustment, frames and conditions, what is left of the error and what that
means for your exposures. One file, nothing from outside, ready to print.`

const ReportExample = `  pintle report
  pintle report 2026-11-27 -o november.html`

// Captions of the report's pictures.
const (
	TitleWhole = "The whole way"
	TitleEnd   = "The end of it"
	Clockwise  = "clockwise"
	Counter    = "counter-clockwise"
)

// Verdict says how far from the pole a record of the journal found the axis.
func Verdict(r journal.Record) string {
	return fmt.Sprintf("The axis was left %.2f' ± %s from the %s pole, %s the tolerance of %.3g'.", r.Offset.Total, SigmaOf(r.Sigma.Total), r.Pole.Kind, Within(r.Within()), r.Tolerance)
}

// Made says what the standard error of a measurement is made of.
func Made(m journal.Made) string {
	return fmt.Sprintf("the error is made of: stars %s, mount and air %s, refraction %s", SigmaOf(m.Stars), SigmaOf(m.Mount), SigmaOf(m.Refraction))
}

// Conditions says what air was reckoned with.
func Conditions(a journal.Air) string {
	if a.Pressure == 0 {
		return "refraction not counted"
	}
	return fmt.Sprintf("air %.0f hPa, %.0f °C", a.Pressure, a.Temp)
}

// Meaning says what an error of the axis does to an exposure, px being the
// longest trail.
func Meaning(camera string, e drive.Exposure, f drive.Effect, px float64) []string {
	out := []string{fmt.Sprintf("In %s exposures of %s with the camera %q (%.2f\" a pixel) this error trails a star by %.2f px at worst; %g px are accepted.",
		guided(e.Guided), seconds(e.Time), camera, e.Scale().Arcseconds(), px, e.Trail)}
	if !e.Guided {
		out = append(out, fmt.Sprintf("That is up to %.2f\" of drift in one exposure.", f.Move.Arcseconds()))
	} else {
		out = append(out, fmt.Sprintf("That is the field's rotation, %.1f\" in one exposure, over %.2f°.", f.Guided.Abs().Arcseconds(), e.Corner.Degrees()))
	}
	return append(out, fmt.Sprintf("An error of %s would still do.", SmallAngle(e.Worst(0))))
}
