package words

import (
	"fmt"

	"pintle/axis"
	"pintle/cmd/pintle/session"
	"pintle/index/sphere"
)

// What the hand is told is made here, for the terminal, the page, its voice and
// the report alike. Where it is known which way the bolt must go, the sentence
// says that, and of the mount only up, down, left or right; never two senses of
// turning. Left and right are for someone behind the mount who faces the pole:
// there a head that turns clockwise, seen from above, goes to the right, in
// either hemisphere.

// Viewpoint says from where left and right are seen, and the senses of bolts
// where any is said.
func Viewpoint(st *session.State) string {
	s := "left and right: from behind the mount, facing the pole"
	for _, m := range st.Moves {
		if m.Bolt.Sense != "" && m.Bolt.Beyond == 0 {
			return s + "; a bolt's sense: facing the bolt's head"
		}
	}
	return s
}

// Sign is the sign of a direction, on every face.
func Sign(d axis.Direction) string {
	switch d {
	case axis.Raise:
		return "▲"
	case axis.Lower:
		return "▼"
	case axis.Clockwise:
		return "▶"
	}
	return "◀"
}

// Way is where the axis must go.
func Way(d axis.Direction) string {
	switch d {
	case axis.Raise:
		return "up"
	case axis.Lower:
		return "down"
	case axis.Clockwise:
		return "right"
	}
	return "left"
}

// Hand says what one adjuster must do, without the full stop.
func Hand(m session.Move) string {
	name := adjusterName(m.Adjuster)
	way, how := Arcminutes(m.Amount)+" "+Way(m.Direction), boltTurns(m)
	switch {
	case m.Bolt.Beyond != 0:
		return name + ": " + beyond(m)
	case m.Bolt.Sense == "" && how == "":
		return fmt.Sprintf("%s: %s", name, must(m))
	case m.Bolt.Sense == "":
		return fmt.Sprintf("%s: %s, %s of the bolt", name, must(m), how)
	case how == "":
		return fmt.Sprintf("%s bolt: %s, until %s has gone %s", name, m.Bolt.Sense, head(m.Adjuster), way)
	}
	return fmt.Sprintf("%s bolt: %s %s (%s goes %s)", name, how, m.Bolt.Sense, head(m.Adjuster), way)
}

func adjusterName(a axis.Adjuster) string {
	if a == axis.Altitude {
		return "altitude"
	}
	return "azimuth"
}

func head(a axis.Adjuster) string {
	if a == axis.Altitude {
		return "the axis"
	}
	return "the head"
}

// must says which way the mount itself must go.
func must(m session.Move) string {
	switch m.Direction {
	case axis.Raise:
		return "raise the axis by " + Arcminutes(m.Amount)
	case axis.Lower:
		return "lower the axis by " + Arcminutes(m.Amount)
	}
	return fmt.Sprintf("turn the head %s to the %s", Arcminutes(m.Amount), Way(m.Direction))
}

// boltTurns is the amount in turns and marks of the bolt, "" when not known.
func boltTurns(m session.Move) string {
	t := m.Bolt.Turns
	if t == 0 {
		return ""
	}
	s := fmt.Sprintf("%.1f turns", t)
	if t < 9.95 {
		s = fmt.Sprintf("%.2f turns", t)
	}
	if m.Bolt.Divisions > 0 {
		s += fmt.Sprintf(" (%.0f marks)", m.Bolt.Divisions)
	}
	return s
}

// beyond says what to do where the adjuster does not reach.
func beyond(m session.Move) string {
	by := m.Bolt.Beyond
	switch {
	case m.Adjuster == axis.Altitude && by > 0:
		return fmt.Sprintf("beyond the altitude adjuster's range: raise the pole side of the tripod by about %.1f°", by.Degrees())
	case m.Adjuster == axis.Altitude:
		return fmt.Sprintf("beyond the altitude adjuster's range: lower the pole side of the tripod by about %.1f°", -by.Degrees())
	}
	return fmt.Sprintf("beyond the azimuth adjuster's range: centre it, then lift and turn the whole tripod by about %.1f° to the %s", by.Abs().Degrees(), Way(m.Direction))
}

// Spoken is what the voice says after a frame.
func Spoken(st *session.State) string {
	switch {
	case st.Answer == nil || st.Old || len(st.Doubts) > 0:
		return Next(st)
	case st.Within:
		return "within tolerance, " + Arcminutes(st.Answer.Offset.Total)
	}
	out := ""
	for _, m := range st.Moves {
		if m.Done {
			continue
		}
		if out != "" {
			out += ". "
		}
		out += Hand(m)
	}
	return out
}

// touched says what was done between two frames.
func touched(s *axis.Seen) string {
	var done []string
	if t := s.Turns.Alt; t != 0 {
		done = append(done, "altitude went "+Way(way(t, axis.Raise, axis.Lower))+" "+Arcminutes(t.Abs()))
	}
	if t := s.Turns.Az; t != 0 {
		done = append(done, "azimuth went "+Way(way(t, axis.Clockwise, axis.CounterClockwise))+" "+Arcminutes(t.Abs()))
	}
	for _, x := range []struct {
		touch axis.Touch
		words string
	}{{axis.TouchDec, "declination slipped or was turned"}, {axis.TouchTripod, "the tripod was moved"}, {axis.TouchCamera, "the camera was moved"}} {
		if s.Touched.Has(x.touch) {
			done = append(done, x.words)
		}
	}
	if t := s.Turns.RA; t != 0 {
		done = append(done, fmt.Sprintf("RA turned %.1f°", t.Abs().Degrees()))
	}
	return join(done...)
}

func way(t sphere.Angle, plus, minus axis.Direction) axis.Direction {
	if t < 0 {
		return minus
	}
	return plus
}
