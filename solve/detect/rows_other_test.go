//go:build !amd64

package detect

import "testing"

func oneByOne(t *testing.T, _ func()) { t.Skip("here rows are worked on one pixel at a time only") }
