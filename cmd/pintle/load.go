package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"time"

	"pintle/axis"
	"pintle/axis/place"
	"pintle/solve"
	"pintle/solve/detect"
	"pintle/solve/frame"
)

// shot is a frame on its way from file to sighting.
type shot struct {
	path  string
	frame *frame.Frame // pixels dropped once the stars are found
	field *detect.Field
	sol   *solve.Solution
	why   string // why there is no solution
	took  time.Duration
}

// name is how the frame is called in what is printed.
func (s *shot) name() string { return filepath.Base(s.path) }

// readShot reads a file and finds its stars.
func readShot(ctx context.Context, path string, o frame.Options) (*shot, error) {
	return readSeen(ctx, path, o, func(*frame.Image) {})
}

// readSeen is readShot that shows the picture before it is dropped.
func readSeen(ctx context.Context, path string, o frame.Options, see func(*frame.Image)) (*shot, error) {
	f, err := frame.Read(ctx, path, o)
	if err != nil {
		return nil, err
	}
	s := &shot{path: path, frame: f}
	if f.Stars != nil {
		s.field = listed(f)
	} else if s.field, err = detect.FindContext(ctx, &f.Image, detect.Options{}); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	see(&f.Image)
	f.Image.U8, f.Image.U16, f.Image.F32 = nil, nil, nil
	return s, nil
}

// listError is the error assumed of places in a star list that does not state
// any, px.
const listError = 0.3

// listed makes a field of a frame that was given as a star list.
func listed(f *frame.Frame) *detect.Field {
	d := &detect.Field{W: f.Image.W, H: f.Image.H, Found: len(f.Stars)}
	for _, s := range f.Stars {
		d.Stars = append(d.Stars, detect.Star{X: s.X, Y: s.Y, ErrX: listError, ErrY: listError, Flux: s.Flux, Elongation: 1})
	}
	sortByFlux(d.Stars)
	return d
}

// solveShot recognises the stars of a shot. near is an earlier solution of the
// same camera, or nil. An error other than "not solved" is returned.
func (s *shot) solve(ctx context.Context, solver *solve.Solver, near *solve.Solution, epoch float64) error {
	o := solve.Options{Epoch: epoch, Build: true, Hint: solve.Hint{Scale: s.frame.Optics.Scale, Near: near}}
	sol, err := solver.Solve(ctx, s.field, o)
	var un *solve.Unsolved
	if errors.As(err, &un) {
		s.why = un.Reason
		return nil
	}
	s.sol = sol
	return err
}

// epochOf returns the Julian year of a time; the year of the program's clock
// when the frame does not know its own.
func epochOf(t, now time.Time) float64 {
	if t.IsZero() {
		t = now
	}
	const j2000 = 946728000 // 2000-01-01 12:00 in Unix seconds
	return 2000 + float64(t.Unix()-j2000)/(365.25*86400)
}

// sighting turns a solved shot into what the axis fit needs.
func (s *shot) sighting(p *place.Place) axis.Sighting {
	sg := axis.Sighting{
		Name: s.name(), Time: s.frame.Time.Mid, Place: p, W: s.field.W, H: s.field.H,
		Lens: s.sol.Lens, SkyFromCam: s.sol.CamFromSky.Inv(),
	}
	for _, m := range s.sol.Matches {
		d := s.field.Stars[m.Detected]
		sg.Matches = append(sg.Matches, axis.Match{
			X: d.X, Y: d.Y, Err: math.Sqrt((d.ErrX*d.ErrX + d.ErrY*d.ErrY) / 2),
			Sky: m.Star.Pos, CatErr: m.Star.Err,
		})
	}
	return sg
}
