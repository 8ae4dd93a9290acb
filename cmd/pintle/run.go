package main

import (
	"context"
	"errors"
	"io"
	"os"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"
)

// Exit status.
const (
	statusDone     = 0
	statusBad      = 1 // bad usage or input
	statusNoAnswer = 2 // frames not solved, or geometry too weak
)

// noAnswer is the error of a verb that did its work but has no answer; what
// there is to say has been said.
var errNoAnswer = errors.New("no answer")

// app is what the verbs share: where to write, and the outside world that only
// this package may touch.
type app struct {
	out, err io.Writer
	now      func() time.Time
	getenv   func(string) string
	// colour and width of the answer; progress is drawn when err is a terminal.
	colour   bool
	large    bool // moves in large signs too
	progress bool
}

func newApp(stdout, stderr io.Writer) *app {
	a := &app{out: stdout, err: stderr, now: time.Now, getenv: os.Getenv}
	a.colour = isTerminal(stdout) && os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb"
	a.large = isTerminal(stdout)
	a.progress = isTerminal(stderr)
	return a
}

func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// run executes one command line and returns the exit status.
func run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	a := newApp(stdout, stderr)
	root := a.root()
	root.SetArgs(args)
	root.SetOut(stdout)
	root.SetErr(stderr)
	err := root.ExecuteContext(ctx)
	switch {
	case err == nil:
		return statusDone
	case errors.Is(err, errNoAnswer):
		return statusNoAnswer
	}
	a.fail(err)
	return statusBad
}

// root returns the command with all its verbs.
func (a *app) root() *cobra.Command {
	root := &cobra.Command{
		Use:           "pintle",
		Short:         textRootShort,
		Long:          textRootLong,
		SilenceUsage:  true,
		SilenceErrors: true,
	}
	root.SetFlagErrorFunc(flagError)
	root.AddCommand(a.axisCommand(), a.solveCommand(), a.indexCommand(), a.demoCommand())
	root.AddCommand(a.roughCommand(), a.planCommand(), a.limitCommand(), a.gearCommand(),
		a.driftCommand(), a.logCommand(), a.reportCommand())
	root.AddCommand(a.liveCommand())
	root.AddCommand(topicCommands()...)
	root.AddCommand(a.manCommand())
	addCompletion(root)
	return root
}
