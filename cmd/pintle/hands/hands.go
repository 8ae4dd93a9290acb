package hands

import (
	"context"
	"errors"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"pintle/cmd/pintle/device"
	"pintle/cmd/pintle/device/shoot"
	"pintle/cmd/pintle/session"
	"pintle/index/sphere"
)

// Config says what the hands have to work with.
type Config struct {
	Clock device.Clock
	// Camera opens the camera, and again when it was lost.
	Camera func(context.Context) (device.Camera, error)
	Folder *shoot.Folder
	Shot   device.Exposure // of the first photograph
	// Longest is the longest exposure that is chosen; Fixed leaves it as it is.
	Longest time.Duration
	Fixed   bool
	// Turner turns RA by Angle between frames; nil leaves that to the person. Its
	// Agree and Progress are set here.
	Turner *device.Turner
	Angle  sphere.Angle
	Agreed bool // beforehand: no question is asked
	// Kept is told of each photograph once it is in the folder, by who does not watch
	// that; nil for nobody. An error halts Run and Series.
	Kept func(ctx context.Context, path string) error
	// Patience is how long the session may look at a photograph before the next is
	// taken all the same; 0 is usual.
	Patience time.Duration
}

// Hands serve a session. Run, Series or Measure is called once.
type Hands struct {
	c       Config
	cam     device.Camera
	shot    device.Exposure
	news    chan struct{}
	looked  chan session.State
	answers chan session.Action
	deaf    chan struct{}    // closed when nobody can type any more; see Hear
	before  *device.Pointing // of the last recognised frame
	fresh   bool             // a turn was made since that frame

	mu      sync.Mutex
	now     session.Handling
	taken   map[string]string
	cancel  context.CancelFunc // ends what is being done
	stopped bool               // until the person says go on
	turning bool               // the turner moves the mount
	asked   int
	stills  sync.WaitGroup // stops without a turn that run
}

// New returns hands that have done nothing yet.
func New(c Config) *Hands {
	h := &Hands{c: c, shot: c.Shot, news: make(chan struct{}, 1), looked: make(chan session.State, 1),
		answers: make(chan session.Action, 4), deaf: make(chan struct{}), taken: map[string]string{}}
	h.now.Exposure = c.Shot.Time
	if t := c.Turner; t != nil {
		h.now.Mount = t.Mount.Name()
		t.Agree, t.Progress = h.agree, h.progress
	}
	c.Folder.Before = h.took
	return h
}

// Status returns what the hands are at.
func (h *Hands) Status() session.Handling {
	h.mu.Lock()
	defer h.mu.Unlock()
	s := h.now
	s.Turns = slices.Clone(s.Turns)
	return s
}

// Changed is readable when Status says something new.
func (h *Hands) Changed() <-chan struct{} { return h.news }

// set changes the status and tells so.
func (h *Hands) set(change func(*session.Handling)) {
	h.mu.Lock()
	change(&h.now)
	h.mu.Unlock()
	select {
	case h.news <- struct{}{}:
	default:
	}
}

func (h *Hands) doing(d session.Doing) {
	h.set(func(s *session.Handling) { s.Doing = d })
}

// TakenBy returns the name of the camera that took a file, "" for a file of
// somebody else's.
func (h *Hands) TakenBy(path string) string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.taken[absolute(path)]
}

// took remembers a photograph before it appears in the folder.
func (h *Hands) took(path string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.taken[absolute(path)] = h.now.Camera
}

func absolute(path string) string {
	if p, err := filepath.Abs(path); err == nil {
		return p
	}
	return filepath.Clean(path)
}

// ErrStopped is the error of what the person stopped.
var ErrStopped = errors.New("stopped")

// Do takes an action that is for the hands, at once; false for any other.
func (h *Hands) Do(a session.Action) bool {
	switch a.Name {
	case session.Stop:
		h.stop()
	case session.GoOn, session.Agree, session.Decline:
		if a.Name == session.GoOn && h.retake() {
			break
		}
		select {
		case h.answers <- a:
		default: // nobody waits for so many
		}
	default:
		return false
	}
	return true
}

// retake lets the mount turn RA again that was left to the person; false when it
// was not, or when the person says that RA is turned.
func (h *Hands) retake() (left bool) {
	h.set(func(s *session.Handling) {
		if left = s.Left && !h.stopped && s.Doing != session.HandTurn; left {
			s.Left, s.Trouble = false, nil
		}
	})
	return left
}

// stop ends what is being done, and has the mount stand.
func (h *Hands) stop() {
	h.drain()
	h.mu.Lock()
	if h.cancel != nil {
		h.cancel()
	}
	h.stopped = true
	h.now.Doing, h.now.Ask, h.now.Trouble = session.Halted, nil, nil
	idle := h.c.Turner != nil && !h.turning
	if idle {
		h.stills.Add(1)
	}
	h.mu.Unlock()
	h.set(func(*session.Handling) {})
	if !idle {
		return // the turner stops its turn
	}
	go func() {
		defer h.stills.Done()
		if err := device.Still(context.Background(), h.c.Turner.Mount, h.c.Clock); err != nil {
			h.set(func(s *session.Handling) { s.Trouble = err })
		}
	}()
}

// work runs a piece of work that a stop ends: its error is ErrStopped then.
func (h *Hands) work(ctx context.Context, f func(context.Context) error) error {
	ctx2, cancel := context.WithCancel(ctx)
	defer cancel()
	h.mu.Lock()
	if h.stopped {
		h.mu.Unlock()
		return ErrStopped
	}
	h.cancel = cancel
	h.mu.Unlock()
	err := f(ctx2)
	h.mu.Lock()
	h.cancel = nil
	h.mu.Unlock()
	if ctx2.Err() != nil && ctx.Err() == nil && (err == nil || errors.Is(err, context.Canceled)) {
		return ErrStopped
	}
	return err
}

// wait waits for one of the answers that ok takes.
func (h *Hands) wait(ctx context.Context, ok func(session.Action) bool) (session.Action, error) {
	deaf := h.deaf
	for {
		select {
		case <-ctx.Done():
			return session.Action{}, ctx.Err()
		case a := <-h.answers:
			if ok(a) {
				return a, nil
			}
		case <-deaf:
			if len(h.answers) == 0 {
				return session.Action{}, errNobody
			}
			deaf = nil
		}
	}
}

// close lets go of the camera. The mount is its opener's.
func (h *Hands) close() {
	h.stills.Wait()
	if h.cam != nil {
		h.cam.Close()
		h.cam = nil
	}
}
