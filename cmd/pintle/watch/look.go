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
	var found []string
	infos := map[string]os.FileInfo{}
	folders := 0
	var tooDeep, tooMany string
	root := w.dir
	if l, e := os.Lstat(root); e == nil && l.Mode()&fs.ModeSymlink != 0 {
		root += string(filepath.Separator) // go through the link
	}
	if !gone {
		err = filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
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
					tooDeep = cmp.Or(tooDeep, path)
					return fs.SkipDir
				case folders >= MostFolders:
					tooMany = cmp.Or(tooMany, path)
					return fs.SkipDir
				}
				folders++
				ev.add(path)
			case hidden(path):
			default:
				info, err := os.Stat(path)
				if err == nil && info.Mode().IsRegular() {
					found = append(found, path)
					infos[path] = info
				}
			}
			return nil
		})
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.state.Err, w.state.TooDeep, w.state.TooMany = nil, tooDeep, tooMany
	if !gone {
		w.state.Err = err
	}
	if gone && !w.state.Gone {
		ev.forget() // the watch went with the folder
	}
	w.state.Gone = gone
	now := w.o.Now()
	missed := false
	for _, path := range found {
		fresh := w.known[path] == nil
		if w.note(path, infos[path], now, first) && fresh && !first {
			missed = true
		}
	}
	if missed {
		ev.missed()
	}
	w.state.Events = ev.good()
	w.looked++
	if !gone && err == nil && len(w.known) > mostKnown {
		w.prune(infos)
	}
	return now.Sub(start)
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
