// Package watch tells of the files that appear in a folder and below it, each
// once it has stopped growing, by the system's events where there are any and by
// looking again and again where there are none.
//
// It never opens a file: whether a file that has stopped growing is whole is for
// the reader to find out, who hands it back with NotYet when it is not.
package watch

import (
	"cmp"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"
)

// Options steer a Watcher; the zero value is good.
type Options struct {
	// Settle is how long a file must not have changed, 0 = 40 ms.
	Settle time.Duration
	// Look is how often the folder is looked through where the system gives no
	// events, 0 = 300 ms, and a safety net of a few times that where it does. A
	// folder so large that looking takes long is looked through less often.
	Look time.Duration
	// Patience is how long after its last change a file that was handed back is
	// offered again, 0 = 4 s.
	Patience time.Duration
	// Since: files last changed before it that are there at the start are left
	// alone. The zero time leaves all of them alone that are there.
	Since time.Time
	// NoEvents goes without the system's events.
	NoEvents bool
	// Now is the clock, nil = time.Now.
	Now func() time.Time
}

// File is a file that has stopped growing.
type File struct {
	Path string
	Size int64
	Mod  time.Time
	// Seen is when its last change was noticed.
	Seen time.Time
	// Last is true for a file that was handed back and will not be offered again
	// unless it changes.
	Last bool

	tries int
}

// State is what the watcher can say of the folder.
type State struct {
	Gone    bool  // the folder is not there at present
	Events  bool  // the system tells of changes
	Skipped int   // files passed over for newer ones
	Present int   // files left alone that were there at the start
	Err     error // why looking failed, apart from a folder that is not there
	// TooDeep and TooMany are the first folders that are not looked at, because they
	// are below MostDeep others, or beyond MostFolders; "" for none.
	TooDeep, TooMany string
}

// Watcher watches one folder. Run must be running.
type Watcher struct {
	dir string
	o   Options

	mu      sync.Mutex
	known   map[string]*entry
	waiting map[string]*entry // those of known that were not offered yet
	ready   []*entry
	passed  []File        // passed over since Passed was asked
	wake    chan struct{} // something became ready
	stir    chan struct{} // there is something to wait for
	state   State
	looked  int // how often the folder was looked through
}

// entry is what is known of one path.
type entry struct {
	File
	due   time.Time // when it is to be offered
	stage stage
}

type stage int

const (
	growing stage = iota
	offered
	done
)

// New returns a watcher of dir, which need not be there yet.
func New(dir string, o Options) *Watcher {
	o.Settle = cmp.Or(o.Settle, 40*time.Millisecond)
	o.Look = cmp.Or(o.Look, 300*time.Millisecond)
	o.Patience = cmp.Or(o.Patience, 4*time.Second)
	if o.Now == nil {
		o.Now = time.Now
	}
	return &Watcher{
		dir: dir, o: o, known: map[string]*entry{}, waiting: map[string]*entry{},
		wake: make(chan struct{}, 1), stir: make(chan struct{}, 1),
	}
}

// State returns what there is to say of the folder now.
func (w *Watcher) State() State {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.state
}

// Ready is readable when Take may have something.
func (w *Watcher) Ready() <-chan struct{} { return w.wake }

// Take returns the next file, or ok false when none is ready. With newest it is
// the latest one; those before it stay, in case it is no photograph, until
// [Watcher.PassOver]. Else it is the oldest, of which the latest 32 are kept.
func (w *Watcher) Take(newest bool) (f File, ok bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if len(w.ready) == 0 {
		return File{}, false
	}
	slices.SortStableFunc(w.ready, older)
	w.pass(len(w.ready) - mostKept)
	pick := 0
	if newest {
		pick = len(w.ready) - 1
	}
	e := w.ready[pick]
	w.ready = slices.Delete(w.ready, pick, pick+1)
	if len(w.ready) > 0 {
		signal(w.wake)
	}
	e.stage = done
	e.tries++
	return e.File, true
}

// older orders files by when they were written.
func older(a, b *entry) int {
	return cmp.Or(a.Mod.Compare(b.Mod), cmp.Compare(a.Path, b.Path))
}

// pass passes over the first n of the files that are ready.
func (w *Watcher) pass(n int) {
	if n <= 0 {
		return
	}
	for _, e := range w.ready[:n] {
		e.stage = done
		w.passed = append(w.passed, e.File)
	}
	w.state.Skipped += n
	w.ready = slices.Delete(w.ready, 0, n)
}

// PassOver passes over what is ready and older than a file, for good.
func (w *Watcher) PassOver(f File) {
	w.mu.Lock()
	defer w.mu.Unlock()
	slices.SortStableFunc(w.ready, older)
	n, _ := slices.BinarySearchFunc(w.ready, &entry{File: f}, older)
	w.pass(n)
}

const mostKept = 32

// Waiting returns how many files Take may still return.
func (w *Watcher) Waiting() int {
	w.mu.Lock()
	defer w.mu.Unlock()
	return len(w.ready)
}

// Passed returns the files that Take passed over since it was last asked, the oldest
// first.
func (w *Watcher) Passed() []File {
	w.mu.Lock()
	defer w.mu.Unlock()
	out := w.passed
	w.passed = nil
	return out
}

// NotYet hands a file back that is not whole: it is offered again when it has
// changed, and from time to time until Patience has passed.
func (w *Watcher) NotYet(f File) {
	w.mu.Lock()
	defer w.mu.Unlock()
	e := w.known[f.Path]
	if e == nil || e.stage != done || !e.same(f.Size, f.Mod) || f.Last {
		return
	}
	now := w.o.Now()
	e.due = now.Add(w.o.Settle << min(e.tries, 6))
	end := e.Seen.Add(w.o.Patience)
	if !e.due.Before(end) {
		e.due, e.Last = end, true
	}
	e.stage = growing
	w.waiting[f.Path] = e
	signal(w.stir)
}

func (e *entry) same(size int64, mod time.Time) bool { return e.Size == size && e.Mod.Equal(mod) }

func signal(c chan struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}

// note takes notice of a file as it is now.
func (w *Watcher) note(path string, info os.FileInfo, now time.Time, first bool) (changed bool) {
	e := w.known[path]
	switch {
	case e == nil:
		e = &entry{File: File{Path: path}}
		w.known[path] = e
		if first && (w.o.Since.IsZero() || info.ModTime().Before(w.o.Since)) {
			e.Size, e.Mod, e.stage = info.Size(), info.ModTime(), done
			w.state.Present++
			return false
		}
	case e.same(info.Size(), info.ModTime()):
		return false
	}
	if e.stage == offered {
		w.ready = slices.DeleteFunc(w.ready, func(r *entry) bool { return r == e })
	}
	e.File = File{Path: path, Size: info.Size(), Mod: info.ModTime(), Seen: now}
	e.due, e.stage = now.Add(w.o.Settle), growing
	w.waiting[path] = e
	return true
}

// touched takes notice that a file was written to, by an event.
func (w *Watcher) touched(path string) {
	if hidden(path) {
		return
	}
	info, err := os.Stat(path)
	if err != nil || !info.Mode().IsRegular() {
		return
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	now := w.o.Now()
	if !w.note(path, info, now, false) {
		// Written to within the clock's grain, or closed.
		if e := w.known[path]; e.stage == growing && !e.Last && e.tries == 0 {
			e.Seen, e.due = now, now.Add(w.o.Settle)
		}
	}
}

// hidden is true for names that programs use for files in the making.
func hidden(path string) bool {
	name := filepath.Base(path)
	return name == "" || name[0] == '.' || name[0] == '~'
}

// settle offers what has settled and returns when to come again, zero for never.
func (w *Watcher) settle() (next time.Time) {
	w.mu.Lock()
	defer w.mu.Unlock()
	now := w.o.Now()
	for path, e := range w.waiting {
		if now.Before(e.due) {
			if next.IsZero() || e.due.Before(next) {
				next = e.due
			}
			continue
		}
		info, err := os.Stat(path)
		if err != nil {
			// Renamed or removed: no more is known of it.
			delete(w.waiting, path)
			delete(w.known, path)
			continue
		}
		if w.note(path, info, now, false) {
			if next.IsZero() || e.due.Before(next) {
				next = e.due
			}
			continue
		}
		delete(w.waiting, path)
		if e.Size == 0 && !e.Last {
			e.stage = done // offered when something has come
			continue
		}
		e.stage = offered
		w.ready = append(w.ready, e)
		signal(w.wake)
	}
	return next
}

// Run watches until the context ends. It returns an error only when dir is there
// and no folder.
func (w *Watcher) Run(ctx context.Context) error {
	if info, err := os.Stat(w.dir); err == nil && !info.IsDir() {
		return fmt.Errorf("%s is not a folder", w.dir)
	}
	ev := newEvents(w.o.NoEvents)
	defer ev.close()
	w.look(ev, true)
	timer := time.NewTimer(0)
	defer timer.Stop()
	nextLook := w.o.Now().Add(w.o.Look)
	for {
		next := w.settle()
		if next.IsZero() || nextLook.Before(next) {
			next = nextLook
		}
		timer.Reset(max(next.Sub(w.o.Now()), time.Millisecond))
		select {
		case <-ctx.Done():
			return nil
		case <-timer.C:
		case <-w.stir:
		case e, ok := <-ev.events():
			if ok {
				w.event(ev, e)
			}
		case err := <-ev.errors():
			ev.failed(err)
		}
		if now := w.o.Now(); !now.Before(nextLook) {
			took := w.look(ev, false)
			nextLook = w.o.Now().Add(ev.pause(w.o.Look, took))
		}
	}
}
