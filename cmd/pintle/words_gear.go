package main

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"pintle/cmd/pintle/gear"
	"pintle/index/sphere"
)

const textGearLong = `Sites, cameras and mounts are kept in one text file that you may also edit by
hand; what it knows need not be typed again, and flags override it. Without a
further word, "pintle gear" shows what is known and where the file is.`

const textGearExample = `  pintle gear add site garden --lat 52.1 --lon 13.2 --elev 40
  pintle gear add camera long --focal 400 --pixel 3.76 --width 6248 --height 4176 --exposure 180
  pintle gear add mount "old six" --alt-per-turn 60 --alt-clockwise raises --az-range 14
  pintle gear default site garden
  pintle gear tolerance auto`

const textLearnLong = `Measures what one turn of an adjuster does. Take a photograph, turn the adjuster
by exactly one turn and touch nothing else, take another of the same patch.
Tracking may be on or off. The mount should already stand within a few degrees
of the pole.`

const textLearnExample = `  pintle gear learn altitude before.fits after.fits
  pintle gear learn azimuth before.fits after.fits --turns -1 --save --mount "old six"`

func (a *app) showGear(f *gear.File) {
	p := func(format string, args ...any) { fmt.Fprintf(a.out, format+"\n", args...) }
	p("gear file  %s", f.Path)
	if !f.Exists() {
		p("")
		p("There is none yet. Begin with a site:")
		p("  pintle gear add site garden --lat 52.1 --lon 13.2 --elev 40")
		return
	}
	g := f.Gear
	switch {
	case g.Tolerance.Auto:
		p("tolerance  from camera and exposure%s", a.autoWords(g))
	case g.Tolerance.Arcmin > 0:
		p("tolerance  %g'", g.Tolerance.Arcmin)
	}
	for _, n := range g.Names(gear.KindSite) {
		s := g.Sites[n]
		p("%s", a.bold("site "+n)+mark(n, g.Default.Site, len(g.Sites)))
		p("    %s", latLon(s.Place()))
		if s.Blind != "" {
			p("    what blocks the sky: %s", s.Blind)
		}
	}
	for _, n := range g.Names(gear.KindCamera) {
		p("%s", a.bold("camera "+n)+mark(n, g.Default.Camera, len(g.Cameras)))
		for _, s := range cameraWords(g.Cameras[n]) {
			p("    %s", s)
		}
	}
	for _, n := range g.Names(gear.KindMount) {
		p("%s", a.bold("mount "+n)+mark(n, g.Default.Mount, len(g.Mounts)))
		for _, s := range mountWords(g.Mounts[n]) {
			p("    %s", s)
		}
	}
}

func mark(name, usual string, count int) string {
	if name == usual || usual == "" && count == 1 {
		return "  (default)"
	}
	return ""
}

func (a *app) autoWords(g gear.Gear) string {
	arcmin, source, _, err := autoTolerance(g, "")
	if err != nil {
		return ": " + err.Error()
	}
	return fmt.Sprintf(": %.1f' by %s", arcmin, source)
}

func cameraWords(c gear.Camera) (out []string) {
	s := ""
	if c.Focal > 0 {
		s = fmt.Sprintf("%g mm", c.Focal)
	}
	if c.Pixel > 0 {
		s += fmt.Sprintf("  %g µm pixels", c.Pixel)
	}
	if c.Width > 0 {
		s += fmt.Sprintf("  %d x %d px", c.Width, c.Height)
	}
	if c.Focal > 0 && c.Pixel > 0 && c.Width > 0 {
		d := func(px int) float64 {
			return 2 * math.Atan(float64(px)*c.Pixel/2000/c.Focal) * 180 / math.Pi
		}
		s += fmt.Sprintf("  (%.3g° x %.3g°)", d(c.Width), d(c.Height))
	}
	if s != "" {
		out = append(out, s)
	}
	if c.Exposure > 0 {
		how := "unguided"
		if c.Guided {
			how = "guided"
		}
		trail := c.Trail
		if trail == 0 {
			trail = 1
		}
		out = append(out, fmt.Sprintf("%g s %s, trails up to %g px", c.Exposure, how, trail))
	}
	if c.Corner > 0 {
		out = append(out, fmt.Sprintf("%g° from the guide star to the far corner", c.Corner))
	}
	return out
}

func mountWords(m gear.Mount) (out []string) {
	one := func(name string, perTurn float64, sense string, marks float64, reach string) {
		var parts []string
		if perTurn > 0 {
			parts = append(parts, fmt.Sprintf("%g' a turn", perTurn))
		}
		if sense != "" {
			parts = append(parts, "clockwise "+senseWords(sense))
		}
		if marks > 0 {
			parts = append(parts, fmt.Sprintf("%g marks a turn", marks))
		}
		if reach != "" {
			parts = append(parts, reach)
		}
		if len(parts) > 0 {
			out = append(out, name+"  "+strings.Join(parts, ", "))
		}
	}
	var alt, az string
	if m.AltMax > 0 {
		alt = fmt.Sprintf("from %g° to %g°", m.AltMin, m.AltMax)
	}
	if m.AzRange > 0 {
		az = fmt.Sprintf("%g° to either side", m.AzRange/2)
	}
	one("altitude", m.AltPerTurn, m.AltSense, m.AltMarks, alt)
	one("azimuth ", m.AzPerTurn, m.AzSense, m.AzMarks, az)
	return out
}

func senseWords(sense string) string {
	switch sense {
	case gear.Clockwise, gear.Counter:
		return "turns it " + sense + " seen from above"
	}
	return sense + " it"
}

func (a *app) saved(f *gear.File, kind, name string) {
	fmt.Fprintf(a.out, "%s %s is in %s\n", kind, name, f.Path)
}

func (a *app) madeDefault(f *gear.File, kind, name string) {
	fmt.Fprintf(a.out, "%s %s is used when no other is named\n", kind, name)
}

func (a *app) toleranceSet(f *gear.File) {
	t := f.Gear.Tolerance
	if t.Auto {
		fmt.Fprintf(a.out, "the tolerance comes from camera and exposure%s\n", a.autoWords(f.Gear))
		return
	}
	fmt.Fprintf(a.out, "the tolerance is %g'\n", t.Arcmin)
}

func (a *app) gearChecked(f *gear.File, err error) error {
	if err != nil {
		return err
	}
	if !f.Exists() {
		return hint(fmt.Errorf("there is no gear file at %s", f.Path), "pintle gear add site garden --lat 52.1 --lon 13.2 --elev 40")
	}
	g := f.Gear
	fmt.Fprintf(a.out, "%s is good: %s, %s, %s\n", f.Path, count(len(g.Sites), "site"), count(len(g.Cameras), "camera"), count(len(g.Mounts), "mount"))
	if g.Tolerance.Auto {
		if _, _, _, err := autoTolerance(g, ""); err != nil {
			var h hinted
			if errors.As(err, &h) {
				fmt.Fprintf(a.out, "note: %v\n  try: %s\n", err, h.advice)
			}
		}
	}
	return nil
}

// count writes a number of things.
func count(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}

func (a *app) learned(which string, p gear.Pitch, t gear.Turned, turns float64) {
	fmt.Fprintf(a.out, "\n   %s  %s ± %s a turn; clockwise %s\n\n", which, a.bold(fmt.Sprintf("%.2f'", p.PerTurn.Arcminutes())), errWords(p.Sigma), senseWords(p.Sense))
	fmt.Fprintf(a.out, "   between the two photographs: altitude %s, azimuth %s, RA %+.2f°\n",
		plusMinus(t.Alt, t.SigAlt), plusMinus(t.Az, t.SigAz), t.RA.Degrees())
	if p.Sigma > p.PerTurn/20 {
		fmt.Fprintf(a.out, "   note  that is only good to %.0f%%; a wider field, more stars or more turns tell more\n", 100*float64(p.Sigma/p.PerTurn))
	}
}

func (a *app) notLearned(reason string) {
	fmt.Fprintf(a.out, "\n  %s  %s\n", a.bold("NO ANSWER"), reason)
}

// turnsWords says an amount of one adjuster in turns, for the axis verb and
// the live view; "" when the mount's pitch is not known.
func turnsWords(m gear.Amount) string {
	if m.Turns == 0 {
		return ""
	}
	s := fmt.Sprintf("%.2f turns", m.Turns)
	if m.Divisions > 0 {
		s += fmt.Sprintf(" (%.0f marks)", m.Divisions)
	}
	if m.Sense != "" {
		s += " " + m.Sense
	}
	return s
}

// beyondAlt and beyondAz say what to do when an adjuster does not reach.
func beyondAlt(by sphere.Angle) string {
	if by > 0 {
		return fmt.Sprintf("beyond the altitude adjuster's range: raise the pole side of the tripod by about %.1f°", by.Degrees())
	}
	return fmt.Sprintf("beyond the altitude adjuster's range: lower the pole side of the tripod by about %.1f°", -by.Degrees())
}

func beyondAz(by sphere.Angle) string {
	way := gear.Clockwise
	if by < 0 {
		way = gear.Counter
	}
	return fmt.Sprintf("beyond the azimuth adjuster's range: centre it, then lift and turn the tripod %s by about %.1f°", way, by.Abs().Degrees())
}

// showTurns adds to a move what it is in turns of the bolt; which is 0 for the
// altitude and 1 for the azimuth.
func (a *app) showTurns(which int, m gear.Amount) {
	if s := turnsWords(m); s != "" && m.Beyond == 0 {
		fmt.Fprintf(a.out, "                  %s\n", s)
	}
	switch {
	case m.Beyond != 0 && which == 0:
		fmt.Fprintf(a.out, "      %s\n", beyondAlt(m.Beyond))
	case m.Beyond != 0:
		fmt.Fprintf(a.out, "      %s\n", beyondAz(m.Beyond))
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
