//go:build unix

package link

import (
	"os/exec"
	"syscall"
)

// apart puts a process into a session of its own.
func apart(c *exec.Cmd) { c.SysProcAttr = &syscall.SysProcAttr{Setsid: true} }
