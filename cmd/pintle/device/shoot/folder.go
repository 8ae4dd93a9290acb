// Package shoot takes photographs with a camera of package device into a
// folder, under names that appear when the files are complete, and chooses the
// next exposure from what a frame shows.
package shoot

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"pintle/cmd/pintle/device"
	"pintle/cmd/pintle/whole"
)

// clockApart is by how much a file's time may differ from ours.
const clockApart = 2 * time.Second

// Folder is where photographs are kept.
type Folder struct {
	Dir    string
	Prefix string // of the names; "frame" when empty
	// Before is told the name that a photograph gets, before it appears under it; nil
	// for nobody.
	Before func(path string)

	next int
	open func(path string) (part, error) // tests replace it
}

// part is a file in the making; see [whole.File].
type part interface {
	io.Writer
	Keep(path string, how whole.How) error
	Drop()
}

// Frame is a photograph that was taken and kept.
type Frame struct {
	Path     string
	TakenBy  string
	Exposure device.Exposure
	Start    time.Time // by our clock
	// Apart is the time that the camera wrote into the file, less Start. Corrected
	// says that ours stands there now, because they were too far apart or the
	// camera had written none.
	Apart     time.Duration
	Corrected bool
	Bytes     int64
}

// Take takes a photograph. Nothing is left in the folder when that fails.
func (f *Folder) Take(ctx context.Context, cam device.Camera, e device.Exposure) (Frame, error) {
	out := Frame{TakenBy: cam.Name(), Exposure: e}
	if err := os.MkdirAll(f.Dir, 0o755); err != nil {
		return out, noRoom(f.Dir, err)
	}
	var w *writer
	taken, err := cam.Expose(ctx, e, func(format string, start time.Time) (io.Writer, error) {
		var err error
		w, err = f.begin(format, start)
		return w, err
	})
	if w == nil {
		if err == nil {
			err = device.NewFault(device.Gone, "look at the camera and its driver", "the camera delivered no file")
		}
		return out, err
	}
	return w.finish(out, taken, err)
}

// writer is a file that is being written.
type writer struct {
	folder *Folder
	format string
	file   part
	clock  *clockWriter
	n      int64
	err    error // of the file, the folder's fault
}

func (f *Folder) begin(format string, start time.Time) (*writer, error) {
	w := &writer{folder: f, format: format}
	open := f.open
	if open == nil {
		open = func(path string) (part, error) { return whole.Begin(path) }
	}
	file, err := open(filepath.Join(f.Dir, f.prefix()+format))
	if err != nil {
		return nil, noRoom(f.Dir, err)
	}
	w.file = file
	w.clock = newClockWriter(file, start)
	return w, nil
}

// Write writes to the file and remembers when it was the folder that failed.
func (w *writer) Write(b []byte) (int, error) {
	n, err := w.clock.Write(b)
	w.n += int64(n)
	if err != nil && w.err == nil {
		w.err = noRoom(w.folder.Dir, err)
	}
	return n, err
}

// finish gives a complete file its name, or removes it.
func (w *writer) finish(out Frame, taken device.Taken, err error) (Frame, error) {
	out.Start, out.Bytes = taken.Start, w.n
	if w.err != nil {
		err = w.err
	}
	if err == nil {
		err = w.blame(w.clock.flush())
		out.Apart, out.Corrected = w.clock.apart, w.clock.corrected
	}
	if err == nil && w.n == 0 {
		err = device.NewFault(device.Gone, "look at the camera and its driver", "the camera delivered an empty file")
	}
	if err == nil {
		out.Path, err = w.folder.name(w.file, w.format)
	}
	if err != nil {
		w.file.Drop()
	}
	return out, err
}

func (w *writer) blame(err error) error {
	if err == nil {
		return nil
	}
	return noRoom(w.folder.Dir, err)
}

// prefix is how the names of photographs begin.
func (f *Folder) prefix() string { return cmp.Or(f.Prefix, "frame") }

// name gives a file the first free name.
func (f *Folder) name(file part, format string) (string, error) {
	for {
		f.next++
		path := filepath.Join(f.Dir, fmt.Sprintf("%s-%04d%s", f.prefix(), f.next, format))
		if _, err := os.Lstat(path); err == nil {
			continue
		} else if !errors.Is(err, os.ErrNotExist) {
			return "", noRoom(f.Dir, err)
		}
		if f.Before != nil {
			f.Before(path)
		}
		switch err := file.Keep(path, whole.How{}); {
		case errors.Is(err, os.ErrExist):
			continue // another came meanwhile
		case err != nil:
			return "", noRoom(f.Dir, err)
		}
		return path, nil
	}
}

func noRoom(dir string, err error) error {
	return &device.Fault{Kind: NoRoom, Text: "the photograph cannot be written into " + dir, Try: "make room there, or name another folder", Err: err}
}

// NoRoom is the kind of fault of a folder that takes no file.
const NoRoom device.Kind = "folder"
