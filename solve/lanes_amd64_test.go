package solve

import "testing"

// oneByOne does something with one star worked on after the other.
func oneByOne(t *testing.T, do func()) {
	t.Helper()
	if !vectors {
		t.Skip("this processor works on one star at a time only")
	}
	vectors = false
	defer func() { vectors = true }()
	do()
}
