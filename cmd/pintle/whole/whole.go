// Package whole writes the program's files so that each is whole or not there:
// under a temporary name in the same folder, brought to the disk, and put in
// place in one step. A crash at any moment leaves the file of before, or none,
// and at worst a temporary one, which a later write sweeps away.
package whole

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"github.com/rogpeppe/go-internal/lockedfile"
)

// Fault is why a file was not written, with what to try.
type Fault struct {
	Err error
	Try string
}

func (f *Fault) Error() string { return f.Err.Error() }

// Unwrap returns what lies below.
func (f *Fault) Unwrap() error { return f.Err }

// Advice returns what to try; package advice finds it by this method.
func (f *Fault) Advice() string { return f.Try }

// How a file is written.
type How struct {
	Replace bool        // put it in place of one that exists
	Perm    fs.FileMode // of a new file, 0644 when 0; one replaced keeps its own
}

const (
	// oldest is the age from which a temporary file is taken to be left by a
	// crash: no write of ours takes as long (no source, chosen on 2026-11-28).
	oldest = time.Hour
	// patience is how long a lock is waited for (no source, chosen on 2026-11-28).
	patience = 10 * time.Second
)

// passing is told of each step; tests stop there.
var passing = func(step string) {}

// Write writes the file at path. A link is followed. Without How.Replace a file
// that exists is an error, and stays as it is; so it does when write fails.
func Write(path string, how How, write func(io.Writer) error) error {
	if real, err := filepath.EvalSymlinks(path); err == nil {
		path = real
	}
	if how.Perm == 0 {
		how.Perm = 0o644
	}
	switch old, err := os.Stat(path); {
	case err == nil && !old.Mode().IsRegular():
		return &Fault{fmt.Errorf("%s is no ordinary file", path), "name a file to write to"}
	case err == nil && !how.Replace:
		return exists(path)
	case err == nil && old.Mode().Perm()&0o200 == 0:
		return &Fault{fmt.Errorf("%s is write-protected", path), "name another file; nothing was written"}
	case err == nil:
		how.Perm = old.Mode().Perm()
	}
	f, err := Begin(path)
	if err != nil {
		return err
	}
	defer f.Drop() // gone already when it has its name
	err = write(f)
	passing("written")
	if pathError := (*fs.PathError)(nil); errors.As(err, &pathError) {
		return refused(err)
	} else if err != nil {
		return err
	}
	return f.Keep(path, how)
}

// File is a file in the making, under a temporary name: Keep gives it its own,
// Drop removes it.
type File struct {
	f    *os.File
	done bool // it is on the disk and closed
}

// Begin begins a file that is to stand at path or, under another name, beside
// it, and sweeps away what crashes have left of earlier ones.
func Begin(path string) (*File, error) {
	sweep(path)
	f, err := os.CreateTemp(filepath.Dir(path), pattern(path))
	if err != nil {
		return nil, refused(err)
	}
	passing("created")
	return &File{f: f}, nil
}

// Write writes to the file.
func (f *File) Write(b []byte) (int, error) { return f.f.Write(b) }

// Keep brings the file to the disk and gives it its name. Without How.Replace a
// file that has the name stays, and the error is an [fs.ErrExist]: another name
// may be tried.
func (f *File) Keep(path string, how How) error {
	if err := f.finish(how); err != nil {
		return err
	}
	if err := place(f.f.Name(), path, how.Replace); err != nil {
		return err
	}
	passing("placed")
	syncFolder(filepath.Dir(path))
	passing("done")
	return nil
}

// finish brings the file to the disk, once.
func (f *File) finish(how How) error {
	if f.done {
		return nil
	}
	if how.Perm == 0 {
		how.Perm = 0o644
	}
	err := f.f.Chmod(how.Perm)
	if errors.Is(err, errors.ErrUnsupported) {
		err = nil
	}
	err = refused(errors.Join(err, f.f.Sync()))
	passing("synced")
	err = errors.Join(err, f.f.Close())
	f.done = err == nil
	return err
}

// Drop removes a file that was not kept.
func (f *File) Drop() {
	f.f.Close()
	os.Remove(f.f.Name())
}

// errExists is an [fs.ErrExist] that reads well behind a name.
var errExists error = existing{}

type existing struct{}

func (existing) Error() string        { return "exists" }
func (existing) Is(target error) bool { return target == fs.ErrExist }

func exists(path string) error {
	return &Fault{fmt.Errorf("%s %w already", path, errExists), "name another file, or replace it with --replace"}
}

// refused adds what to try to an error of the disk; nil stays nil.
func refused(err error) error {
	if err == nil {
		return nil
	}
	return &Fault{err, "check that the folder exists and can be written, and that the disk has room; nothing was changed"}
}

// pattern names the temporary files of a file.
func pattern(path string) string { return "." + filepath.Base(path) + "-*.part" }

// place gives a temporary file its name.
func place(tmp, path string, replace bool) error {
	if replace {
		return refused(os.Rename(tmp, path))
	}
	err := os.Link(tmp, path) // unlike a rename it never replaces
	switch {
	case err == nil:
		os.Remove(tmp)
		return nil
	case errors.Is(err, fs.ErrExist):
		return exists(path)
	}
	// A file system without links: between these two another may come.
	if _, err := os.Lstat(path); err == nil {
		return exists(path)
	}
	return refused(os.Rename(tmp, path))
}

// sweep removes what crashes left of earlier writes of the file at path.
func sweep(path string) { remove(filepath.Join(filepath.Dir(path), pattern(path)), oldest) }

// SweepFolder removes what crashes left of writes of any file of a folder, into which
// nobody may be writing.
func SweepFolder(dir string) { remove(filepath.Join(dir, pattern("*")), 0) }

// remove removes the temporary files that match, from an age on.
func remove(glob string, age time.Duration) {
	left, _ := filepath.Glob(glob)
	for _, tmp := range left {
		if st, err := os.Lstat(tmp); err == nil && st.Mode().IsRegular() && time.Since(st.ModTime()) >= age {
			os.Remove(tmp)
		}
	}
}

// syncFolder makes a file's name durable where the system can; where it
// cannot, the file is no less whole.
func syncFolder(dir string) {
	if d, err := os.Open(dir); err == nil {
		_ = d.Sync()
		d.Close()
	}
}

// Locked does what reads the file at path and writes it again, while no other
// run of the program does. The folder must exist; a file of the name with
// ".lock" stays in it.
func Locked(path string, do func() error) error {
	if real, err := filepath.EvalSymlinks(path); err == nil {
		path = real
	}
	name := filepath.Join(filepath.Dir(path), "."+filepath.Base(path)+".lock")
	type held struct {
		unlock func()
		err    error
	}
	got := make(chan held, 1)
	go func() {
		unlock, err := lockedfile.MutexAt(name).Lock()
		got <- held{unlock, err}
	}()
	select {
	case h := <-got:
		if h.err != nil {
			return refused(h.err)
		}
		defer h.unlock()
		return do()
	case <-time.After(patience):
		go func() { // it comes too late, and must not be held for ever
			if h := <-got; h.err == nil {
				h.unlock()
			}
		}()
		return &Fault{fmt.Errorf("%s is being changed by another run of the program for more than %s", path, patience), "end the other run, then repeat the command; nothing was changed"}
	}
}
