package detect

import "testing"

// oneByOne does something with rows worked on one pixel after the other.
func oneByOne(t *testing.T, do func()) {
	t.Helper()
	if !vectors {
		t.Skip("this processor works on one pixel at a time only")
	}
	vectors = false
	defer func() { vectors = true }()
	do()
}
