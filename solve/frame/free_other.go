//go:build !linux && !windows && !darwin

package frame

// systemFree is not known here.
func systemFree() (int64, bool) { return 0, false }
