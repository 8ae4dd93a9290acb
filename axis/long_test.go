package axis

import "flag"

// long lets tests take minutes.
var long = flag.Bool("long", false, "run the tests that take minutes, too")

// often is how often a test draws nights: all of them with -long, a share otherwise,
// whose limits hold as well, only that chance blurs more.
func often(all, share int) int {
	if *long {
		return all
	}
	return all / share
}
