package main

import (
	"fmt"
	"testing"

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
		var list *detect.Field
		for i := 0; list == nil || len(list.Stars) < n; i++ {
			list = randomList(t.rng(i, 8), 400)
		}
		list.Stars = list.Stars[:n]
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
