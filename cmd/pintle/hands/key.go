package hands

import "pintle/cmd/pintle/session"

// Key takes a key that is for the hands; false for any other. Space stops.
func (h *Hands) Key(b byte) bool {
	switch b {
	case ' ':
		return h.Do(session.Action{Name: session.Stop})
	case 'g', 'G':
		return h.Do(session.Action{Name: session.GoOn})
	case 'y', 'Y':
		return h.answer(session.Agree)
	case 'x', 'X':
		return h.answer(session.Decline)
	}
	return false
}

// answer answers the question that is open now, if any.
func (h *Hands) answer(name session.ActionName) bool {
	if q := h.Status().Ask; q != nil {
		return h.Do(session.Action{Name: name, Value: float64(q.Number)})
	}
	return true
}
