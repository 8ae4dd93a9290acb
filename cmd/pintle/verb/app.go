package verb

import (
	"errors"
	"io"
	"os"
	"time"

	"pintle/cmd/pintle/terminal"
	"pintle/index/sphere"
)

// errSaid is the error of a verb that has already told what went wrong.
var errSaid = errors.New("already said")

// Exit status.
const (
	Done     = 0
	Bad      = 1 // bad usage or input
	NoAnswer = 2 // frames not solved, or geometry too weak
)

// errNoAnswer is the error of a verb that did its work but has no answer; what
// there is to say has been said.
var errNoAnswer = errors.New("no answer")

// app is what the verbs share: the terminal, and the outside world that only
// this package may touch.
type app struct {
	*terminal.Terminal
	now    func() time.Time
	getenv func(string) string
	end    *ending
}

func newApp(stdout, stderr io.Writer) *app {
	return &app{Terminal: terminal.New(stdout, stderr, os.Getenv), now: time.Now, getenv: os.Getenv, end: newEnding()}
}

// arcmin is an amount in arcminutes.
func arcmin(x float64) sphere.Angle { return sphere.Angle(x) * sphere.Arcminute }
