package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"testing"

	"pintle/index/optics"
	"pintle/index/sphere"
	"pintle/solve"
	"pintle/solve/detect"
)

// benchSolver returns a solver on one thread with the whole index.
func benchSolver(b *testing.B) *trial {
	lib, err := openIndex("")
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { lib.Close() })
	return &trial{solver: &solve.Solver{Library: lib, Workers: 1}, seed: defaultSeed}
}

// How long random points keep the solver, on one thread with the index in
// memory: those of 12 to 80 end in a sweep.
func BenchmarkRefuse(b *testing.B) {
	t := benchSolver(b)
	for _, n := range []int{8, 15, 40, 150} {
		list := pointsOf(t, n)
		b.Run(fmt.Sprintf("%d", n), func(b *testing.B) {
			t.solve(list) // reads the index
			for b.Loop() {
				if sol, _, _, _ := t.solve(list); sol != nil {
					b.Fatal("random points were solved")
				}
			}
		})
	}
}

// How long a cloudy frame is looked for where it must be, with the lens of the frame
// before, on one thread with the index in memory: after that live says that it is lost.
// "blind" is without any frame before.
func BenchmarkLost(b *testing.B) {
	t := benchSolver(b)
	hints := map[string]solve.Hint{"blind": {}}
	for _, d := range []float64{1, 5, 20, 50, 110} {
		l := optics.Lens{CX: (width - 1) / 2.0, CY: (height - 1) / 2.0, Half: math.Hypot(width, height) / 2}
		if d > 100 {
			l.Law = optics.Equidistant
		}
		l.F = focal(l.Law, d*math.Pi/180)
		hints[fmt.Sprintf("%g", d)] = solve.Hint{Near: &solve.Solution{Lens: l, W: width, H: height, CamFromSky: sphere.TurnVec(randomDirection(t.rng(int(d), 9)))}}
	}
	for _, d := range []string{"blind", "1", "5", "20", "50", "110"} {
		for _, n := range []int{8, 20, 40, 150, 400} {
			list := pointsOf(t, n)
			b.Run(d+"/"+fmt.Sprint(n), func(b *testing.B) {
				o := solve.Options{Epoch: 2026.9, Hint: hints[d], Effort: solve.Nearby}
				look := func() {
					var un *solve.Unsolved
					if _, err := t.solver.Solve(context.Background(), list, o); !errors.As(err, &un) {
						b.Fatal(err)
					}
				}
				look() // reads the index
				for b.Loop() {
					look()
				}
			})
		}
	}
}

// pointsOf returns a list of n random points.
func pointsOf(t *trial, n int) *detect.Field {
	var list *detect.Field
	for i := 0; list == nil || len(list.Stars) < n; i++ {
		list = randomList(t.rng(i, 8), 400+n)
	}
	list.Stars = list.Stars[:n]
	return list
}
