package frame

import (
	"syscall"
	"unsafe"
)

// largePage is the size of a large page, and largeFrom the size of a block from
// which asking for them pays.
const (
	largePage = 2 << 20
	largeFrom = 4 << 20
)

// largePages asks for large pages within b. A system that has none says no,
// which does not matter.
func largePages(b []byte) {
	if len(b) < largeFrom {
		return
	}
	start := uintptr(unsafe.Pointer(&b[0]))
	skip := int(-start & (largePage - 1))
	n := (len(b) - skip) &^ (largePage - 1)
	_ = syscall.Madvise(b[skip:skip+n], syscall.MADV_HUGEPAGE)
}
