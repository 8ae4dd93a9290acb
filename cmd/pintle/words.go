package main

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"strings"
	"unicode/utf8"

	"pintle/axis"
	"pintle/index"
	"pintle/index/sphere"
	"pintle/solve/frame"
)

// Every word for the terminal is in the files words*.go, this one for the verbs
// axis, solve and index.

const textRootShort = "polar alignment of an equatorial mount from photographs of any patch of sky"

const textRootLong = `pintle tells how far, and which way, the polar axis of an equatorial mount is
off. Photograph any patch of clear sky, turn the mount about its RA axis,
photograph again, once or twice; then

  pintle axis FRAME FRAME FRAME

says what the altitude and the azimuth adjuster must do. The pole need not be
visible. Start with "pintle demo", which invents a night and measures it.

Never sweep the camera or any optics near the Sun; mind aircraft with lasers,
and a heavy mount on a slope.`

const textAxisLong = `Measures the mount's RA axis from two or more photographs. Leave declination,
camera, focus and tripod alone and turn RA only; 30 degrees and more between
the first frame and the last are good, tracking may be on or off.`

const textAxisExample = `  pintle axis one.fits two.fits three.fits
  pintle axis --lat -31.4 --lon 121.9 --elev 430 one.jpg two.jpg three.jpg`

const textSolveLong = `Recognises the stars of each photograph and says where it points. No hint of
place, scale or orientation is needed.`

const textSolveExample = `  pintle solve one.fits
  pintle solve --json *.fits`

// bold marks text for a terminal.
func (a *app) bold(s string) string { return a.sgr("1", s) }

func (a *app) sgr(code, s string) string {
	if !a.colour {
		return s
	}
	return "\x1b[" + code + "m" + s + "\x1b[0m"
}

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
			fmt.Fprint(a.out, a.bold(bigMove(mv)))
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

// errWords writes a standard error: never as nothing.
func errWords(a sphere.Angle) string {
	if a < 0.095*sphere.Arcminute {
		return fmt.Sprintf("%.1f\"", math.Max(0.1, a.Arcseconds()))
	}
	return fmt.Sprintf("%.2f'", a.Arcminutes())
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

// showSolved prints the answer of the solve verb for one frame.
func (a *app) showSolved(s *shot, asJSON bool) error {
	if asJSON {
		return a.solvedJSON(s)
	}
	if s.sol == nil {
		fmt.Fprintf(a.out, "%s: not solved: %s\n", s.name(), s.why)
		return nil
	}
	ra, dec := s.sol.Centre().RADec()
	mirrored := ""
	if s.sol.Lens.Mirrored {
		mirrored = ", mirrored"
	}
	if s.sol.ManyKinds() {
		mirrored += fmt.Sprintf(", %s lens of %.0f° over the diagonal", s.sol.Told().Kind, s.sol.Diagonal().Degrees())
	}
	fmt.Fprintf(a.out, "%s: RA %.4f° Dec %+.4f°, up at %.2f° from north through east%s, %.3f\" a pixel, %d of %d stars, rms %.2f\"\n",
		s.name(), ra.Degrees(), dec.Degrees(), s.sol.UpAngle().Degrees(), mirrored, s.sol.ScaleAtCentre().Arcseconds(), len(s.sol.Matches), len(s.field.Stars), s.sol.RMS.Arcseconds())
	return nil
}

// building tells that a band of the index is being built.
func (a *app) building(b index.Band, reason error) func(share float64) {
	why := "once, for frames of this size"
	if !errors.Is(reason, index.ErrAbsent) {
		why = "anew: " + reason.Error()
	}
	fmt.Fprintf(a.err, "building the star index, patterns of %.1f to %.1f degrees, %s\n", b.Min.Degrees(), b.Max.Degrees(), why)
	if !a.progress {
		return func(float64) {}
	}
	return a.bar()
}

// sweeping tells a terminal that the solver's last search has begun.
func (a *app) sweeping() func(share float64) {
	if !a.progress {
		return func(float64) {}
	}
	return a.working(textSweeping)
}

// readError words an error of reading a frame.
func (a *app) readError(path string, err error) error {
	text := err.Error()
	if !strings.Contains(text, path) {
		err = fmt.Errorf("%s: %w", path, err)
	}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return hint(err, "check the name of the file")
	case errors.Is(err, frame.ErrFormat):
		return hint(err, "FITS, PNG, JPEG, TIFF, camera raw files and star lists as CSV can be read")
	case errors.Is(err, frame.ErrDamaged):
		return hint(err, "copy the file again, or leave it out")
	case errors.Is(err, frame.ErrUnsupported):
		return hint(err, "save it as FITS, PNG, JPEG or TIFF")
	}
	return err
}
