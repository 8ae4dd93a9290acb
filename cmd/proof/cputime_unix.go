//go:build unix

package main

import (
	"syscall"
	"time"
)

// cpuTime returns the processor time this process has used so far.
func cpuTime() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		panic(err) // impossible: the arguments are right
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
