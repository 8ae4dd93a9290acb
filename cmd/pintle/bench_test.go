package main

import (
	"context"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"pintle/cmd/night"
	"pintle/cmd/pintle/session"
	"pintle/index/sphere"
)

// benchFrames renders two frames of a night by a camera of w x h pixels and
// writes them to files; the lens is 200 mm, pixels 3.76 um.
func benchFrames(b *testing.B, w, h int) (paths [2]string) {
	b.Helper()
	spec := night.Random(1, false)
	spec.Camera.W, spec.Camera.H = w, h
	spec.Camera.Pixel, spec.Camera.Focal, spec.Camera.Nominal = 3.76, 200, 0
	spec.Setup.Dec = 20 * sphere.Degree
	spec.Frames = spec.Frames[:2]
	n, err := night.New(spec)
	if err != nil {
		b.Fatal(err)
	}
	for i := range paths {
		paths[i] = filepath.Join(b.TempDir(), "frame.fits")
		if err := n.Shoot(i).Save(paths[i]); err != nil {
			b.Fatal(err)
		}
	}
	return paths
}

// benchSolve measures a frame from file to solution, index in place: blind, or
// with the solution of the frame before as a hint.
func benchSolve(b *testing.B, w, h int, hint bool) {
	paths := benchFrames(b, w, h)
	solver := solver(b)
	once := func(path string, photos *session.Photographs) {
		f, err := photos.Read(context.Background(), path)
		if err != nil {
			b.Fatal(err)
		}
		if err := photos.Recognise(context.Background(), f); err != nil {
			b.Fatal(err)
		}
		if f.Solution == nil {
			b.Fatal(f.Miss.Err)
		}
	}
	known := &session.Photographs{Solver: solver, Now: time.Now}
	once(paths[0], known) // builds what is missing of the index
	for b.Loop() {
		photos := known
		if !hint {
			photos = &session.Photographs{Solver: solver, Now: time.Now}
		}
		once(paths[1], photos)
	}
	b.ReportMetric(float64(w*h)/1e6, "Mpx")
}

func BenchmarkSolveSmall(b *testing.B)     { benchSolve(b, 1280, 960, false) }
func BenchmarkSolveSmallNext(b *testing.B) { benchSolve(b, 1280, 960, true) }
func BenchmarkSolveLarge(b *testing.B)     { benchSolve(b, 6248, 4176, false) }
func BenchmarkSolveLargeNext(b *testing.B) { benchSolve(b, 6248, 4176, true) }

// benchProcess measures a whole process, from its start to its end, that solves
// a frame of w x h pixels blind, index in place.
func benchProcess(b *testing.B, w, h int) {
	program := filepath.Join(b.TempDir(), "pintle")
	if out, err := exec.Command("go", "build", "-o", program, ".").CombinedOutput(); err != nil {
		b.Fatalf("%v: %s", err, out)
	}
	path := benchFrames(b, w, h)[1]
	once := func() {
		if out, err := exec.Command(program, "solve", path).CombinedOutput(); err != nil {
			b.Fatalf("%v: %s", err, out)
		}
	}
	once() // builds what is missing of the index
	for b.Loop() {
		once()
	}
}

func BenchmarkProcessSmall(b *testing.B) { benchProcess(b, 1280, 960) }
func BenchmarkProcessLarge(b *testing.B) { benchProcess(b, 6248, 4176) }
func BenchmarkProcessHuge(b *testing.B)  { benchProcess(b, 9504, 6336) }
