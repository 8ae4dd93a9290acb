//go:build !windows

package verb

// doubleClicked reports whether the program was started from the desktop. Other
// systems' desktops say what they want in the entry that starts it.
func doubleClicked() bool { return false }
