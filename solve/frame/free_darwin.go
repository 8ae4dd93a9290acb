package frame

import "golang.org/x/sys/unix"

// systemFree takes half of the memory for free: the system tells how much there
// is, but what it keeps in caches cannot be told from what is in use without
// calls into its own library.
func systemFree() (int64, bool) {
	n, err := unix.SysctlUint64("hw.memsize")
	return int64(min(n, 1<<62) / 2), err == nil
}
