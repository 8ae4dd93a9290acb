//go:build unix

package index

import "golang.org/x/sys/unix"

// forgetPages tells the system that mapped pages are not needed for now: read again,
// they come from its cache or the disk.
func forgetPages(b []byte) {
	_ = unix.Madvise(b, unix.MADV_DONTNEED) // it is advice
}
