package device

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"time"
)

// What a brake is told through its pipe, a line each.
const (
	armed    = "armed"
	released = "released"
	goodbye  = "goodbye"
)

// Pedal is the near end of a brake: it writes to the pipe that a second process
// holds.
type Pedal struct{ Pipe io.WriteCloser }

// Arm tells the brake that a turn starts.
func (p Pedal) Arm() error { return p.say(armed) }

// Release tells the brake that the mount stands.
func (p Pedal) Release() error { return p.say(released) }

// Close ends the brake in peace; one that is still armed, because the mount is
// not known to stand, acts.
func (p Pedal) Close() error { return errors.Join(p.say(goodbye), p.Pipe.Close()) }

func (p Pedal) say(word string) error {
	_, err := fmt.Fprintln(p.Pipe, word)
	return err
}

// HoldBrake is the far end, the work of the second process: it reads the pipe
// until it closes. Closed while armed means that the process that turns the
// mount has died: connect makes a new link, and the mount is stopped. braked
// tells whether that was done. What it cannot cover: a computer or network
// without power.
func HoldBrake(ctx context.Context, pipe io.Reader, c Clock, connect func(context.Context) (Mount, error)) (braked bool, err error) {
	live := false
	lines := bufio.NewScanner(io.LimitReader(pipe, 1<<20))
	for lines.Scan() {
		switch lines.Text() {
		case armed:
			live = true
		case released:
			live = false
		case goodbye:
			if !live {
				return false, nil
			}
		}
	}
	if !live {
		return false, nil
	}
	return true, brake(ctx, c, connect)
}

// brake connects, again and again for a while, and stops.
func brake(ctx context.Context, c Clock, connect func(context.Context) (Mount, error)) error {
	begun := c.Now()
	for {
		m, err := connect(ctx)
		if err == nil {
			defer m.Close()
			return stopTracked(ctx, m, c)
		}
		if c.Now().Sub(begun) > linkWithin {
			return &Fault{Kind: LinkLost, Text: "the brake cannot reach the mount", Try: "SWITCH OFF THE MOUNT'S POWER if it moves", Err: err}
		}
		if err := c.Wait(ctx, 200*time.Millisecond); err != nil {
			return err
		}
	}
}

// stopTracked stops first and asks afterwards. Whether the mount tracked before
// the turn is not known any more: it is left as it is.
func stopTracked(ctx context.Context, m Mount, c Clock) error {
	h := halt{ctx: ctx, mount: m, clock: c}
	_, err := h.stand()
	return err
}
