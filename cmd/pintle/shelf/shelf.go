// Package shelf is the star index as the verbs use it: that of the embedded
// stars and beside it, where the user has given a catalogue, that of deeper
// stars.
package shelf

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime/debug"
	"time"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/whole"
	"pintle/index"
	"pintle/index/stars"
)

// What to try when the index or a catalogue is no good.
const (
	DeepAgain     = "pintle index build --stars FILE"
	buildAgain    = "pintle index build --again"
	catalogueHint = "pintle help index build"
	tooFewHint    = "take a catalogue that goes deeper: 40 stars a square degree at least, 320 for frames of 0.15 degrees"
)

// Folder returns the folder of the index when none is named: in the user's
// folder for what can be made again.
func Folder() (string, error) {
	cache, err := os.UserCacheDir()
	if err != nil {
		return "", advice.With(err, "name a folder for the star index with --index DIR")
	}
	return filepath.Join(cache, "pintle", "index"), nil
}

// Watcher is told of the long works.
type Watcher interface {
	Building(b index.Band, reason error) (progress func(share float64))
	BuildingDeep(b index.Band, reason error) (progress func(share float64))
	Poor(b index.Band) // a band for which the deeper stars are too few
}

// Shelf holds both indexes. Close it after use.
type Shelf struct {
	Wide *index.Library
	Deep *index.Library // nil without deeper stars
	// Damaged is what is wrong with the deeper stars: they are left out.
	Damaged error

	watch Watcher
}

// Open opens the shelf in a folder; bands are opened when they are needed. now
// tells the time.
func Open(dir string, now func() time.Time, w Watcher) *Shelf {
	s := &Shelf{Wide: &index.Library{Dir: dir, List: stars.Embedded(), Now: now, Building: w.Building}, watch: w}
	folder := index.DeepFolder(dir)
	list, err := stars.OpenFile(index.DeepList(folder))
	switch {
	case err == nil:
		s.Deep = deep(folder, list, now, w)
	case !errors.Is(err, fs.ErrNotExist):
		s.Damaged = err
	}
	return s
}

// deep is the library of a deeper list.
func deep(folder string, list *stars.List, now func() time.Time, w Watcher) *index.Library {
	return &index.Library{Dir: folder, List: list, Set: index.DeepBands(), Now: now, Building: w.BuildingDeep}
}

// Close closes both.
func (s *Shelf) Close() error {
	err := s.Wide.Close()
	if s.Deep != nil {
		err = errors.Join(err, s.Deep.Close(), s.Deep.List.Close())
	}
	return err
}

// BuildWide builds the bands of the embedded stars, those that are there too
// when again is set.
func (s *Shelf) BuildWide(ctx context.Context, again bool) error {
	return build(ctx, s.Wide, s.Wide.Bands(), again, "600 MB free")
}

// BuildDeep builds the bands for which the deeper stars are enough, and removes
// the others.
func (s *Shelf) BuildDeep(ctx context.Context, again bool) error {
	if s.Deep == nil {
		return nil
	}
	return whole.Locked(index.DeepRoot(s.Wide.Dir), func() error { return buildDeep(ctx, s.Deep, again, s.watch) })
}

func buildDeep(ctx context.Context, lib *index.Library, again bool, w Watcher) error {
	// Large blocks come and go in a build: memory is dearer than time.
	defer debug.SetGCPercent(debug.SetGCPercent(30))
	good, poor := index.Serves(lib.List)
	for _, b := range poor {
		w.Poor(b)
		if err := index.Remove(lib.Dir, b); err != nil {
			return err
		}
	}
	return build(ctx, lib, good, again, "room: some 150 bytes a star")
}

// build builds bands of a library, the widest first; room is what the disk
// needs.
func build(ctx context.Context, lib *index.Library, bands []index.Band, again bool, room string) (err error) {
	for i := len(bands) - 1; i >= 0; i-- {
		if again {
			err = lib.Rebuild(ctx, bands[i], index.ErrAbsent)
		} else {
			_, err = lib.Get(ctx, bands[i])
		}
		if err != nil {
			return advice.With(err, "check that the folder can be written and has "+room)
		}
	}
	return nil
}

// Stock tells of a star list and the bands made of it.
type Stock struct {
	Stars    int
	Checksum string
	Folder   string
	ListErr  error // of a check: the list is damaged
	Bands    []Band
}

// Band is a band as it is found.
type Band struct {
	index.Band
	Patterns int
	Bytes    int64
	Built    time.Time
	Err      error // index.ErrAbsent when it is not there, else what is wrong
}

// Absent is true when the band is simply not there.
func (b Band) Absent() bool { return errors.Is(b.Err, index.ErrAbsent) }

// Info tells what is there, by looking at the manifests.
func (s *Shelf) Info() (wide Stock, deep *Stock) {
	wide = stock(s.Wide)
	if s.Deep != nil {
		d := stock(s.Deep)
		deep = &d
	}
	return wide, deep
}

func stock(lib *index.Library) Stock {
	s := Stock{Stars: lib.List.Len(), Checksum: lib.List.Checksum(), Folder: lib.Dir}
	for _, b := range lib.Bands() {
		s.Bands = append(s.Bands, look(lib, b, func(*index.Reader) error { return nil }))
	}
	return s
}

func look(lib *index.Library, b index.Band, check func(*index.Reader) error) Band {
	r, err := lib.Ready(b)
	if err != nil {
		return Band{Band: b, Err: err}
	}
	return Band{Band: b, Patterns: r.Manifest.Patterns, Bytes: index.Size(lib.Dir, b), Built: r.Manifest.Built, Err: check(r)}
}

// Checker is told what a check finds, as it finds it.
type Checker interface {
	List(deep bool, stars int, err error)
	Band(deep bool, b Band)
}

// Check reads both lists and all their bands, and compares them with their
// checksums. The error tells how many parts are damaged.
func (s *Shelf) Check(ctx context.Context, tell Checker) error {
	bad, err := check(ctx, s.Wide, false, tell)
	if err != nil {
		return err
	}
	if s.Damaged != nil {
		tell.List(true, 0, s.Damaged)
		bad++
	}
	if s.Deep != nil {
		n, err := check(ctx, s.Deep, true, tell)
		if err != nil {
			return err
		}
		bad += n
	}
	switch {
	case bad == 0:
		return nil
	case s.Damaged != nil:
		return advice.With(damagedParts(bad), DeepAgain)
	}
	return advice.With(damagedParts(bad), buildAgain)
}

// check counts what is damaged of a list and its bands.
func check(ctx context.Context, lib *index.Library, deep bool, tell Checker) (bad int, err error) {
	err = lib.List.Verify()
	if tell.List(deep, lib.List.Len(), err); err != nil {
		bad++
	}
	for _, b := range lib.Bands() {
		found := look(lib, b, func(r *index.Reader) error { return r.Check(ctx) })
		if ctx.Err() != nil {
			return bad, ctx.Err()
		}
		if tell.Band(deep, found); found.Err != nil && !found.Absent() {
			bad++
		}
	}
	return bad, nil
}

// damagedParts is what is said of an index of which n parts are damaged.
func damagedParts(n int) error {
	if n == 1 {
		return errors.New("1 part is damaged")
	}
	return fmt.Errorf("%d parts are damaged", n)
}
