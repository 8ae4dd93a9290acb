package hands

import (
	"context"
	"errors"

	"pintle/cmd/pintle/device"
	"pintle/cmd/pintle/device/shoot"
	"pintle/cmd/pintle/session"
	"pintle/index/sphere"
)

// photograph takes one photograph and keeps it, with a camera that is opened
// first when that must be.
func (h *Hands) photograph(ctx context.Context) (f shoot.Frame, err error) {
	err = h.work(ctx, func(ctx context.Context) error {
		if h.cam == nil {
			if h.cam, err = h.c.Camera(ctx); err != nil {
				return err
			}
		}
		h.set(func(s *session.Handling) { s.Doing, s.Camera, s.Exposure = session.Exposing, h.cam.Name(), h.shot.Time })
		f, err = h.c.Folder.Take(ctx, h.cam, h.shot)
		return err
	})
	if err != nil && h.cam != nil && device.KindOf(err) != shoot.NoRoom && device.KindOf(err) != device.Refused {
		h.cam.Close() // it may be gone, or in mid-exposure
		h.cam = nil
	}
	if err == nil {
		h.set(func(s *session.Handling) {
			s.Shot, s.Change = &session.Shot{Path: f.Path, Exposure: f.Exposure.Time, Corrected: f.Corrected, Apart: f.Apart}, nil
		})
	}
	return f, err
}

// expose chooses the exposure of the next photograph by what the last one shows.
func (h *Hands) expose(f *session.Frame) {
	if h.c.Fixed || f.Field == nil || h.cam == nil {
		return
	}
	shown := shoot.Shows(f.Field)
	next, why := shoot.Next(h.shot, shown, h.cam.About(), h.c.Longest)
	if why == shoot.NoChange {
		return
	}
	h.shot = next
	h.set(func(s *session.Handling) {
		s.Change = &session.Change{Why: string(why), Stars: shown.Stars, Burnt: shown.Burnt, Next: next.Time}
	})
}

// see takes in the state after a photograph was looked at: the turn before it is
// measured, and the turner told where the camera points. ok is false for a frame
// that proves nothing.
func (h *Hands) see(ctx context.Context, st *session.State) (ok bool, err error) {
	f := st.Last
	h.expose(f)
	if !f.In() || f.Solution == nil || st.Refusal != nil && st.Refusal.Kind != session.DeviceScatter {
		return false, nil
	}
	p := device.Pointing{Camera: f.TakenBy, Sky: f.Solution.Centre(), At: f.Time(), Site: st.Setting.Site, Air: st.Setting.Air}
	if h.fresh && h.before != nil {
		h.measured(*h.before, p)
	}
	h.before, h.fresh = &p, false
	if h.c.Turner == nil {
		return true, nil
	}
	return true, h.work(ctx, func(ctx context.Context) error { return h.c.Turner.Seen(ctx, p) })
}

// measured tells of the last turn what the frames say of it.
func (h *Hands) measured(a, b device.Pointing) {
	west, err := a.Turned(b)
	if err != nil {
		return
	}
	h.set(func(s *session.Handling) {
		t := &s.Turns[len(s.Turns)-1]
		if !t.West {
			west = -west
		}
		t.Measured = &west
	})
}

// turn asks, turns RA, and keeps what came of it.
func (h *Hands) turn(ctx context.Context) error {
	return h.work(ctx, func(ctx context.Context) error {
		h.stills.Wait()
		got, err := h.c.Turner.Turn(ctx, device.Request{Angle: h.c.Angle})
		h.set(func(s *session.Handling) {
			h.turning = false
			if s.Ask = nil; s.Doing == session.Asking { // nobody answered, and the run ends
				s.Doing = session.Looking
			}
			if got.StoppedBy != "" {
				s.Turns, s.Trouble = append(s.Turns, turnOf(got)), nil
				h.fresh = true
			}
		})
		return err
	})
}

func turnOf(t device.Turned) session.Turn {
	return session.Turn{Asked: t.Asked, Reported: t.Reported, West: t.Direction == device.West, Rate: sphere.Angle(t.Rate), Time: t.Time, StoppedBy: string(t.StoppedBy)}
}

// progress shows how far a turn has come, in steps.
func (h *Hands) progress(turned sphere.Angle) {
	if (turned - h.Status().Turned).Abs() < sphere.Degree/2 {
		return
	}
	h.set(func(s *session.Handling) { s.Turned = turned })
}

// agree puts the question to the person and waits for an answer.
func (h *Hands) agree(ctx context.Context, q device.Question) error {
	h.mu.Lock()
	h.asked++
	number := h.asked
	h.mu.Unlock()
	if !h.c.Agreed {
		h.drain()
		h.set(func(s *session.Handling) {
			s.Doing = session.Asking
			s.Ask = &session.Question{Number: number, Angle: q.Angle, West: q.Direction == device.West, Rate: sphere.Angle(q.Rate), Limit: sphere.Angle(q.Limit),
				Time: q.Time, Unpark: q.Unpark, Unbraked: q.Unbraked}
		})
		a, err := h.wait(ctx, func(a session.Action) bool {
			return (a.Name == session.Agree || a.Name == session.Decline) && a.Value == float64(number)
		})
		if err != nil {
			return err
		}
		if a.Name == session.Decline {
			h.set(func(s *session.Handling) { s.Doing, s.Ask = session.Looking, nil })
			return errDeclined
		}
	}
	h.set(func(s *session.Handling) {
		if h.turning = ctx.Err() == nil; h.turning {
			s.Doing, s.Ask, s.Asked, s.Turned = session.Turning, nil, q.Angle, 0
		}
	})
	return ctx.Err()
}

// drain forgets answers to earlier questions.
func (h *Hands) drain() {
	for {
		select {
		case <-h.answers:
		default:
			return
		}
	}
}

// errDeclined is the error of a turn that the person does not want.
var errDeclined = errors.New("the turn was declined")

// again reports whether a turn was refused for want of a fresh frame, which the
// next photograph mends.
func again(err error) bool {
	k := device.KindOf(err)
	return k == device.NotSeen || k == device.Moved
}

// harmless reports whether a turn was refused before anything moved, so that the
// person may turn RA instead.
func harmless(err error) bool {
	switch device.KindOf(err) {
	case device.Low, device.Meridian, device.NearPole, device.Daylight, device.TooMuch, device.Parked, device.Contrary, device.NoConsent, device.Unfit:
		return true
	}
	return false
}
