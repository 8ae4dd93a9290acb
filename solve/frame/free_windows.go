package frame

import (
	"unsafe"

	"golang.org/x/sys/windows"
)

var globalMemoryStatus = windows.NewLazySystemDLL("kernel32.dll").NewProc("GlobalMemoryStatusEx")

// memoryStatus is MEMORYSTATUSEX.
type memoryStatus struct {
	length, load                   uint32
	total, free                    uint64
	totalPage, freePage            uint64
	totalVirtual, freeVirtual, ext uint64
}

// systemFree returns the physical memory that is free.
func systemFree() (int64, bool) {
	var m memoryStatus
	m.length = uint32(unsafe.Sizeof(m))
	ok, _, _ := globalMemoryStatus.Call(uintptr(unsafe.Pointer(&m)))
	return int64(min(m.free, 1<<62)), ok != 0
}
