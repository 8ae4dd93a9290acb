package link

import (
	"os/exec"
	"syscall"
)

// apart puts a process into a group of its own, which no interrupt key reaches.
func apart(c *exec.Cmd) {
	c.SysProcAttr = &syscall.SysProcAttr{CreationFlags: syscall.CREATE_NEW_PROCESS_GROUP}
}
