package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"pintle/axis"
	"pintle/axis/place"
	"pintle/index"
	"pintle/solve"
	"pintle/solve/frame"
)

// eye makes a glimpse of a file.
type eye interface {
	see(ctx context.Context, path string) (*glimpse, error)
	close() error
}

// glimpse is what a live run wants to know of a frame.
type glimpse struct {
	path, name string
	hash       uint64
	time       time.Time
	mod        time.Time      // of the file
	sighting   *axis.Sighting // nil when it was not solved
	why        string         // why not
	notes      []string
	site       place.Site
	air        place.Air
	ra, dec    float64 // degrees, the middle
	rms        float64 // arcsec
	w, h       int
	marks      [][2]float64
	picture    func() []byte // draws it, nil when nobody wants it
}

// errNotWhole is a file that is not complete yet, or will never be.
var errNotWhole = errors.New("not whole")

// realEye reads and solves.
type realEye struct {
	now    func() time.Time
	opt    frame.Options
	flags  *siteFlags
	usual  *place.Site // of the gear, where neither flags nor frames say
	solver *solve.Solver
	draw   bool
	lib    *index.Library

	located   bool
	site      place.Site
	air       place.Air
	last      *solve.Solution
	closeThis func() error
}

func (e *realEye) close() error { return e.closeThis() }

func (e *realEye) see(ctx context.Context, path string) (*glimpse, error) {
	var draw func() []byte
	s, err := readSeen(ctx, path, e.opt, func(im *frame.Image) {
		if e.draw {
			kept := *im
			draw = func() []byte { return picture(&kept) }
		}
	})
	switch {
	case errors.Is(err, frame.ErrDamaged), errors.Is(err, frame.ErrFormat):
		return nil, fmt.Errorf("%w: %w", errNotWhole, err)
	case err != nil:
		return nil, err
	}
	g := &glimpse{path: path, name: s.name(), hash: s.frame.Hash, time: s.frame.Time.Mid, notes: s.frame.Notes, w: s.field.W, h: s.field.H, picture: draw}
	if s.frame.Stars != nil {
		g.picture = nil
	}
	switch {
	case s.frame.Time.Err != nil:
		g.why = s.frame.Time.Err.Error()
		return g, nil
	case g.time.IsZero():
		g.why = textNoTime
		return g, nil
	}
	if err := e.locate(s.frame); err != nil {
		return nil, fatal{err}
	}
	g.site, g.air = e.site, e.air
	if err := s.solve(ctx, e.solver, e.last, epochOf(g.time, e.now())); err != nil {
		return nil, fatal{err}
	}
	if g.why = s.why; s.sol == nil {
		return g, nil
	}
	e.last = s.sol
	p, err := place.At(g.time, e.site, e.air)
	if err != nil {
		g.why = err.Error()
		return g, nil
	}
	sg := s.sighting(p)
	g.sighting = &sg
	ra, dec := s.sol.Centre().RADec()
	g.ra, g.dec, g.rms = ra.Degrees(), dec.Degrees(), s.sol.RMS.Arcseconds()
	for _, m := range sg.Matches {
		g.marks = append(g.marks, [2]float64{m.X, m.Y})
	}
	return g, nil
}

// locate settles site and air by the first frame.
func (e *realEye) locate(f *frame.Frame) error {
	if e.located {
		return nil
	}
	site, _, err := e.flags.site([]*frame.Frame{f})
	if err != nil {
		if e.usual == nil || f.Site != nil || f.SiteErr != nil {
			return err
		}
		site = *e.usual
	}
	air, _, err := e.flags.air(site)
	if err != nil {
		return err
	}
	e.site, e.air, e.located = site, air, true
	return nil
}

// tellLong shows what takes long: that a band of the star index is being built,
// which happens once, and the solver's last search. Solving happens in the loop,
// and so does this.
func (e *realEye) tellLong(r *liveRun) {
	tell := func(text string) func(float64) {
		r.show(text)
		return func(float64) {}
	}
	e.lib.Building = func(b index.Band, _ error) func(float64) {
		return tell(fmt.Sprintf(textBuilding, b.Min.Degrees(), b.Max.Degrees()))
	}
	e.solver.Sweeping = func() func(float64) { return tell(textSweeping) }
}
