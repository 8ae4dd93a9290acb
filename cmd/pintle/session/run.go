package session

import (
	"context"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"

	"pintle/axis/place"
	"pintle/cmd/pintle/watch"
	"pintle/index"
	"pintle/index/sphere"
	"pintle/solve"
)

// View shows a run. Neither call may wait for whoever looks.
type View interface {
	// Frame shows the state after a frame, every one of them.
	Frame(State)
	// Show shows a change that came of no frame.
	Show(State)
}

// Action is something that the person asked for, at a key or on the page.
type Action struct {
	Name  ActionName
	Value float64 // in the unit of the action
	Site  *place.Site
}

// ActionName is a kind of action.
type ActionName string

// The actions. Those from TurnRA on are of a rehearsal only.
const (
	Fresh         ActionName = "fresh"          // a new measurement
	Tolerance     ActionName = "tolerance"      // arcmin
	StepTolerance ActionName = "step-tolerance" // to the next usual one: 1 up, -1 down
	Mute          ActionName = "mute"           // 1 on, 0 off
	ToggleMute    ActionName = "toggle-mute"
	ResumeRun     ActionName = "resume" // the run that is offered
	Place         ActionName = "site"   // Site is where the mount stands
	Quit          ActionName = "quit"
	// For the hands; see Hands.Do.
	Stop     ActionName = "stop"     // everything that a device does
	GoOn     ActionName = "go-on"    // after a stop, or when the person has turned RA
	Agree    ActionName = "agree"    // to the question of that number
	Decline  ActionName = "decline"  // it
	HandRA   ActionName = "turn-ra"  // degrees
	HandAlt  ActionName = "turn-alt" // arcmin, up positive
	HandAz   ActionName = "turn-az"  // arcmin, clockwise positive
	Tracking ActionName = "tracking" // 1 on, 0 off
	Cloud    ActionName = "cloud"    // 1 on, 0 off
)

// Run is a session that is given frames as they come: a folder is watched, the
// views are shown what each frame says, and actions are heard.
type Run struct {
	Session *Session
	Watch   *watch.Watcher
	Views   []View
	Actions chan Action
	Now     func() time.Time
	// Pictures takes the picture of a frame when somebody may look at it, and
	// returns its number.
	Pictures func(png []byte) int
	// Rehearse acts on what only a rehearsal knows.
	Rehearse func(Action) (Pretended, error)
	// Keys takes a key that is for the hands, at once; false for any other. It is nil
	// without hands.
	Keys func(byte) bool

	mount    *Pretended
	pictured chan int
	picture  int
	drawing  bool
	gone     bool
	left     [2]string // folders too deep and too many

	// What takes long goes on beside the loop, a file at a time and besides them one
	// lost frame that is looked for further. mu guards all else but the watcher
	// against Tell.
	mu     sync.Mutex
	beside sync.WaitGroup
	then   chan func() error // what the loop does when something beside it is done
	busy   bool              // a file is read, or looked for where it must be
	far    *search           // the frame that is looked for further
	lost   *search           // the frame to be looked for further when nothing newer waits
	held   gate              // the search for a frame further off stands still while busy
	passed []string          // frames passed over since the last one
}

// search is a lost frame that is looked for further.
type search struct {
	file    watch.File
	frame   *Frame
	stop    context.CancelFunc
	long    atomic.Bool // the rest is the last search
	gaveWay bool
}

// Until goes on until the context ends or Quit is asked for. Its error is one
// that every frame would meet.
func (r *Run) Until(ctx context.Context) error {
	ctx, stop := context.WithCancel(ctx)
	defer r.beside.Wait()
	defer stop()
	r.pictured, r.then = make(chan int, 1), make(chan func() error)
	r.locked(r.show)
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	var hands <-chan struct{}
	if h := r.Session.c.Hands; h != nil {
		hands = h.Changed()
	}
	for {
		ready := r.Watch.Ready()
		if r.busy {
			ready = nil
		}
		var err error
		select {
		case <-ctx.Done():
			return nil
		case <-ready:
			r.locked(func() { r.next(ctx) })
		case then := <-r.then:
			r.locked(func() { err = then() })
		case a := <-r.Actions:
			if a.Name == Quit {
				return nil
			}
			r.Do(a)
		case <-hands:
			r.locked(r.show)
		case n := <-r.pictured:
			r.locked(func() {
				r.drawing, r.picture = false, n
				r.show()
			})
		case <-tick.C:
			r.folder()
		}
		if err != nil && ctx.Err() == nil {
			return err
		}
	}
}

// Urgent takes an action that is for the hands, past whatever is being worked on,
// so that a stop never waits; false for any other. It may be called from any
// goroutine.
func (r *Run) Urgent(a Action) bool {
	h := r.Session.c.Hands
	return h != nil && h.Do(a)
}

// Turning reports whether the hands have the mount turn. It may be called from any
// goroutine.
func (r *Run) Turning() bool {
	h := r.Session.c.Hands
	return h != nil && h.Status().Doing == Turning
}

// Commands reports whether there are hands.
func (r *Run) Commands() bool { return r.Session.c.Hands != nil }

func (r *Run) locked(do func()) {
	r.mu.Lock()
	defer r.mu.Unlock()
	do()
}

// do does something beside the loop, which then does what that returns.
func (r *Run) do(ctx context.Context, work func() (then func() error)) {
	r.beside.Go(func() {
		then := work()
		select {
		case r.then <- then:
		case <-ctx.Done():
		}
	})
}

// leftOut tells of the folders that are not watched.
func (r *Run) leftOut() (out []Note) {
	if r.left[0] != "" {
		out = append(out, Note{Kind: FolderTooDeep, Text: r.left[0]})
	}
	if r.left[1] != "" {
		out = append(out, Note{Kind: FolderTooMany, Text: r.left[1]})
	}
	return out
}

// folder notices that the folder went or came back, and what of it is left out.
func (r *Run) folder() {
	st := r.Watch.State()
	if left := [2]string{st.TooDeep, st.TooMany}; left != r.left {
		r.left = left
		r.locked(r.show)
	}
	gone := st.Gone
	if gone == r.gone {
		return
	}
	r.gone = gone
	if gone {
		r.Tell(Note{Kind: FolderGone})
	} else {
		r.Tell(Note{Kind: FolderBack})
	}
}

// next begins with the next file, and reports whether there is one. While the axis is
// measured every frame counts; while it is adjusted only the newest one is true.
func (r *Run) next(ctx context.Context) bool {
	f, ok := r.Watch.Take(r.Session.engine.phase == Adjusting)
	r.held.shut(ok)
	if r.busy = ok; !ok {
		return false
	}
	r.do(ctx, func() func() error {
		frame, err := r.Session.c.Camera.Read(ctx, f.Path)
		return func() error {
			if err == nil {
				err = r.read(ctx, f, frame)
			}
			return err
		}
	})
	return true
}

// read goes on with a file that was read: its stars are looked for where they must
// be, before anything else.
func (r *Run) read(ctx context.Context, file watch.File, f *Frame) error {
	switch r.Session.receive(f, file.Mod, file.Last) {
	case NotYet:
		r.Watch.NotYet(file)
		r.idle(ctx)
		return nil
	case Ignored:
		if len(r.Session.passing) > 0 {
			r.show()
		}
		r.idle(ctx)
		return nil
	}
	if r.Session.engine.phase == Adjusting {
		r.Watch.PassOver(file)
	}
	for _, p := range r.Watch.Passed() {
		r.passed = append(r.passed, filepath.Base(p.Path))
	}
	if f.Miss != nil {
		r.looked(ctx, file, f)
		return nil
	}
	// Before anything was recognised no frame can be looked for where it must be: the
	// search in progress may be the one that finds the lens.
	if r.far != nil && (r.Session.known || r.far.long.Load()) {
		r.giveWay()
	}
	f.Look = r.Session.look(f, solve.Nearby)
	r.do(ctx, func() func() error {
		err := r.Session.c.Camera.Recognise(ctx, f)
		return func() error {
			if err == nil {
				r.looked(ctx, file, f)
			}
			return err
		}
	})
	return nil
}

// giveWay stops the search for an older frame.
func (r *Run) giveWay() {
	if s := r.far; s != nil && !s.gaveWay {
		s.gaveWay = true
		s.stop()
		r.passed = append(r.passed, s.frame.Name)
	}
}

// looked goes on with a frame that was looked for where it must be.
func (r *Run) looked(ctx context.Context, file watch.File, f *Frame) {
	if f.Solution != nil {
		r.giveWay()
	}
	if r.lost = nil; f.mayBeFar() {
		r.lost = &search{file: file, frame: f}
	}
	r.Session.settle(f)
	r.frame(file, f)
	r.idle(ctx)
}

// frame shows what was made of a frame.
func (r *Run) frame(file watch.File, f *Frame) {
	f.Elapsed = r.Now().Sub(file.Seen)
	r.Session.passed, r.passed = r.passed, nil
	st := r.State()
	for _, v := range r.Views {
		v.Frame(st)
	}
	r.draw(f)
}

// idle begins with the next file, or looks further for a lost frame when none waits.
func (r *Run) idle(ctx context.Context) {
	if r.next(ctx) || r.lost == nil || r.far != nil {
		return
	}
	s := r.lost
	r.lost, r.far = nil, s
	var far context.Context
	far, s.stop = context.WithCancel(ctx)
	r.Session.pass(Note{Kind: LooksFar, Frame: s.frame.Name})
	r.show()
	known := r.Session.known
	r.do(ctx, func() func() error {
		defer s.stop()
		f, err := r.farther(far, s, known)
		return func() error { return r.lookedFar(ctx, s, f, err) }
	})
}

// farther looks for a lost frame everywhere: at last, or at once when frames were
// recognised before, without a bound.
func (r *Run) farther(ctx context.Context, s *search, known bool) (*Frame, error) {
	again := func(e solve.Effort) (*Frame, error) {
		f := *s.frame
		f.Miss, f.Look.Effort, f.Look.Hold = nil, e, r.held.pass
		err := r.Session.c.Camera.Recognise(ctx, &f)
		return &f, err
	}
	if !known {
		if f, err := again(solve.Everywhere); err != nil || f.Solution != nil {
			return f, err
		}
	}
	s.long.Store(true)
	r.locked(func() {
		if r.lost != nil { // a newer one is lost, too
			r.giveWay()
		}
	})
	return again(solve.Everything)
}

// lookedFar goes on when a lost frame was looked for further.
func (r *Run) lookedFar(ctx context.Context, s *search, f *Frame, err error) error {
	r.far = nil
	switch {
	case s.gaveWay:
	case err != nil:
		return err
	case f.Solution != nil:
		r.Session.found(s.frame, f)
		r.frame(s.file, f)
	default:
		r.Session.stayedLost(s.frame, f)
		r.show()
	}
	if !r.busy {
		r.idle(ctx)
	}
	return nil
}

// draw makes the picture of a frame beside the loop, one at a time.
func (r *Run) draw(f *Frame) {
	if r.Pictures == nil || f.Picture == nil || r.drawing {
		return
	}
	r.drawing = true
	go func() { r.pictured <- r.Pictures(f.Picture()) }()
}

// State is the session's state with what the run adds.
func (r *Run) State() State {
	st := r.Session.State()
	st.Picture = r.picture
	st.Notes = append(st.Notes, r.leftOut()...)
	if r.mount != nil {
		m := *r.mount
		st.Mount = &m
	}
	return st
}

// show shows the state without a new frame.
func (r *Run) show() {
	r.Session.seq++
	st := r.State()
	for _, v := range r.Views {
		v.Show(st)
	}
}

// Tell shows notes on what happens beside the frames. It may be called by whoever
// looks for a frame.
func (r *Run) Tell(ns ...Note) {
	r.locked(func() {
		r.Session.pass(ns...)
		r.show()
	})
}

// TellLong shows what takes a solver long: that a band of the star index is being
// built, which happens once, and its last search.
func (r *Run) TellLong(s *solve.Solver) {
	if s == nil {
		return
	}
	quiet := func(float64) {}
	if s.Library != nil {
		s.Library.Building = func(b index.Band, _ error) func(float64) {
			r.Tell(Note{Kind: BuildingIndex, Share: [2]sphere.Angle{b.Min, b.Max}})
			return quiet
		}
	}
	s.Sweeping = func() func(float64) {
		r.Tell(Note{Kind: LongSearch})
		return quiet
	}
}

// Stand shows how the pretended mount stands.
func (r *Run) Stand(p Pretended) { r.mount = &p }

// Do does what was asked for.
func (r *Run) Do(a Action) { r.locked(func() { r.act(a) }) }

func (r *Run) act(a Action) {
	s := r.Session
	var err error
	switch a.Name {
	case Fresh:
		s.Begin()
	case Tolerance:
		err = s.SetTolerance(sphere.Angle(a.Value) * sphere.Arcminute)
	case StepTolerance:
		err = s.SetTolerance(nextTolerance(s.setting.Tolerance, a.Value))
	case Mute:
		s.Mute(a.Value != 0)
	case ToggleMute:
		s.Mute(!s.muted)
	case ResumeRun:
		s.Resume()
	case Place:
		if a.Site != nil {
			err = s.SetSite(*a.Site)
		}
	default:
		if r.Rehearse != nil {
			var p Pretended
			p, err = r.Rehearse(a)
			r.mount = &p
			s.pass()
		}
	}
	if err != nil {
		s.pass(Note{Kind: NotDone, Err: err})
	}
	r.show()
}

// tolerances are the steps of the tolerance keys, arcmin.
var tolerances = []float64{0.1, 0.2, 0.3, 0.5, 0.75, 1, 1.5, 2, 3, 5, 7.5, 10, 15, 20, 30, 60, 120, 300, 600}

// nextTolerance returns the step after t, or before it.
func nextTolerance(t sphere.Angle, way float64) sphere.Angle {
	out := tolerances[0]
	if way > 0 {
		out = tolerances[len(tolerances)-1]
		for _, x := range tolerances {
			if x > t.Arcminutes()*1.0001 {
				out = x
				break
			}
		}
	} else {
		for _, x := range tolerances {
			if x < t.Arcminutes()*0.9999 {
				out = x
			}
		}
	}
	return sphere.Angle(out) * sphere.Arcminute
}
