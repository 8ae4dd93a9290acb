package session

import (
	"context"
	"time"

	"pintle/axis/place"
	"pintle/cmd/pintle/watch"
	"pintle/index/sphere"
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
	HandRA        ActionName = "turn-ra"  // degrees
	HandAlt       ActionName = "turn-alt" // arcmin, up positive
	HandAz        ActionName = "turn-az"  // arcmin, clockwise positive
	Tracking      ActionName = "tracking" // 1 on, 0 off
	Cloud         ActionName = "cloud"    // 1 on, 0 off
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

	mount    *Pretended
	pictured chan int
	picture  int
	busy     bool
	gone     bool
	left     [2]string // folders too deep and too many
}

// Until goes on until the context ends or Quit is asked for. Its error is one
// that every frame would meet.
func (r *Run) Until(ctx context.Context) error {
	r.pictured = make(chan int, 1)
	r.show()
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-r.Watch.Ready():
			// While the axis is measured every frame counts; while it is adjusted
			// only the newest one is true.
			f, ok := r.Watch.Take(r.Session.engine.phase == Adjusting)
			if !ok {
				continue
			}
			if err := r.take(ctx, f); err != nil {
				return err
			}
		case a := <-r.Actions:
			if a.Name == Quit {
				return nil
			}
			r.Do(a)
		case n := <-r.pictured:
			r.busy, r.picture = false, n
			r.show()
		case <-tick.C:
			r.folder()
		}
	}
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
		r.show()
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

// take works on one file.
func (r *Run) take(ctx context.Context, f watch.File) error {
	t, err := r.Session.Take(ctx, f.Path, f.Mod, f.Last)
	switch {
	case ctx.Err() != nil:
		return nil
	case err != nil:
		return err
	case t == NotYet:
		r.Watch.NotYet(f)
		return nil
	case t == Ignored:
		if len(r.Session.passing) > 0 {
			r.show()
		}
		return nil
	}
	last := r.Session.frames[len(r.Session.frames)-1]
	last.Elapsed = r.Now().Sub(f.Seen)
	st := r.State()
	for _, v := range r.Views {
		v.Frame(st)
	}
	r.draw(last)
	return nil
}

// draw makes the picture of a frame beside the loop, one at a time.
func (r *Run) draw(f *Frame) {
	if r.Pictures == nil || f.Picture == nil || r.busy {
		return
	}
	r.busy = true
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

// Tell shows notes on what happens beside the frames. Frames are worked on where
// this is called, and so are long searches.
func (r *Run) Tell(ns ...Note) {
	r.Session.pass(ns...)
	r.show()
}

// Stand shows how the pretended mount stands.
func (r *Run) Stand(p Pretended) { r.mount = &p }

// Do does what was asked for.
func (r *Run) Do(a Action) {
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
