package words

import (
	"fmt"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/session"
	"pintle/index/sphere"
)

// Handling says what camera and mount are at, one sentence.
func Handling(h *session.Handling) string {
	switch h.Doing {
	case session.Exposing:
		return fmt.Sprintf("%s exposes for %s.", Foreign(h.Camera), seconds(h.Exposure))
	case session.Looking:
		return "Looking at the photograph."
	case session.Asking:
		return TurnQuestion(h.Mount, h.Ask)
	case session.Turning:
		return fmt.Sprintf("RA TURNS: %.0f° of %.0f°. Stay beside the mount.", h.Turned.Degrees(), h.Asked.Degrees())
	case session.HandTurn:
		return "Turn RA by 20° or more and touch nothing else. Then press Enter."
	case session.Halted:
		return "HALTED: no photograph, no turn, until you let it go on."
	}
	return "Making ready."
}

// nextByHands says what camera and mount will do next, "" where it is the person's
// turn.
func nextByHands(next session.NextKind, h *session.Handling) string {
	if h.Doing == session.Halted {
		return ""
	}
	switch next {
	case session.Photograph:
		return "The camera photographs by itself. Point it at any patch of clear sky."
	case session.TurnRA, session.TurnRAMore, session.ThirdFrame:
		if h.Doing == session.Turning {
			return "Touch nothing until the mount stands."
		}
		if h.Mount != "" && !h.Left {
			return "The mount turns RA once you agree. Touch nothing."
		}
		return "Turn RA by 20° or more and touch nothing else; the camera photographs by itself."
	}
	return ""
}

// TurnQuestion asks whether the mount may be turned.
func TurnQuestion(mount string, q *session.Question) string {
	s := fmt.Sprintf("Turn RA of %s by %.0f° to the %s, %s? Stay beside the mount: are cables and camera clear of the tripod?",
		Foreign(mount), q.Angle.Degrees(), Side(q.West), pace(q))
	if q.Unpark {
		s += " It is parked, and is unparked for it."
	}
	if q.Unbraked {
		s += " Nothing stops it should this program die."
	}
	return s
}

// Side names the way that RA is turned.
func Side(west bool) string {
	if west {
		return "west"
	}
	return "east"
}

func pace(q *session.Question) string {
	perSecond := func(r sphere.Angle) string { return fmt.Sprintf("%.3g° a second", r.Degrees()) }
	if q.Rate == 0 {
		return fmt.Sprintf("at a rate that is tried from the slowest on and never above %s, for %.0f s or longer", perSecond(q.Limit), q.Time.Seconds())
	}
	return fmt.Sprintf("at %s, for %.0f s", perSecond(q.Rate), q.Time.Seconds())
}

// Trouble says what went wrong with camera or mount and what to do; "" when
// nothing did.
func Trouble(h *session.Handling) string {
	if h.Trouble == nil {
		if h.Left {
			return "RA is left to you: turn it by hand; photographs go on."
		}
		return ""
	}
	s := Sentence(Foreign(h.Trouble.Error()))
	if a := advice.Of(h.Trouble); a != "" {
		s += " " + Sentence(a)
	}
	if h.Left {
		s += " RA is left to you: turn it by hand; photographs go on."
	}
	return s
}

// Turned tells of a turn.
func Turned(t session.Turn) string {
	s := fmt.Sprintf("RA turned by %.1f° to the %s in %.0f s", t.Reported.Degrees(), Side(t.West), t.Time.Seconds())
	switch t.StoppedBy {
	case "angle":
	case "user":
		s += ", stopped by you"
	default:
		s += fmt.Sprintf(", of %.0f° asked for; ended by %s", t.Asked.Degrees(), ended(t.StoppedBy))
	}
	return s + "."
}

// TurnEnd says in a table what ended a turn.
func TurnEnd(by string) string {
	switch by {
	case "angle":
		return "its angle"
	case "user":
		return "you"
	}
	return ended(by)
}

func ended(by string) string {
	switch by {
	case "time":
		return "its time: the mount is slower than it says"
	case "limit":
		return "the limit of the rate"
	}
	return "a fault"
}

// YesOrNo asks for an answer by the keyboard.
const YesOrNo = "y and Enter: yes."

// OnThePage says where a question is answered without a terminal.
const OnThePage = "Answer on the page."

// HandTurnOnPage is what a page says while the person turns RA.
const HandTurnOnPage = "Turn RA by 20° or more and touch nothing else. Then say here that it is turned."

// Change tells that the exposure is changed, "" when it is not.
func Change(h *session.Handling) string {
	if c := h.Change; c != nil {
		return ExposureChanged(c.Why, c.Stars, c.Burnt, c.Next)
	}
	return ""
}

// OffClock tells that the camera's clock was corrected, "" when it was not.
func OffClock(h *session.Handling) string {
	if s := h.Shot; s != nil && s.Corrected {
		return ShotKept(s.Path, s.Exposure, s.Apart, true)
	}
	return ""
}

// TurnBegins tells that a mount begins to turn.
const TurnBegins = "RA TURNS. Space or Enter stops it, Ctrl-C ends it all."

// KeptIn tells where photographs that are taken are kept.
func KeptIn(dir string) string { return "The photographs are kept in " + Foreign(dir) + "." }

// Unseen says why the last photograph proves nothing.
func Unseen(st *session.State) string {
	switch {
	case st.Refusal != nil:
		return Refusal(st.Refusal)
	case st.Last != nil && st.Last.Miss != nil:
		return Miss(st.Last)
	}
	return "it was not recognised"
}
