package solve

import (
	"flag"
	"testing"
)

// long lets tests take minutes.
var long = flag.Bool("long", false, "run the tests that take minutes, too")

// extra is how much more a test does with -long.
func extra(n int) int {
	if *long {
		return n
	}
	return 0
}

// rounds is how often a test repeats itself on other data: once in a short run,
// which is for the race detector and needs one of each kind of search.
func rounds(n int) int {
	if testing.Short() {
		return 1
	}
	return n
}
