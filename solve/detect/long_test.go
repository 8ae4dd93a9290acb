package detect

import (
	"flag"
	"testing"
)

// long lets tests take minutes.
var long = flag.Bool("long", false, "run the tests that take minutes, too")

// another skips a test that is much like another, but for -long.
func another(t *testing.T) {
	t.Helper()
	if !*long {
		t.Skip("much like another: -long")
	}
}
