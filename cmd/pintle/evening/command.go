package evening

import (
	"path/filepath"
	"slices"
	"sync"

	"pintle/cmd/pintle/hands"
	"pintle/cmd/pintle/session"
)

// command is what the session is told of camera and mount: who took which
// photograph, and how a device turned RA for the measurement. It holds the hands
// that are at work, too, so that a stop never waits for anything else.
type command struct {
	mu    sync.Mutex
	by    map[string]string // the camera that took a photograph, by its name
	turns []session.Turn
	hands *hands.Hands // nil while none are at work
}

// TakenBy returns the camera that took the photograph at a path, "" for one that was
// handed over.
func (c *command) TakenBy(path string) string {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.by[filepath.Base(path)]
}

// Status returns the turns that the measurement rests on. What the hands are at is
// shown past the session.
func (c *command) Status() session.Handling {
	c.mu.Lock()
	defer c.mu.Unlock()
	return session.Handling{Turns: slices.Clone(c.turns)}
}

// Do and Changed are for those who ask the hands themselves.
func (c *command) Do(session.Action) bool   { return false }
func (c *command) Changed() <-chan struct{} { return nil }

// took remembers who took a photograph.
func (c *command) took(name, camera string) {
	if camera == "" {
		return
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.by[name] = camera
}

// rests takes over the turns that the measurement rests on.
func (c *command) rests(turns []session.Turn) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.turns = turns
}

// use puts hands to work; nil lets go of them.
func (c *command) use(h *hands.Hands) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.hands = h
}

func (c *command) atWork() *hands.Hands {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.hands
}

// doing is what the hands are at, nil while none are at work.
func (c *command) doing() *session.Handling {
	h := c.atWork()
	if h == nil {
		return nil
	}
	s := h.Status()
	return &s
}

// Urgent takes what is for camera and mount past all that waits, a stop above all;
// false for anything else.
func (e *Evening) Urgent(a session.Action) bool {
	h := e.command.atWork()
	switch a.Name {
	case session.Stop:
		if h == nil {
			if err := e.endShooting(); err != nil {
				e.fail(err)
			}
		}
	case session.GoOn, session.Agree, session.Decline:
	default:
		return false
	}
	if h != nil {
		h.Do(a)
	}
	return true
}
