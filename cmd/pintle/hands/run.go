package hands

import (
	"cmp"
	"context"
	"errors"
	"time"

	"pintle/cmd/pintle/session"
)

// patience is how long the session may look at a photograph before the next is
// taken all the same (no source; a search of the whole sky takes up to 30 s).
const patience = 30 * time.Second

// Frame takes in the state after a frame: Hands are a view of the run.
func (h *Hands) Frame(st session.State) {
	for {
		select {
		case h.looked <- st:
			return
		default:
		}
		select {
		case <-h.looked: // nobody wanted the one before
		default:
		}
	}
}

// Show is of no use here.
func (h *Hands) Show(session.State) {}

// Run photographs, turns RA while the axis is being measured, and goes on
// photographing, until the context ends. What goes wrong halts the hands until
// the person lets them go on; the session is not touched by it.
func (h *Hands) Run(ctx context.Context) {
	defer h.close()
	for ctx.Err() == nil {
		err := h.round(ctx)
		switch {
		case err == nil || ctx.Err() != nil:
		case again(err):
			h.set(func(s *session.Handling) { s.Trouble = err })
		case harmless(err):
			h.leave(err)
		default:
			h.halted(ctx, err)
		}
	}
}

// round takes one photograph and does what the session then wants.
func (h *Hands) round(ctx context.Context) error {
	st, seen, err := h.sight(ctx)
	if err != nil || !seen || !h.turns(&st) {
		return err
	}
	return h.turn(ctx)
}

// sight takes one photograph and waits until the session has looked at it; seen is
// false for one that proves nothing.
func (h *Hands) sight(ctx context.Context) (st session.State, seen bool, err error) {
	f, err := h.photograph(ctx)
	if err == nil && h.c.Kept != nil {
		err = h.work(ctx, func(ctx context.Context) error { return h.c.Kept(ctx, f.Path) })
	}
	if err != nil {
		return st, false, err
	}
	st, ok, err := h.await(ctx, f.Path)
	if err != nil || !ok {
		return st, false, err
	}
	seen, err = h.see(ctx, &st)
	return st, seen, err
}

// await waits until the session has looked at a photograph.
func (h *Hands) await(ctx context.Context, path string) (st session.State, ok bool, err error) {
	err = h.work(ctx, func(ctx context.Context) error {
		h.doing(session.Looking)
		late := time.NewTimer(cmp.Or(h.c.Patience, patience))
		defer late.Stop()
		for {
			select {
			case <-ctx.Done():
				return ctx.Err()
			case <-late.C:
				return nil
			case st = <-h.looked:
				if st.Last != nil && absolute(st.Last.Path) == absolute(path) {
					ok = true
					return nil
				}
			}
		}
	})
	return st, ok, err
}

// turns reports whether RA is to be turned now, and by the mount.
func (h *Hands) turns(st *session.State) bool {
	switch st.Next.Kind {
	case session.TurnRA, session.TurnRAMore, session.ThirdFrame:
		return h.c.Turner != nil && !h.Status().Left
	}
	return false
}

// leave leaves RA to the person from here on.
func (h *Hands) leave(err error) {
	if errors.Is(err, errDeclined) {
		err = nil
	}
	h.set(func(s *session.Handling) { s.Left, s.Trouble = true, err })
}

// halted waits until the person lets the hands go on.
func (h *Hands) halted(ctx context.Context, err error) {
	if !errors.Is(err, ErrStopped) {
		h.drain()
	}
	h.set(func(s *session.Handling) {
		h.stopped = true
		s.Doing, s.Ask = session.Halted, nil
		if !errors.Is(err, ErrStopped) {
			s.Trouble = err
		}
	})
	if _, err := h.wait(ctx, func(a session.Action) bool { return a.Name == session.GoOn }); err != nil {
		return
	}
	h.stills.Wait()
	h.set(func(s *session.Handling) {
		h.stopped = false
		s.Doing, s.Left, s.Trouble = session.Looking, false, nil
	})
}
