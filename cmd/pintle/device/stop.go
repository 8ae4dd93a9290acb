package device

import (
	"context"
	"time"

	"pintle/index/sphere"
)

const (
	// standing is the rate below which a mount stands or tracks; tracking is
	// 0.004 degrees/s.
	standing = Rate(0.02 * sphere.Degree)
	standFor = 500 * time.Millisecond // as long as that

	stopAgain  = 500 * time.Millisecond // between orders to stop
	stopWithin = 10 * time.Second       // then the user is told to cut the power
	linkWithin = 30 * time.Second       // for a new link
)

// Halt stops the mount and returns where it stands, when it is known to stand.
// It repeats the order until then, makes a new link when the old one is lost,
// and restores tracking as it was found. The end of ctx does not end it.
func Halt(ctx context.Context, m Mount, c Clock, tracked bool) (Position, error) {
	p, _, err := stop(ctx, m, c, tracked)
	return p, err
}

// stop is Halt, and tells whether the mount is known to stand.
func stop(ctx context.Context, m Mount, c Clock, tracked bool) (p Position, stands bool, err error) {
	h := halt{ctx: context.WithoutCancel(ctx), mount: m, clock: c}
	if p, err = h.stand(); err != nil {
		return p, false, err
	}
	return p, true, h.restore(tracked)
}

// Still stops a mount that this program does not turn at the moment, and leaves
// its tracking as it is. It may be called while the mount is used elsewhere.
func Still(ctx context.Context, m Mount, c Clock) error {
	ctx = context.WithoutCancel(ctx)
	soon, cancel := context.WithTimeout(ctx, stopAgain)
	s, err := m.State(soon)
	cancel()
	if err != nil {
		return stopTracked(ctx, m, c)
	}
	_, err = Halt(ctx, m, c, s.Tracking)
	return err
}

// halt is Halt, and remembers whether the mount is known to stand.
func (t *Turner) halt(ctx context.Context, tracked bool) (Position, error) {
	p, stands, err := stop(ctx, t.Mount, t.Clock, tracked)
	t.loose = !stands
	return p, err
}

// halt is the state of a stop.
type halt struct {
	ctx   context.Context
	mount Mount
	clock Clock
	down  time.Duration // spent without a link
}

// stand orders stops until positions say that the mount stands.
func (h *halt) stand() (Position, error) {
	begun := h.clock.Now()
	var ordered time.Time
	var still span
	for {
		now := h.clock.Now()
		if now.Sub(begun)-h.down > stopWithin {
			return still.last, NewFault(Runaway, "SWITCH OFF THE MOUNT'S POWER NOW", "the mount is not known to stand %.0f s after it was told to stop", now.Sub(begun).Seconds())
		}
		if ordered.IsZero() || now.Sub(ordered) >= stopAgain {
			if err := h.mount.Stop(h.ctx); err != nil {
				if err := h.reconnect(err); err != nil {
					return still.last, err
				}
				still, ordered = span{}, time.Time{}
				continue
			}
			ordered = h.clock.Now()
		}
		if err := h.clock.Wait(h.ctx, poll); err != nil {
			return still.last, err
		}
		p, err := h.mount.Position(h.ctx)
		if err != nil {
			ordered = time.Time{} // the next order finds out whether the link is lost
			continue
		}
		if still.add(p) {
			return p, nil
		}
	}
}

// span is a stretch of positions at which the mount stood.
type span struct{ first, last Position }

// add takes in a position and reports whether the mount stands.
func (s *span) add(p Position) bool {
	if s.first.At.IsZero() {
		s.first, s.last = p, p
		return false
	}
	dt := p.At.Sub(s.last.At)
	if dt <= 0 {
		return false
	}
	moved := (p.RA - s.last.RA).Wrap().Abs() + (p.Dec - s.last.Dec).Abs()
	if moved > standing.Over(dt)+5*sphere.Arcsecond {
		s.first = p
	}
	s.last = p
	return p.At.Sub(s.first.At) >= standFor
}

// reconnect tries for a while to get a new link.
func (h *halt) reconnect(why error) error {
	begun := h.clock.Now()
	for {
		err := h.mount.Reconnect(h.ctx)
		now := h.clock.Now()
		if err == nil {
			h.down += now.Sub(begun)
			return nil
		}
		if now.Sub(begun) >= linkWithin {
			return &Fault{Kind: LinkLost, Text: "the link to the mount is lost and could not be made again within 30 s",
				Try: "SWITCH OFF THE MOUNT'S POWER if it moves", Err: why}
		}
		if err := h.clock.Wait(h.ctx, stopAgain); err != nil {
			return err
		}
	}
}

// restore switches tracking back to what it was before the turn.
func (h *halt) restore(tracked bool) error {
	s, err := h.mount.State(h.ctx)
	if err != nil {
		return lost(err)
	}
	if !s.CanTrack || s.Tracking == tracked {
		return nil
	}
	if err := h.mount.Track(h.ctx, tracked); err != nil {
		return &Fault{Kind: Refused, Text: "the mount stands, but its tracking could not be put back", Try: "switch tracking back by the keypad", Err: err}
	}
	return nil
}
