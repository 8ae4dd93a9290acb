package page

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/words"
)

// Hands are the camera and the mount that the program commands.
type Hands struct {
	Camera  string `json:"camera"`
	Mount   string `json:"mount"` // "" when the person turns RA
	Doing   string `json:"doing"`
	Says    string `json:"says"`    // the same in a sentence; the question, when it asks
	Trouble string `json:"trouble"` // what went wrong, and what to do
	Ask     int    `json:"ask"`     // the number of the question, 0 for none
	Last    string `json:"last"`    // the last turn, and what is to say of the last photograph
	// How far the turn that runs has come.
	Asked  float64 `json:"asked_deg"`
	Turned float64 `json:"turned_deg"`
}

func handsOf(h *session.Handling) *Hands {
	if h == nil || h.Camera == "" && h.Mount == "" { // nothing is commanded
		return nil
	}
	out := &Hands{Camera: words.Foreign(h.Camera), Mount: words.Foreign(h.Mount), Doing: string(h.Doing), Says: words.Handling(h), Trouble: words.Trouble(h)}
	if h.Doing == session.HandTurn {
		out.Says = words.HandTurnOnPage
	}
	if h.Ask != nil {
		out.Ask = h.Ask.Number
	}
	if h.Doing == session.Turning {
		out.Asked, out.Turned = h.Asked.Degrees(), h.Turned.Degrees()
	}
	last := []string{words.Change(h), words.OffClock(h)}
	if n := len(h.Turns); n > 0 {
		last = append(last, words.Turned(h.Turns[n-1]))
	}
	out.Last = strings.Join(slices.DeleteFunc(last, func(s string) bool { return s == "" }), " ")
	return out
}

// mostQuestions is more than are ever asked.
const mostQuestions = 600

// number reads the number of a question.
func number(s string) (float64, error) {
	n, err := strconv.Atoi(s)
	if err != nil || n < 1 || n > mostQuestions {
		return 0, fmt.Errorf("value %.20q, the number of a question is needed", s)
	}
	return float64(n), nil
}

// handed passes an action on to the hands; false when it is none of theirs. A
// page without hands knows no such action.
func (s *Server) handed(a session.Action) (taken bool, err error) {
	switch a.Name {
	case session.Stop, session.GoOn, session.Agree, session.Decline:
	default:
		return false, nil
	}
	if s.o.Urgent == nil {
		return false, errUnknown
	}
	return s.o.Urgent(a), nil
}
