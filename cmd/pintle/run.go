package main

import (
	"context"
	"errors"
	"io"
	"os"
	"runtime/debug"
	"time"

	"github.com/spf13/cobra"

	"pintle/cmd/pintle/terminal"
	"pintle/cmd/pintle/words"
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

// app is what the verbs share: the terminal, and the outside world that only
// this package may touch.
type app struct {
	*terminal.Terminal
	now    func() time.Time
	getenv func(string) string
}

func newApp(stdout, stderr io.Writer) *app {
	return &app{Terminal: terminal.New(stdout, stderr, os.Getenv), now: time.Now, getenv: os.Getenv}
}

// run executes one command line and returns the exit status.
func run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	a := newApp(stdout, stderr)
	root := a.root()
	if len(args) == 0 && doubleClicked() {
		args = []string{"evening"}
	}
	root.SetArgs(args)
	root.SetOut(a.Out)
	root.SetErr(a.Err)
	err := mistyped(root, args)
	if err == nil {
		err = root.ExecuteContext(ctx)
	}
	if lost := a.Lost(); lost != nil && (err == nil || errors.Is(err, errNoAnswer)) {
		err = lost
	}
	switch {
	case err == nil:
		return statusDone
	case errors.Is(err, errNoAnswer):
		return statusNoAnswer
	case !errors.Is(err, errSaid):
		a.Fail(err)
	}
	return statusBad
}

// root returns the command with all its verbs.
func (a *app) root() *cobra.Command {
	root := &cobra.Command{
		Use:           "pintle",
		Short:         words.RootShort,
		Long:          words.RootLong,
		Version:       words.Version(debug.ReadBuildInfo()),
		SilenceUsage:  true,
		SilenceErrors: true,
	}
	cobra.MousetrapHelpText = "" // a double click starts the evening
	root.AddCommand(a.eveningCommand(), a.axisCommand(), a.solveCommand(), a.indexCommand(), a.demoCommand())
	root.AddCommand(a.roughCommand(), a.planCommand(), a.limitCommand(), a.gearCommand(),
		a.driftCommand(), a.logCommand(), a.reportCommand())
	root.AddCommand(a.liveCommand(), a.devicesCommand(), a.shootCommand(), a.brakeCommand())
	root.AddCommand(topicCommands()...)
	root.AddCommand(a.manCommand())
	addCompletion(root)
	root.SetHelpCommand(helpCommand(root))
	root.InitDefaultHelpCmd()
	root.SetVersionTemplate("{{.Version}}\n")
	root.SetFlagErrorFunc(flagError)
	a.addCompletions(root)
	return root
}
