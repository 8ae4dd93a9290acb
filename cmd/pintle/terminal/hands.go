package terminal

import "pintle/cmd/pintle/session"

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
