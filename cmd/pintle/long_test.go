package main

import "flag"

var long = flag.Bool("long", false, "run the tests that take minutes, too")

// extra is how much more a test does with -long.
func extra(n int) int {
	if *long {
		return n
	}
	return 0
}
