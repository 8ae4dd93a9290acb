package watch

import (
	"cmp"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// Limits of what is looked at: a folder of photographs, not a whole disk.
const (
	MostDeep    = 6
	MostFolders = 512
	mostKnown   = 200_000
)

// look goes through the folder once. first is true for what was there before
// anyone watched.
func (w *Watcher) look(ev *events, first bool) (took time.Duration) {
	start := w.o.Now()
	info, err := os.Stat(w.dir)
	gone := err != nil || !info.IsDir()
	var seen found
	if !gone {
		seen, err = w.walk(ev)
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.state.Err, w.state.TooDeep, w.state.TooMany = nil, seen.tooDeep, seen.tooMany
	if !gone {
		w.state.Err = err
	}
	if gone && !w.state.Gone {
		ev.forget() // the watch went with the folder
	}
	w.state.Gone = gone
	now := w.o.Now()
	if w.noteAll(&seen, now, first) {
		ev.missed()
	}
	w.state.Events = ev.good()
	w.looked++
	if !gone && err == nil && len(w.known) > mostKnown {
		w.prune(seen.infos)
	}
	return now.Sub(start)
}

// found are the files of the folder and of those below it, in the order of their
// paths.
type found struct {
	paths []string
	infos map[string]os.FileInfo

	tooDeep, tooMany string // the first folders beyond the limits
}

// walk goes through the folders, and lets every one of them be watched.
func (w *Watcher) walk(ev *events) (found, error) {
	seen := found{infos: map[string]os.FileInfo{}}
	folders := 0
	root := w.dir
	if l, e := os.Lstat(root); e == nil && l.Mode()&fs.ModeSymlink != 0 {
		root += string(filepath.Separator) // go through the link
	}
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil && path == root:
			return err
		case err != nil:
			return nil // a sub-folder that may not be read, or just went
		case d.IsDir():
			switch {
			case path != root && hidden(path):
				return fs.SkipDir
			case depth(w.dir, path) > MostDeep:
				seen.tooDeep = cmp.Or(seen.tooDeep, path)
				return fs.SkipDir
			case folders >= MostFolders:
				seen.tooMany = cmp.Or(seen.tooMany, path)
				return fs.SkipDir
			}
			folders++
			ev.add(path)
		case !hidden(path):
			if info, err := os.Stat(path); err == nil && info.Mode().IsRegular() {
				seen.paths = append(seen.paths, path)
				seen.infos[path] = info
			}
		}
		return nil
	})
	return seen, err
}

// noteAll takes notice of all files; missed is true when one of them is new and
// no event has told of it.
func (w *Watcher) noteAll(seen *found, now time.Time, first bool) (missed bool) {
	for _, path := range seen.paths {
		fresh := w.known[path] == nil
		if w.note(path, seen.infos[path], now, first) && fresh && !first {
			missed = true
		}
	}
	return missed
}

// prune forgets files that are no more.
func (w *Watcher) prune(there map[string]os.FileInfo) {
	for path, e := range w.known {
		if there[path] == nil && e.stage == done {
			delete(w.known, path)
		}
	}
}

func depth(dir, path string) int {
	rel, err := filepath.Rel(dir, path)
	if err != nil {
		return 0
	}
	return strings.Count(rel, string(filepath.Separator)) + 1
}
