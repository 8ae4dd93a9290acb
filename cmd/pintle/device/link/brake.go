package link

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"

	"pintle/cmd/pintle/device"
)

// Brake is the second process that stops the mount when this one dies. It does
// nothing else, and ends when Close is called.
type Brake struct {
	device.Pedal
	cmd *exec.Cmd
}

// StartBrake starts a program as the brake of a mount: args are those after
// which it calls HoldBrake. It stands apart from the terminal, so that the key
// that interrupts this program does not interrupt the brake too.
func StartBrake(program string, args ...string) (*Brake, error) {
	b := &Brake{cmd: exec.Command(program, args...)}
	b.cmd.Stderr = os.Stderr
	apart(b.cmd)
	pipe, err := b.cmd.StdinPipe()
	if err == nil {
		err = b.cmd.Start()
	}
	if err != nil {
		return nil, &device.Fault{Kind: device.Unfit, Text: "the brake, which stops the mount should this program die, cannot be started", Try: "start pintle again", Err: err}
	}
	b.Pedal = device.Pedal{Pipe: pipe}
	return b, nil
}

// Close ends the brake in peace.
func (b *Brake) Close() error {
	err := b.Pedal.Close()
	if e := b.cmd.Wait(); err == nil {
		err = e
	}
	return err
}

// HoldBrake is what the second process does: it reads its orders until they end,
// and stops the mount when they end in mid-turn.
func HoldBrake(ctx context.Context, a Address, orders io.Reader, say io.Writer) error {
	braked, err := device.HoldBrake(ctx, orders, Clock{}, func(ctx context.Context) (device.Mount, error) { return mountToStop(ctx, a) })
	if braked && err == nil {
		fmt.Fprintln(say, "pintle ended in mid-turn: the mount was stopped. Switch its tracking on again if you want it.")
	}
	return err
}
