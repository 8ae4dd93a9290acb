package verb

import (
	"unsafe"

	"golang.org/x/sys/windows"
)

// doubleClicked reports whether the program was started from the desktop: it has
// its console to itself then (GetConsoleProcessList of the Windows console API).
func doubleClicked() bool {
	var ids [2]uint32
	n, _, _ := windows.NewLazySystemDLL("kernel32.dll").NewProc("GetConsoleProcessList").Call(uintptr(unsafe.Pointer(&ids[0])), uintptr(len(ids)))
	return n == 1
}
