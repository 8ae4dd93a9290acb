package hands

import (
	"context"

	"pintle/cmd/pintle/session"
)

// Series photographs until n frames were recognised by the session that it serves,
// RA turned between them by the mount, after a question each time, or by the person
// where the mount may not. Then it ends, and nothing turns any more. What goes wrong
// halts it until the person lets it go on.
func (h *Hands) Series(ctx context.Context, n int) {
	defer h.close()
	good, missed, stale, moved := 0, 0, 0, true
	for ctx.Err() == nil {
		st, seen, err := h.sight(ctx)
		switch {
		case seen && err == nil:
			missed = 0
			if moved { // the same place once more is no frame more
				good++
			}
			if good = min(good, st.Sightings); good == n {
				return
			}
			err = h.further(ctx)
			if moved = err == nil; moved {
				stale = 0
			}
		case err == nil:
			if missed++; missed == mostTries {
				missed, err = 0, &Unseen{st}
			}
		}
		switch {
		case err == nil || ctx.Err() != nil:
		case again(err) && stale < mostTries:
			stale++
			h.set(func(s *session.Handling) { s.Trouble = err })
		default:
			h.halted(ctx, err)
		}
	}
}

// further turns RA; where the mount may not, the person does.
func (h *Hands) further(ctx context.Context) error {
	if h.c.Turner != nil && !h.Status().Left {
		err := h.turn(ctx)
		if !harmless(err) {
			return err
		}
		h.leave(err)
	}
	return h.byHand(ctx)
}
