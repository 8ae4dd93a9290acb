package hands

import (
	"context"
	"errors"
	"testing"
	"time"

	"pintle/cmd/pintle/device/shoot"
	"pintle/cmd/pintle/session"
)

// stays makes sure that the hands go on waiting for an answer: what was said before
// they began to wait is forgotten, or a key pressed twice would have RA taken for
// turned that was not, and a mount go on by itself that was just stopped.
func stays(t *testing.T, h *Hands, doing session.Doing, f func(context.Context) error) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	ended := make(chan error, 1)
	go func() { ended <- f(ctx) }()
	early := func() bool {
		select {
		case err := <-ended:
			t.Errorf("%s: ended by what was said before it began, %v", doing, err)
			return true
		default:
			time.Sleep(time.Millisecond)
			return false
		}
	}
	for h.Status().Doing != doing {
		if early() {
			return
		}
	}
	h.Do(session.Action{Name: session.Decline}) // for nobody: when it is gone, all before it was heard
	for len(h.answers) > 0 {
		if early() {
			return
		}
	}
	cancel()
	if err := <-ended; !errors.Is(err, context.Canceled) {
		t.Errorf("%s: %v", doing, err)
	}
}

func TestAnswersOfBeforeAreForgotten(t *testing.T) {
	said := func() *Hands {
		h := New(Config{Folder: &shoot.Folder{}})
		h.Do(session.Action{Name: session.GoOn})
		return h
	}
	until := func(h *Hands, err error) func(context.Context) error {
		return func(ctx context.Context) error {
			h.halted(ctx, err)
			return ctx.Err()
		}
	}
	h := said()
	stays(t, h, session.HandTurn, h.byHand)
	h = said()
	stays(t, h, session.Halted, until(h, errors.New("the camera is gone")))
	h = said()
	h.Do(session.Action{Name: session.Stop})
	stays(t, h, session.Halted, until(h, ErrStopped))
}
