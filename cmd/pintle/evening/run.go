package evening

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"sync"
	"time"

	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/watch"
	"pintle/cmd/pintle/whole"
	"pintle/cmd/pintle/words"
)

// goOn is for how long an earlier measurement of the folder is gone on with by
// itself (common practice, no source: a night).
const goOn = 18 * time.Hour

// begin makes the session, and goes on with the measurement of the folder when
// asked to and when it was not given up since.
func (e *Evening) begin(resume bool) error {
	k := &e.kept
	c := session.Config{Camera: (*camera)(e), Now: e.c.Now, Journal: e.c.Journal, Folder: e.c.Folder, Hands: &e.command}
	c.Told.Mount, c.Told.Camera = k.Mount, k.Camera
	if k.Zone != "" {
		zone, err := ReadZone(k.Zone)
		if err != nil {
			return err
		}
		c.Told.Frames.TimeZone = zone
	}
	e.c.Photos.Options = c.Told.Frames
	if k.Place != nil {
		site := k.Place.Site()
		c.Told.Site = &site
	}
	e.gear = stampOf(e.c.Gear)
	if g, err := gear.Load(e.c.Gear); err != nil {
		c.Broken = err
	} else {
		c.Gear = g.Gear
	}
	s, err := session.New(c)
	if err != nil {
		return words.PlainError(err)
	}
	s.Keep(words.Record, words.Miss)
	e.run = &session.Run{Session: s, Now: e.c.Now, Views: []session.View{(*face)(e)}}
	e.run.TellLong(e.c.Photos.Solver)
	if resume {
		if x, err := s.LookBack(goOn); err == nil && x.At.After(k.Fresh) {
			s.Resume()
		}
	}
	e.state = e.run.State()
	return nil
}

// mend makes whole what a killed program left: photographs that were being
// looked at or measured are looked at again, files that are not on the list are
// put on it, and such that are gone are taken off. Half a file has no name yet and
// goes.
func (e *Evening) mend() {
	e.kept.Photographs = slices.DeleteFunc(e.kept.Photographs, func(p *Photograph) bool {
		_, err := os.Stat(e.path(p.Name))
		return errors.Is(err, fs.ErrNotExist)
	})
	known := map[string]bool{}
	for _, p := range e.kept.Photographs {
		known[p.Name] = true
		if p.State == Ready || p.State == Queued || p.State == Aside && p.Time.IsZero() {
			p.State = New
		}
	}
	whole.SweepFolder(filepath.Join(e.c.Folder, photosName)) // uploads that were cut off
	entries, _ := os.ReadDir(filepath.Join(e.c.Folder, photosName))
	for _, d := range entries {
		fi, err := d.Info()
		if stem, ext := harmless(d.Name()); err == nil && fi.Mode().IsRegular() && !known[d.Name()] && stem+ext == d.Name() {
			e.kept.Photographs = append(e.kept.Photographs, &Photograph{Name: d.Name(), Size: fi.Size(), Modified: fi.ModTime(), State: New})
		}
	}
	for _, p := range e.kept.Photographs {
		if p.State == New {
			e.looks = append(e.looks, p)
		}
	}
}

// stir wakes Run.
func (e *Evening) stir() {
	select {
	case e.wake <- struct{}{}:
	default:
	}
}

// later has something done by the one who has the session.
func (e *Evening) later(f func(context.Context)) {
	e.mu.Lock()
	e.jobs = append(e.jobs, f)
	e.mu.Unlock()
	e.stir()
}

// renew makes the session anew, by what is told now; the measurement goes on
// unless a new one was asked for.
func (e *Evening) renew() {
	e.later(func(context.Context) {
		e.mu.Lock()
		seq := e.state.Seq
		err := e.begin(true)
		e.trouble = troubleOf(err)
		e.mu.Unlock()
		if err == nil {
			e.show(seq)
		}
		e.tell()
	})
}

// show shows the state that came of no frame, numbered on from seq.
func (e *Evening) show(seq int) {
	st := e.run.State()
	st.Seq += seq
	e.stand(st)
	e.present(false)
}

// face is the view of the session's run: all that it shows goes through the evening,
// which knows what the hands are at.
type face Evening

func (f *face) Frame(st session.State) { (*Evening)(f).stand(st); (*Evening)(f).present(true) }
func (f *face) Show(st session.State)  { (*Evening)(f).stand(st); (*Evening)(f).present(false) }

// present shows the session's latest state, and what the hands are at now.
func (e *Evening) present(frame bool) {
	e.showing.Lock()
	defer e.showing.Unlock()
	e.mu.Lock()
	st := e.state
	e.mu.Unlock()
	h := e.command.atWork()
	if h != nil && frame {
		h.Frame(st)
	}
	st.Hands = e.command.doing()
	for _, v := range e.c.Views {
		if frame {
			v.Frame(st)
		} else {
			v.Show(st)
		}
	}
}

func (e *Evening) look(p *Photograph) {
	e.mu.Lock()
	e.looks = append(e.looks, p)
	e.mu.Unlock()
	e.stir()
}

// lookAll looks again at what is new.
func (e *Evening) lookAll() {
	e.later(func(context.Context) { clear(e.cache) })
	e.mu.Lock()
	for _, p := range e.kept.Photographs {
		if p.State == New {
			e.looks = append(e.looks, p)
		}
	}
	e.mu.Unlock()
	e.stir()
}

// Run works until the context ends.
func (e *Evening) Run(ctx context.Context) error {
	// A frame of a modern camera is 100 MB while it is looked at; what is garbage
	// should not wait for as much again.
	defer debug.SetGCPercent(debug.SetGCPercent(50))
	defer e.shooters.Wait()
	e.mu.Lock()
	e.running = ctx
	e.mu.Unlock()
	watched := make(chan struct{})
	go func() { defer close(watched); e.watch(ctx) }()
	defer func() { <-watched }()
	var others sync.WaitGroup
	others.Go(func() { e.watchGear(ctx) })
	defer others.Wait()
	e.stir()
	for {
		select {
		case <-ctx.Done():
			return nil
		case a := <-e.actions:
			e.act(a)
		case <-e.wake:
		}
		for e.work(ctx) {
		}
	}
}

// work does the next thing, what was asked for first; false when there is none.
func (e *Evening) work(ctx context.Context) bool {
	select {
	case <-ctx.Done():
		return false
	case a := <-e.actions:
		e.act(a)
		return true
	default:
	}
	e.mu.Lock()
	var job func(context.Context)
	switch {
	case len(e.jobs) > 0:
		job, e.jobs = e.jobs[0], e.jobs[1:]
	case len(e.takes) > 0:
		p := e.next()
		job = func(ctx context.Context) { e.take(ctx, p) }
	case len(e.looks) > 0:
		p := e.looks[0]
		e.looks = e.looks[1:]
		job = func(ctx context.Context) { e.read(ctx, p) }
	}
	e.mu.Unlock()
	if job == nil {
		return false
	}
	job(ctx)
	return true
}

// next is the photograph to be measured next. While the adjusters are turned only
// the newest one is true: those before it are passed over.
func (e *Evening) next() *Photograph {
	n := 0
	if e.state.Phase == session.Adjusting {
		n = len(e.takes) - 1
	}
	for _, p := range e.takes[:n] {
		p.aside("passed over: a newer one was there")
	}
	p := e.takes[n]
	e.takes = e.takes[n+1:]
	return p
}

// act does what the person asked of the session.
func (e *Evening) act(a session.Action) {
	switch a.Name {
	case session.Fresh:
		if err := errors.Join(e.still(), e.afresh()); err != nil {
			e.fail(err)
		}
		return
	case session.Place:
		if a.Site != nil {
			if err := e.setPlace(placeOf(*a.Site, "as typed")); err != nil {
				e.fail(err)
			}
		}
		return
	}
	e.run.Do(a)
	e.stand(e.run.State())
}

// afresh begins a new measurement.
func (e *Evening) afresh() error {
	return e.change(func(k *kept) error { k.fresh(e.c.Now()); return nil }, e.renew)
}

// stand takes over the session's state.
func (e *Evening) stand(st session.State) {
	e.mu.Lock()
	e.state = st
	e.mu.Unlock()
}

// fail keeps what went wrong for all to see.
func (e *Evening) fail(err error) {
	e.mu.Lock()
	e.trouble = troubleOf(words.PlainError(err))
	e.mu.Unlock()
	e.tell()
}

// watch takes over new files of a camera program's folder.
func (e *Evening) watch(ctx context.Context) {
	if e.c.Watch == "" {
		return
	}
	w := watch.New(e.c.Watch, watch.Options{Now: e.c.Now})
	done := make(chan error, 1)
	go func() { done <- w.Run(ctx) }()
	for {
		select {
		case err := <-done:
			if err != nil {
				e.fail(err)
			}
			return
		case <-w.Ready():
			for f, ok := w.Take(false); ok; f, ok = w.Take(false) {
				if err := e.takeOver(ctx, f, ""); err != nil && ctx.Err() == nil {
					e.fail(err)
				}
			}
		}
	}
}

// takeOver takes over one file, of a camera that the program commanded or of "".
func (e *Evening) takeOver(ctx context.Context, f watch.File, camera string) error {
	r, err := os.Open(f.Path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	defer r.Close()
	_, err = e.add(ctx, filepath.Base(f.Path), f.Size, f.Mod, r, camera)
	return err
}
