package hands

import (
	"errors"
	"io"
	"strings"

	"pintle/cmd/pintle/session"
)

// mostTyped is how long an answer may be.
const mostTyped = 100

// Hear listens to what a person types, line by line, until the input ends: Enter
// says that RA is turned, y agrees to a question and anything else declines it.
// What is typed before it is asked for counts for nothing. While the mount turns
// any key stops it, as soon as the terminal passes it on.
func (h *Hands) Hear(in io.Reader) {
	var line []byte
	var b [1]byte
	for {
		n, err := in.Read(b[:])
		switch {
		case n == 0 && err != nil:
			close(h.deaf)
			return
		case n == 0:
		case h.Status().Doing == session.Turning || b[0] == ctrlC:
			h.Do(session.Action{Name: session.Stop})
			line = nil
		case b[0] == '\n' || b[0] == '\r':
			h.typed(strings.ToLower(strings.TrimSpace(string(line))))
			line = nil
		case len(line) < mostTyped:
			line = append(line, b[0])
		}
	}
}

const ctrlC = 3

// typed takes a line.
func (h *Hands) typed(line string) {
	switch st := h.Status(); {
	case st.Ask != nil && (line == "y" || line == "yes"):
		h.answer(session.Agree)
	case st.Ask != nil:
		h.answer(session.Decline)
	case st.Doing == session.HandTurn:
		h.Do(session.Action{Name: session.GoOn})
	}
}

// errNobody is the error when an answer is wanted and the input has ended.
var errNobody = errors.New("nobody answers: the input has ended")
