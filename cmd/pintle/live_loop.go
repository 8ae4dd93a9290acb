package main

import (
	"context"
	"errors"
	"io/fs"
	"path/filepath"
	"time"

	"pintle/cmd/pintle/page"
	"pintle/cmd/pintle/watch"
	"pintle/solve/frame"
)

// liveRun is one run of the live verb: frames come in, the engine moves on, the
// views are shown.
type liveRun struct {
	now     func() time.Time
	watch   *watch.Watcher
	eye     eye
	engine  *engine
	scene   *scene
	keep    *keeper
	offer   *earlier
	views   []view
	actions chan page.Action
	stop    func()
	// pictures takes the picture of a frame when somebody may look at it.
	pictures func(png []byte) int
	// rehearse acts on what only a rehearsal knows.
	rehearse func(page.Action) (*page.Mount, string)

	seen     map[uint64]string // by fingerprint of the picture
	order    []uint64
	pictured chan int
	busy     bool
	gone     bool
	// since is when the last frame of the run that is resumed was written.
	since time.Time
}

// quitKey is the action of leaving.
const quitKey = "quit"

// mostSeen is how many pictures are remembered to tell one that comes again.
const mostSeen = 4096

// run goes on until the context ends. Its error is one that every frame would
// meet.
func (r *liveRun) run(ctx context.Context) error {
	r.seen, r.pictured = map[uint64]string{}, make(chan int, 1)
	r.show("")
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-r.watch.Ready():
			// While the axis is measured every frame counts; while it is adjusted
			// only the newest one is true.
			f, ok := r.watch.Take(r.engine.phase == phaseAdjust)
			if !ok {
				continue
			}
			if err := r.take(ctx, f); err != nil {
				return err
			}
		case a := <-r.actions:
			if a.Name == quitKey {
				r.stop()
				return nil
			}
			r.act(r.absoluteAction(a))
		case n := <-r.pictured:
			r.busy = false
			r.scene.state.Picture = n
			r.show("")
		case <-tick.C:
			r.folder()
		}
	}
}

// folder notices that the folder went or came back.
func (r *liveRun) folder() {
	gone := r.watch.State().Gone
	if gone == r.gone {
		return
	}
	r.gone = gone
	if gone {
		r.show(textGone)
	} else {
		r.show(textBack)
	}
}

// fatal is an error that every further frame would meet too.
type fatal struct{ error }

func (f fatal) Unwrap() error { return f.error }

// take works on one file.
func (r *liveRun) take(ctx context.Context, f watch.File) error {
	g, err := r.eye.see(ctx, f.Path)
	var end fatal
	switch {
	case ctx.Err() != nil:
		return nil
	case errors.As(err, &end):
		return err
	case errors.Is(err, errNotWhole) && !f.Last:
		r.watch.NotYet(f)
		return nil
	case errors.Is(err, frame.ErrFormat), errors.Is(err, fs.ErrNotExist):
		return nil // no photograph, or gone again
	case errors.Is(err, errNotWhole):
		g = &glimpse{path: f.Path, name: filepath.Base(f.Path), why: textDamaged}
	case err != nil:
		g = &glimpse{path: f.Path, name: filepath.Base(f.Path), why: err.Error()}
	}
	g.mod = f.Mod
	if g.hash != 0 {
		if first, twice := r.seen[g.hash]; twice {
			r.show(g.name + ": " + textSame + " (" + first + ")")
			return nil
		}
		r.remember(g)
	}
	note := ""
	if g.sighting != nil {
		st, err := r.engine.sight(*g.sighting)
		if err != nil {
			g.sighting, g.why = nil, err.Error()
		} else {
			r.offer = nil
			note = r.kept(r.keep.add(r.engine, g, st, r.engine.note))
		}
	}
	for _, n := range g.notes {
		note = join(note, n)
	}
	r.scene.took(g, r.now().Sub(f.Seen))
	r.scene.of(r.engine, note)
	r.offered()
	for _, v := range r.views {
		v.frame(r.scene.state)
	}
	r.draw(g)
	return nil
}

// kept words an error of the journal; the run goes on without.
func (r *liveRun) kept(err error) string {
	if err == nil {
		return ""
	}
	return textNotWritten + err.Error()
}

// remember notes a picture.
func (r *liveRun) remember(g *glimpse) {
	if len(r.order) == mostSeen {
		delete(r.seen, r.order[0])
		r.order = r.order[1:]
	}
	r.seen[g.hash] = g.name
	r.order = append(r.order, g.hash)
}

// draw makes the picture of a frame beside the loop, one at a time.
func (r *liveRun) draw(g *glimpse) {
	if r.pictures == nil || g.picture == nil || r.busy {
		return
	}
	r.busy = true
	go func() { r.pictured <- r.pictures(g.picture()) }()
}

// show shows the state without a new frame.
func (r *liveRun) show(note string) {
	r.scene.of(r.engine, note)
	r.offered()
	for _, v := range r.views {
		v.state(r.scene.state)
	}
}

func (r *liveRun) offered() {
	r.scene.state.Offer = ""
	if r.offer != nil {
		r.scene.state.Offer = offerWords(r.offer.at, r.offer.total, r.offer.solved)
	}
}

// act does what a key or the page asked for.
func (r *liveRun) act(a page.Action) {
	note := ""
	switch a.Name {
	case page.Fresh:
		r.engine.fresh()
		r.keep.fresh()
		r.offer, note = nil, textFresh
	case page.Tolerance:
		r.engine.setTolerance(a.Value)
	case page.Mute:
		r.scene.state.Muted = a.Value != 0
	case page.Resume:
		if r.offer != nil {
			note = r.resume(r.offer)
		}
	default:
		if r.rehearse != nil {
			r.scene.state.Mount, note = r.rehearse(a)
		}
	}
	r.show(note)
}

// resume goes on from an earlier run.
func (r *liveRun) resume(x *earlier) (note string) {
	r.offer = nil
	if err := r.engine.restore(x.state); err != nil {
		r.engine.fresh()
		return err.Error()
	}
	r.keep.session = x.session
	return textResumed
}
