//go:build !linux

package frame

// largePages does nothing where large pages cannot be asked for.
func largePages([]byte) {}
