package main

import (
	"fmt"
	"unicode/utf8"

	"pintle/axis"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/terminal"
	"pintle/cmd/pintle/words"
	"pintle/index/sphere"
)

// The words of the verb axis.

const textAxisLong = `Measures the mount's RA axis from two or more photographs. Leave declination,
camera, focus and tripod alone and turn RA only; 30 degrees and more between
the first frame and the last are good, tracking may be on or off.`

const textAxisExample = `  pintle axis one.fits two.fits three.fits
  pintle axis --lat -31.4 --lon 121.9 --elev 430 one.jpg two.jpg three.jpg`

// arrow returns the sign for a direction.
func arrow(d axis.Direction) string {
	switch d {
	case axis.Raise:
		return "▲"
	case axis.Lower:
		return "▼"
	case axis.Clockwise:
		return "↻"
	}
	return "↺"
}

// verb returns what the hand does.
func verb(d axis.Direction) string {
	switch d {
	case axis.Raise:
		return "raise"
	case axis.Lower:
		return "lower"
	case axis.Clockwise:
		return "turn clockwise, seen from above"
	}
	return "turn counter-clockwise, seen from above"
}

// showAxis prints the answer of the axis verb.
func (a *app) showAxis(m *measurement) {
	if m.result == nil {
		fmt.Fprintf(a.out, "\n  %s  %s\n\n", a.bold("NO ANSWER"), m.reason)
		a.showFrames(m)
		return
	}
	o := m.offset
	fmt.Fprintln(a.out)
	turns := amounts(o, m.mount)
	for i, mv := range o.Moves() {
		if a.large {
			fmt.Fprint(a.out, a.bold(terminal.BigMove(mv)))
		}
		fmt.Fprintf(a.out, "   %s  %s   %-8s %s\n", a.bold(arrow(mv.Direction)), a.bold(fmt.Sprintf("%8.2f'", mv.Amount.Arcminutes())), mv.Adjuster, verb(mv.Direction))
		a.showTurns(i, turns[i])
		fmt.Fprintln(a.out)
	}
	verdict := "NOT YET within"
	if m.within() {
		verdict = "WITHIN"
	}
	fmt.Fprintf(a.out, "   off by %.2f' ± %s   %s the tolerance of %.3g'%s\n\n", o.Total.Arcminutes(), errWords(o.Err.Total), a.bold(verdict), m.tolerance, m.toleranceWords())
	a.showFrames(m)
	az, alt := m.result.Axis.AzAlt()
	paz, palt := o.Pole.AzAlt()
	fmt.Fprintf(a.out, "\n   axis  azimuth %9.4f°  altitude %8.4f°\n", az.Degrees(), alt.Degrees())
	fmt.Fprintf(a.out, "   pole  azimuth %9.4f°  altitude %8.4f°  (%s)\n", paz.Degrees(), palt.Degrees(), m.poleName())
	fmt.Fprintf(a.out, "   site  %.4f° %.4f° %.0f m (%s)\n", m.site.Lat.Degrees(), m.site.Lon.Degrees(), m.site.Elev, m.siteSource)
	fmt.Fprintf(a.out, "   air   %.0f hPa  %.0f °C (%s)\n", m.air.Pressure, m.air.Temp, m.airSource)
	fmt.Fprintf(a.out, "   time  %s\n", m.shots[0].frame.Time.Source)
	for _, w := range m.warnings() {
		fmt.Fprintf(a.out, "   note  %s\n", w)
	}
}

func poleName(k axis.PoleKind) string {
	if k == axis.True {
		return "true"
	}
	return "refracted"
}

// warnings are the sentences that go with the answer.
func (m *measurement) warnings() []string {
	out := []string{}
	if m.result != nil {
		for _, w := range m.result.Warnings {
			out = append(out, w.String())
		}
		if m.offset.NearZenith {
			out = append(out, "the pole stands within 10 degrees of the zenith: azimuth means little here, go by the total")
		}
		out = append(out, m.health()...)
	}
	seen := map[string]bool{}
	for _, s := range m.shots {
		for _, n := range s.frame.Notes {
			if !seen[n] {
				seen[n] = true
				out = append(out, s.name()+": "+n)
			}
		}
	}
	return out
}

// belowHorizon is the reason for no answer when a frame would have been taken
// through the ground. An axis worked out all the same would be worse than none.
func belowHorizon(name string, alt sphere.Angle) string {
	return fmt.Sprintf("%s would have looked %.0f degrees below the horizon: the time, its zone, or the site is wrong; check --time-zone, --at, --lat and --lon", name, -alt.Degrees())
}

func (a *app) showFrames(m *measurement) {
	width := 0
	for _, s := range m.shots {
		width = max(width, utf8.RuneCountInString(s.name()))
	}
	for i, s := range m.shots {
		fmt.Fprintf(a.out, "   %-*s  ", width, s.name())
		if s.sol == nil {
			fmt.Fprintf(a.out, "not solved: %s\n", s.why)
			continue
		}
		ra, dec := s.sol.Centre().RADec()
		fmt.Fprintf(a.out, "RA %6.2f° Dec %+6.2f°", ra.Degrees(), dec.Degrees())
		if m.result == nil {
			fmt.Fprintf(a.out, "  %4d stars  %.2f\"\n", len(s.sol.Matches), s.sol.RMS.Arcseconds())
			continue
		}
		f := m.result.Frames[m.fitted[i]]
		left := ""
		if !f.Used {
			left = "  left out"
		}
		fmt.Fprintf(a.out, "  turn %+7.2f°  %4d stars  %.2f\"%s\n", f.Turn.Degrees(), f.Inliers, f.RMS.Arcseconds(), left)
	}
}

// showTurns adds to a move what it is in turns of the bolt; which is 0 for the
// altitude and 1 for the azimuth.
func (a *app) showTurns(which int, m gear.Amount) {
	if s := words.Turns(m); s != "" && m.Beyond == 0 {
		fmt.Fprintf(a.out, "                  %s\n", s)
	}
	switch {
	case m.Beyond != 0 && which == 0:
		fmt.Fprintf(a.out, "      %s\n", words.BeyondAlt(m.Beyond))
	case m.Beyond != 0:
		fmt.Fprintf(a.out, "      %s\n", words.BeyondAz(m.Beyond))
	}
}

// toleranceWords says where the tolerance comes from.
func (m *measurement) toleranceWords() string {
	if m.toleranceSource == "" {
		return ""
	}
	return " (" + m.toleranceSource + ")"
}

func (a *app) notKept(err error) {
	fmt.Fprintf(a.err, "pintle: the journal could not be written: %v\n  try: name another file with --journal, or --no-journal\n", err)
}
