package hands

import (
	"context"
	"errors"
	"fmt"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/device"
	"pintle/cmd/pintle/session"
)

// mostTries is how many photographs in a row may fail to be recognised (no
// source: the exposure has grown eightfold by then).
const mostTries = 4

// Measure takes photographs until n were recognised by scout, RA turned between
// them by the mount or by the person, and returns the files of all of them. What
// goes wrong ends it.
func (h *Hands) Measure(ctx context.Context, scout *session.Session, n int) (paths []string, err error) {
	defer h.close()
	good, tries, stale := 0, 0, 0
	for {
		path, seen, err := h.look(ctx, scout)
		if path != "" {
			paths = append(paths, path)
		}
		if err != nil {
			return paths, err
		}
		if tries++; !seen {
			if tries == mostTries {
				return paths, unseen(scout)
			}
			continue
		}
		tries = 0
		if good++; good == n {
			return paths, nil
		}
		err = h.move(ctx)
		if stale++; again(err) && stale < mostTries {
			good-- // the same place once more
			continue
		}
		if err != nil {
			return paths, err
		}
		stale = 0
	}
}

// look takes a photograph and has it looked at.
func (h *Hands) look(ctx context.Context, scout *session.Session) (path string, seen bool, err error) {
	f, err := h.photograph(ctx)
	if err != nil {
		return "", false, err
	}
	h.doing(session.Looking)
	if _, err := scout.Take(ctx, f.Path, h.c.Clock.Now(), true); err != nil {
		return f.Path, false, err
	}
	st := scout.State()
	if st.Last == nil {
		return f.Path, false, nil
	}
	seen, err = h.see(ctx, &st)
	return f.Path, seen, err
}

// move turns RA, or lets the person do it.
func (h *Hands) move(ctx context.Context) error {
	if h.c.Turner != nil {
		return h.turn(ctx)
	}
	return h.byHand(ctx)
}

// byHand waits until the person has turned RA.
func (h *Hands) byHand(ctx context.Context) error {
	h.drain()
	return h.work(ctx, func(ctx context.Context) error {
		h.doing(session.HandTurn)
		_, err := h.wait(ctx, func(a session.Action) bool { return a.Name == session.GoOn })
		return err
	})
}

// Unseen says why photographs were not recognised.
type Unseen struct{ State session.State }

func (u *Unseen) Error() string {
	return fmt.Sprintf("%d photographs in a row were not recognised", mostTries)
}

// Advice says what to do about it.
func (u *Unseen) Advice() string {
	return "look at them: is the cover off, the focus right, the sky clear and dark? give a first exposure with --exposure"
}

func unseen(scout *session.Session) error { return &Unseen{scout.State()} }

// Ended words why Measure ended early.
func Ended(err error, dir string) error {
	switch {
	case errors.Is(err, ErrStopped), errors.Is(err, context.Canceled):
		return fmt.Errorf("stopped by you; nothing moves; the photographs taken are in %s", dir)
	case device.KindOf(err) == device.NoConsent && errors.Is(err, errDeclined):
		return advice.With(fmt.Errorf("nothing was moved; the photographs taken are in %s", dir), "turn RA by hand: leave --turn out")
	}
	return err
}
