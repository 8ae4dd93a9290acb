package main

import (
	"fmt"
	"math"
	"strings"
	"time"

	"pintle/axis"
	"pintle/cmd/pintle/page"
)

const textLiveLong = `Watches the folder into which your camera program saves its frames, and the
folders below it. Turn RA between the first two or three frames: they measure
the axis. Then turn the altitude and azimuth adjusters: every further frame says
how much is left, until the axis is within the tolerance. The same is shown on a
page for the browser; with --phone it can be opened on a phone in the same
network, by the address or the QR code that is printed.

Everything measured goes to a journal as it happens; after a crash
"pintle live FOLDER --resume" goes on where it stood.

Keys: n new measurement, + and - tolerance, m sound, r resume, q quit.`

const textLiveExample = `  pintle live ~/captures
  pintle live ~/captures --phone --alt-turn 45 --az-turn 80
  pintle live ~/captures --json --lat -31.4 --lon 121.9 --elev 430`

const (
	textNoTime     = "the file does not say when it was taken"
	textSame       = "the same picture as one before"
	textDamaged    = "the file is damaged, or was not finished"
	textGone       = "the folder is gone; waiting for it to return"
	textBack       = "the folder is back"
	textFresh      = "new measurement"
	textFirst      = "Photograph any patch of clear sky."
	textTurn       = "Turn RA by 30° or more, touch nothing else, and photograph again."
	textTurnMore   = "Turn RA further the same way and photograph again."
	textThird      = "Turn RA once more the same way and photograph: a third frame proves the first two."
	textDone       = "Done: within the tolerance. Lock both adjusters gently and look at one more frame."
	textAgain      = "Press n, photograph, turn RA, photograph."
	textNotSolved  = "Wait for a frame that can be solved."
	textSimulation = "SIMULATION"
	textNotWritten = "the journal cannot be written: "
	textResumed    = "resumed"
	textBuilding   = "building the star index for patterns of %.1f° to %.1f°, once: this may take a minute"
	textSweeping   = "no known pattern fits: looking through all stars of the sky, up to half a minute"
)

// join puts remarks together.
func join(parts ...string) string {
	var out []string
	for _, p := range parts {
		if p != "" {
			out = append(out, p)
		}
	}
	return strings.Join(out, "; ")
}

// nextSentence says what to do next.
func nextSentence(e *engine, s *page.State) string {
	switch {
	case s.Count > 0 && !s.Solved && s.Reason != "":
		return textNotSolved + " " + sentence(s.Reason)
	case len(e.sightings) == 0 && e.answer == nil:
		return textFirst
	case e.answer == nil && e.weak != nil:
		return textTurnMore
	case e.answer == nil:
		return textTurn
	case e.doubtful(), e.advice == axis.Worn, e.advice == axis.Rough && e.adjusted:
		return sentence(e.advice.String()) + " " + textAgain
	case e.within() && e.sure():
		return textDone
	case e.phase == phaseMeasure && e.measured == 2:
		return textThird
	case !e.adjusted && !e.sure():
		return textTurnMore
	case e.within():
		return textDone
	}
	m := s.Moves[pickMove(s)]
	return sentence(m.Adjuster + " adjuster: " + handVerb(m.Direction) + " by " + amountWords(m) + ", then wait for a frame")
}

// pickMove chooses the adjuster to turn: the one in hand until its share is done,
// else the one with more to do.
func pickMove(s *page.State) int {
	az := math.Abs(s.Offset.AzSky)
	for i, m := range s.Moves {
		if m.Here && !m.Done {
			return i
		}
	}
	if az > math.Abs(s.Offset.Alt) {
		return 1
	}
	return 0
}

func handVerb(direction string) string {
	switch direction {
	case "raise", "lower":
		return direction
	}
	return "turn " + direction
}

// amountWords says how far, in arcminutes and in turns where that is known.
func amountWords(m page.Move) string {
	w := arcminWords(m.Arcmin)
	if m.Turns > 0 {
		w += " (" + boltTurns(m.Turns) + ")"
	}
	return w
}

// arcminWords gives an amount with no more digits than one can follow.
func arcminWords(a float64) string {
	switch {
	case a >= 100:
		return fmt.Sprintf("%.0f′", a)
	case a >= 10:
		return fmt.Sprintf("%.1f′", a)
	}
	return fmt.Sprintf("%.2f′", a)
}

// sigmaWords gives a standard error, in arcseconds when it is small.
func sigmaWords(a float64) string {
	if a < 0.1 {
		return fmt.Sprintf("%.1f″", 60*a)
	}
	return arcminWords(a)
}

func boltTurns(t float64) string {
	if t < 0.995 {
		return fmt.Sprintf("%.2f turns", t)
	}
	return fmt.Sprintf("%.1f turns", t)
}

// sentence starts with a capital and ends with a full stop.
func sentence(s string) string {
	if s == "" {
		return ""
	}
	s = strings.ToUpper(s[:1]) + s[1:]
	if !strings.HasSuffix(s, ".") {
		s += "."
	}
	return s
}

// offerWords names an earlier run.
func offerWords(at time.Time, total float64, measured bool) string {
	when := at.Local().Format("15:04")
	if !measured {
		return "the measurement begun, last frame of " + when
	}
	return fmt.Sprintf("the run that stood at %s at %s", arcminWords(total), when)
}

// moveArrow is the sign of a direction.
func moveArrow(direction string) string {
	switch direction {
	case "raise":
		return "▲"
	case "lower":
		return "▼"
	case "clockwise":
		return "▶"
	}
	return "◀"
}

// plainLine is one frame for a place that is no terminal.
func plainLine(s page.State) string {
	name := s.Frame
	if i := strings.LastIndexAny(name, `/\`); i >= 0 {
		name = name[i+1:]
	}
	var b strings.Builder
	if s.Simulated {
		b.WriteString(textSimulation + "  ")
	}
	fmt.Fprintf(&b, "%-20s ", name)
	switch {
	case !s.Solved:
		fmt.Fprintf(&b, "not solved: %s", s.Reason)
	case s.Offset == nil:
		fmt.Fprintf(&b, "%s  solved", s.Phase)
	default:
		fmt.Fprintf(&b, "%s  ", s.Phase)
		for _, m := range s.Moves {
			fmt.Fprintf(&b, "%s %s %s  ", m.Adjuster, m.Direction, amountWords(m))
		}
		fmt.Fprintf(&b, "off by %s ± %s", arcminWords(s.Offset.Total), sigmaWords(s.Sigma.Total))
		if s.Within {
			fmt.Fprintf(&b, "  WITHIN %g′", s.Tolerance)
		}
	}
	if s.Note != "" {
		fmt.Fprintf(&b, "  (%s)", s.Note)
	}
	return b.String() + "\n"
}

// panel is the view that is redrawn in place, no line wider than width.
func panel(s page.State, links []string, age time.Duration, bold func(string) string) []string {
	var out []string
	p := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	p("")
	if s.Simulated {
		p("  %s  nothing here is photographed", textSimulation)
	}
	state := ""
	switch {
	case s.Offset == nil:
	case s.Old:
		state = "   OLD: of " + s.Since
	case age > 45*time.Second:
		state = fmt.Sprintf("   OLD: no frame for %.0f s", age.Seconds())
	}
	if s.Offset != nil {
		for _, m := range s.Moves {
			done := ""
			if m.Done {
				done = "  done"
			}
			p("   %s  %9s   %-8s  %s%s%s", bold(moveArrow(m.Direction)), bold(arcminWords(m.Arcmin)), m.Adjuster, handVerb(m.Direction), turnsAside(m), done)
		}
		verdict := "not yet within"
		if s.Within {
			verdict = "WITHIN"
		}
		p("   off by %s ± %s   %s %g′%s", arcminWords(s.Offset.Total), sigmaWords(s.Sigma.Total), verdict, s.Tolerance, state)
	} else {
		p("   no axis yet: %d frame(s) measured", s.Sightings)
	}
	p("")
	p("   %s", s.Next)
	if s.Frame != "" {
		solved := "solved"
		if !s.Solved {
			solved = "NOT SOLVED: " + s.Reason
		}
		p("   frame %d  %s  %s  %.0f ms", s.Count, s.Frame, solved, s.ElapsedMS)
	}
	if s.Note != "" {
		p("   note: %s", s.Note)
	}
	if s.Offer != "" {
		p("   r resumes %s", s.Offer)
	}
	for _, l := range links {
		p("   page: %s", l)
	}
	if s.Mount != nil {
		p("   j l turn RA 20°   w s altitude 5′, with shift ½′   a d azimuth")
	}
	sound := "off"
	if !s.Muted {
		sound = "on"
	}
	p("   n new measurement   + - tolerance %g′   m sound %s   q quit", s.Tolerance, sound)
	return out
}

func turnsAside(m page.Move) string {
	if m.Turns == 0 {
		return ""
	}
	sense := ""
	if m.Sense != "" {
		sense = " " + m.Sense
	}
	return fmt.Sprintf("  %s%s", boltTurns(m.Turns), sense)
}

// touchWords says what was done between two frames.
func touchWords(st axis.State) string {
	if st.Touched == 0 {
		return ""
	}
	var done []string
	if t := st.Turns.Alt; t != 0 {
		way := "raised"
		if t < 0 {
			way = "lowered"
		}
		done = append(done, "altitude "+way+" "+arcminWords(t.Abs().Arcminutes()))
	}
	if t := st.Turns.Az; t != 0 {
		way := "clockwise"
		if t < 0 {
			way = "counter-clockwise"
		}
		done = append(done, "azimuth "+way+" "+arcminWords(t.Abs().Arcminutes()))
	}
	if t := st.Turns.RA; t != 0 {
		done = append(done, fmt.Sprintf("RA turned %.1f°", t.Abs().Degrees()))
	}
	for _, x := range []struct {
		touch axis.Touch
		words string
	}{{axis.TouchDec, "declination was turned"}, {axis.TouchTripod, "the tripod was moved"}, {axis.TouchCamera, "the camera was moved"}} {
		if st.Touched.Has(x.touch) {
			done = append(done, x.words)
		}
	}
	return join(done...)
}
