package watch

import (
	"os"
	"path/filepath"
	"time"

	"github.com/fsnotify/fsnotify"
)

// events are the system's, as far as it gives any.
type events struct {
	fs      *fsnotify.Watcher // nil without
	watched map[string]bool
	misses  int  // files found by looking that no event told of, since the last event
	bad     bool // a folder could not be watched
}

func newEvents(without bool) *events {
	ev := &events{watched: map[string]bool{}}
	if !without {
		// Without events looking again and again is what remains; that is no error.
		ev.fs, _ = fsnotify.NewWatcher()
	}
	return ev
}

func (ev *events) close() {
	if ev.fs != nil {
		ev.fs.Close()
	}
}

func (ev *events) events() <-chan fsnotify.Event {
	if ev.fs == nil {
		return nil
	}
	return ev.fs.Events
}

func (ev *events) errors() <-chan error {
	if ev.fs == nil {
		return nil
	}
	return ev.fs.Errors
}

// add watches a folder. A folder that cannot be watched is looked through often.
func (ev *events) add(dir string) {
	if ev.fs == nil || ev.watched[dir] {
		return
	}
	if err := ev.fs.Add(dir); err != nil {
		ev.bad = true
		return
	}
	ev.watched[dir] = true
}

func (ev *events) drop(dir string) {
	if ev.watched[dir] {
		delete(ev.watched, dir)
		_ = ev.fs.Remove(dir) // gone with its folder, mostly
	}
}

// forget drops all watches.
func (ev *events) forget() {
	for dir := range ev.watched {
		ev.drop(dir)
	}
	ev.bad = false
}

// failed: events were lost.
func (ev *events) failed(error) { ev.misses++ }

// missed: looking found a file of which there was no event. A network folder
// takes a watch and then tells nothing of what other machines write.
func (ev *events) missed() { ev.misses++ }

const tooManyMisses = 2

// good is true while events can be relied on.
func (ev *events) good() bool {
	return ev.fs != nil && len(ev.watched) > 0 && !ev.bad && ev.misses < tooManyMisses
}

// pause returns how long to wait before looking again.
func (ev *events) pause(look, took time.Duration) time.Duration {
	if ev.good() {
		look *= 4
	}
	return max(look, 20*took)
}

// event acts on one event.
func (w *Watcher) event(ev *events, e fsnotify.Event) {
	if e.Has(fsnotify.Remove) || e.Has(fsnotify.Rename) {
		if ev.watched[e.Name] {
			ev.drop(e.Name)
		}
		if filepath.Clean(e.Name) == filepath.Clean(w.dir) {
			ev.forget()
			w.look(ev, false)
		}
		return
	}
	if !e.Has(fsnotify.Create) && !e.Has(fsnotify.Write) && !e.Has(fsnotify.Chmod) {
		return
	}
	if info, err := os.Stat(e.Name); err == nil && info.IsDir() {
		if w.wanted(e.Name, ev) {
			ev.add(e.Name)
			w.within(e.Name, ev)
		}
		return
	}
	ev.misses = 0
	w.touched(e.Name)
}

// wanted is true for a new folder that is to be watched; looking tells of those
// beyond the limits.
func (w *Watcher) wanted(dir string, ev *events) bool {
	return !hidden(dir) && depth(w.dir, dir) <= MostDeep && len(ev.watched) < MostFolders
}

// within takes notice of what a new folder already holds when its watch begins.
func (w *Watcher) within(dir string, ev *events) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return
	}
	for _, d := range entries {
		path := filepath.Join(dir, d.Name())
		if d.IsDir() {
			if !ev.watched[path] && w.wanted(path, ev) {
				ev.add(path)
				w.within(path, ev)
			}
			continue
		}
		w.touched(path)
	}
}
