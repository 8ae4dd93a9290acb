package main

import (
	"fmt"

	"pintle/axis/drive"
	"pintle/cmd/pintle/journal"
	"pintle/index/sphere"
)

const textReportLong = `Makes one page of an evening: the way of the axis to the pole, every measurement
and adjustment, frames and conditions, what is left of the error and what that
means for your exposures. One file, nothing from outside, ready to print.`

const textReportExample = `  pintle report
  pintle report 2026-11-27 -o november.html`

const (
	titleWhole  = "The whole way"
	titleEnd    = "The end of it"
	textClock   = "clockwise"
	textCounter = "counter-clockwise"
)

// reportWords are the sentences at the top of the page.
type reportWords struct {
	Title, Verdict, Conditions string
}

func wordsOfReport(e journal.Evening) reportWords {
	last := e.Last()
	w := reportWords{Title: "Evening of " + eveningTitle(e.Date)}
	verdict := "not within"
	if last.Within() {
		verdict = "within"
	}
	w.Verdict = fmt.Sprintf("The axis was left %.2f' ± %s from the %s pole, %s the tolerance of %.3g'.", last.Offset.Total, errWords(arcmin(last.Sigma.Total)), last.Pole.Kind, verdict, last.Tolerance)
	w.Conditions = fmt.Sprintf("air %.0f hPa, %.0f °C", last.Air.Pressure, last.Air.Temp)
	if last.Air.Pressure == 0 {
		w.Conditions = "refraction not counted"
	}
	return w
}

// meaningWords says what an error does to an exposure.
func meaningWords(camera string, e drive.Exposure, f drive.Effect, px float64) []string {
	how := "unguided"
	if e.Guided {
		how = "guided"
	}
	out := []string{fmt.Sprintf("In %s of %s with the camera %q (%.2f\" a pixel) this error trails a star by %.2f px at worst; %g px are accepted.",
		how+" exposures", seconds(e.Time), camera, e.Scale().Arcseconds(), px, e.Trail)}
	if !e.Guided {
		out = append(out, fmt.Sprintf("That is up to %.2f\" of drift in one exposure.", f.Move.Arcseconds()))
	} else {
		out = append(out, fmt.Sprintf("That is the field's rotation, %.1f\" in one exposure, over %.2f°.", f.Guided.Abs().Arcseconds(), e.Corner.Degrees()))
	}
	return append(out, fmt.Sprintf("An error of %s would still do.", smallAngle(sphere.Angle(e.Worst(0)))))
}

func (a *app) reportWritten(path string) {
	fmt.Fprintf(a.out, "the evening is in %s; open it in any browser\n", path)
}
