//go:build !unix

package index

// forgetPages leaves it to the system, which takes mapped pages back when it must.
func forgetPages([]byte) {}
