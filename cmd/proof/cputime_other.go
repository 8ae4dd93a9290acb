//go:build !unix

package main

import "time"

var begun = time.Now()

// cpuTime stands for the processor time of the process: the time since it
// began, which is the same on an idle machine.
func cpuTime() time.Duration { return time.Since(begun) }
