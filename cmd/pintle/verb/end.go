package verb

import (
	"context"
	"io"
	"os"
	"os/signal"
	"slices"
	"sync"
	"syscall"
	"time"
)

// grace is how long a verb may take to end by itself once it is told to; then
// the process ends whatever it is doing. Nothing of ours is half done at any
// moment (see package whole), and a mount that turns has its brake.
const grace = 150 * time.Millisecond

// patience is how long the process waits beyond that while something is held (no
// source, chosen on 2026-11-28: a mount stops within a second or two).
const patience = 5 * time.Second

// Main is Run for a whole process: it ends soon after a signal or the key that
// ends a run, and at once after a second signal.
func Main(args []string, stdout, stderr io.Writer) int {
	if len(args) > 0 && args[0] == brakeVerb {
		signal.Ignore(endings()...) // it outlives the pintle that it belongs to
		return Run(context.Background(), args, stdout, stderr)
	}
	heard := make(chan os.Signal, 2)
	signal.Notify(heard, endings()...)
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	a := newApp(stdout, stderr)
	status := make(chan int, 1)
	go func() { status <- a.run(ctx, args) }()
	forced := Bad
	select {
	case s := <-status:
		return s
	case <-heard:
	case <-a.end.asked:
		forced = Done
	}
	cancel()
	for begun := time.Now(); ; {
		select {
		case s := <-status:
			return s
		case <-heard:
		case <-time.After(grace):
			if a.end.held() && time.Since(begun) < patience {
				continue
			}
		}
		a.end.finally()
		return forced
	}
}

// endings are the signals that end the program. One that it was started to
// ignore, as with nohup, stays ignored.
func endings() []os.Signal {
	out := []os.Signal{os.Interrupt, syscall.SIGTERM}
	if !signal.Ignored(syscall.SIGHUP) {
		out = append(out, syscall.SIGHUP) // where there is none it never comes
	}
	return out
}

// ending is what there is to do when the process must end before its verb does.
type ending struct {
	asked chan struct{} // closed when a key asks for the end
	ask   func()

	mu    sync.Mutex
	last  []*func()
	holds int
}

func newEnding() *ending {
	e := &ending{asked: make(chan struct{})}
	e.ask = sync.OnceFunc(func() { close(e.asked) })
	return e
}

// hold asks for some patience until release: a mount that moves is to be seen
// standing. A second signal heeds it not.
func (e *ending) hold() (release func()) {
	add := func(n int) {
		e.mu.Lock()
		defer e.mu.Unlock()
		e.holds += n
	}
	add(1)
	return sync.OnceFunc(func() { add(-1) })
}

func (e *ending) held() bool {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.holds > 0
}

// atLast keeps what must be done even then, such as giving the terminal back. It
// is short. done does it now, and only once.
func (e *ending) atLast(do func()) (done func()) {
	once := sync.OnceFunc(do)
	e.mu.Lock()
	defer e.mu.Unlock()
	e.last = append(e.last, &once)
	return func() {
		once()
		e.mu.Lock()
		defer e.mu.Unlock()
		e.last = slices.DeleteFunc(e.last, func(f *func()) bool { return f == &once })
	}
}

// finally does what was kept, the last first.
func (e *ending) finally() {
	e.mu.Lock()
	last := slices.Clone(e.last)
	e.mu.Unlock()
	done := make(chan struct{})
	go func() {
		defer close(done)
		for _, do := range slices.Backward(last) {
			(*do)()
		}
	}()
	select {
	case <-done:
	case <-time.After(grace / 2): // nothing may hold the end up, not even a terminal that takes nothing
	}
}
