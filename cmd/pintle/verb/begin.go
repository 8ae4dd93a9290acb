package verb

import (
	"errors"
	"fmt"
	"path/filepath"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/flags"
	"pintle/cmd/pintle/lenses"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/shelf"
	"pintle/cmd/pintle/words"
	"pintle/solve"
)

// begin starts a session with the photographs of a real camera. Close it after
// use.
func (a *app) begin(f *flags.Sight, edit func(*session.Config) error) (*session.Session, *session.Photographs, func() error, error) {
	c := session.Config{Now: a.now}
	var err error
	if c.Told, err = f.Told(a.now()); err != nil {
		return nil, nil, nil, err
	}
	g, broken := a.knownGear()
	if c.Broken = broken; broken == nil {
		c.Gear = g.Gear
	}
	solver, closeIndex, err := a.solver(f.Index)
	if err != nil {
		return nil, nil, nil, err
	}
	photos := &session.Photographs{Solver: solver, Options: c.Told.Frames, Now: a.now, Lenses: lensesOf(solver)}
	c.Camera = photos
	if edit != nil {
		err = edit(&c)
	}
	var s *session.Session
	if err == nil {
		s, err = session.New(c)
	}
	if err != nil {
		return nil, nil, nil, errors.Join(words.PlainError(err), closeIndex())
	}
	s.Keep(words.Record, words.Miss)
	return s, photos, closeIndex, nil
}

// lensesOf is the book of lenses, beside the star index.
func lensesOf(s *solve.Solver) *lenses.Book {
	return lenses.Open(filepath.Join(s.Library.Dir, lenses.FileName))
}

// indexFolder is the folder of the star index.
func indexFolder(f flags.Index) (string, error) {
	if f.Folder != "" {
		return f.Folder, nil
	}
	return shelf.Folder()
}

// shelf opens the index, and that of deeper stars where there is one.
func (a *app) shelf(f flags.Index) (*shelf.Shelf, error) {
	dir, err := indexFolder(f)
	if err != nil {
		return nil, err
	}
	return shelf.Open(dir, a.now, a.Terminal), nil
}

// solver returns a solver with all stars there are. Close it after use.
func (a *app) solver(f flags.Index) (s *solve.Solver, closeIt func() error, err error) {
	sh, err := a.shelf(f)
	if err != nil {
		return nil, nil, err
	}
	if sh.Damaged != nil {
		a.Warn(advice.With(fmt.Errorf("the deeper stars are left out: %w", sh.Damaged), shelf.DeepAgain))
	}
	return &solve.Solver{Library: sh.Wide, Deep: sh.Deep, Sweeping: a.Sweeping}, sh.Close, nil
}
