package main

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"pintle/cmd/pintle/night"
	"pintle/index"
	"pintle/index/sphere"
	"pintle/index/stars"
	"pintle/solve"
	"pintle/solve/frame"
)

// benchFrame renders one frame of a camera of w x h pixels and writes it to a
// file; the lens is 200 mm, pixels 3.76 um.
func benchFrame(b *testing.B, w, h int) string {
	b.Helper()
	spec := night.Random(1, false)
	spec.Camera.W, spec.Camera.H = w, h
	spec.Camera.Pixel, spec.Camera.Focal, spec.Camera.Nominal = 3.76, 200, 0
	spec.Setup.Dec = 20 * sphere.Degree
	spec.Frames = spec.Frames[:1]
	n, err := night.New(spec)
	if err != nil {
		b.Fatal(err)
	}
	path := filepath.Join(b.TempDir(), "frame.fits")
	if err := n.Shoot(0).Save(path); err != nil {
		b.Fatal(err)
	}
	return path
}

// benchSolve measures a frame from file to solution, blind, index in place.
func benchSolve(b *testing.B, w, h int) {
	path := benchFrame(b, w, h)
	a := newApp(nil, nil)
	dir, err := (&indexFlags{}).folder()
	if err != nil {
		b.Fatal(err)
	}
	lib := &index.Library{Dir: dir, List: stars.Embedded(), Now: time.Now}
	defer lib.Close()
	solver := &solve.Solver{Library: lib}
	once := func() {
		s, err := readShot(path, frame.Options{})
		if err != nil {
			b.Fatal(err)
		}
		if err := s.solve(context.Background(), solver, nil, epochOf(s.frame.Time.Mid, a.now())); err != nil {
			b.Fatal(err)
		}
		if s.sol == nil {
			b.Fatal(s.why)
		}
	}
	once() // builds what is missing of the index
	for b.Loop() {
		once()
	}
	b.ReportMetric(float64(w*h)/1e6, "Mpx")
}

func BenchmarkSolveSmall(b *testing.B) { benchSolve(b, 1280, 960) }
func BenchmarkSolveLarge(b *testing.B) { benchSolve(b, 6248, 4176) }
