package terminal

import (
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/words"
)

// handKeys says which keys a camera and a mount that are commanded listen to.
func handKeys(h *session.Handling) string {
	switch {
	case h.Doing == session.Asking:
		return "y TURN IT   x do not turn   SPACE STOPS"
	case h.Doing == session.Halted:
		return "g goes on"
	case h.Left || h.Trouble != nil:
		return "SPACE STOPS   g lets the mount turn"
	}
	return "SPACE STOPS"
}

// hands say what camera and mount are at; that they can be stopped, and what the
// person must answer, is never left out.
func (c *column) hands(h *session.Handling) {
	rank := 0
	if h.Doing == session.Exposing || h.Doing == session.Looking {
		rank = 4
	}
	c.add(1, true, words.Trouble(h))
	c.add(rank, true, words.Handling(h))
	c.add(0, true, handKeys(h))
	c.add(4, false, words.Change(h))
	c.add(5, false, words.OffClock(h))
}

// Teller tells beside the answer what camera and mount are at, line by line, each
// thing once. It is a view of a run, for a place without a screen.
type Teller struct {
	t      *Terminal
	answer string
	said   map[string]bool
	turns  int
	shot   *session.Shot
}

// Teller returns one; answer says how a question is answered.
func (t *Terminal) Teller(answer string) *Teller { return &Teller{t: t, answer: answer} }

// Frame tells what a state says of the hands.
func (x *Teller) Frame(st session.State) { x.Show(st) }

// Show tells what a state says of the hands.
func (x *Teller) Show(st session.State) {
	if st.Hands != nil {
		x.Tell(*st.Hands)
	}
}

// Tell tells what is new.
func (x *Teller) Tell(h session.Handling) {
	for ; x.turns < len(h.Turns); x.turns++ {
		x.t.note("%s", words.Turned(h.Turns[x.turns]))
	}
	if h.Shot != nil && h.Shot != x.shot {
		x.shot = h.Shot
		x.t.note("%s", words.ShotKept(h.Shot.Path, h.Shot.Exposure, h.Shot.Apart, h.Shot.Corrected))
	}
	now := map[string]bool{}
	for _, s := range []string{words.Change(&h), words.Trouble(&h), x.doing(&h)} {
		if s != "" && !x.said[s] {
			x.t.note("%s", s)
		}
		now[s] = true
	}
	x.said = now
}

// doing is what is worth a line: what needs the person, and that the mount turns.
func (x *Teller) doing(h *session.Handling) string {
	switch h.Doing {
	case session.Asking:
		return words.Handling(h) + " " + x.answer
	case session.HandTurn, session.Halted:
		return words.Handling(h)
	case session.Turning:
		return words.TurnBegins
	}
	return ""
}
