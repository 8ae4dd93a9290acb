package main

import (
	"testing"
	"time"

	"pintle/cmd/pintle/shelf"
	"pintle/index"
	"pintle/index/stars"
	"pintle/solve"
)

// solver has the index of the user's cache folder, as the program has, and the stars
// built in. It ends with the test.
func solver(tb testing.TB) *solve.Solver {
	tb.Helper()
	dir, err := shelf.Folder()
	if err != nil {
		tb.Fatal(err)
	}
	lib := &index.Library{Dir: dir, List: stars.Embedded(), Now: time.Now}
	tb.Cleanup(func() {
		if err := lib.Close(); err != nil {
			tb.Error(err)
		}
	})
	return &solve.Solver{Library: lib}
}
