// Package verb is the command line: a file per verb, which is its flags, one call
// below and one call to a face. Only this package reads clock and environment.
package verb

import (
	"context"
	"errors"
	"io"
	"runtime/debug"

	"github.com/spf13/cobra"

	"pintle/cmd/pintle/words"
)

// Run executes one command line and returns the exit status.
func Run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	return newApp(stdout, stderr).run(ctx, args)
}

func (a *app) run(ctx context.Context, args []string) int {
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
		return Done
	case errors.Is(err, errNoAnswer):
		return NoAnswer
	case !errors.Is(err, errSaid):
		a.Fail(err)
	}
	return Bad
}

// release is version, revision and date of what .goreleaser.yaml builds; the linker
// puts it in. What go build or go install makes knows these itself.
var release string

// version is what --version prints.
func version() string {
	if release != "" {
		return words.Release(release)
	}
	return words.Version(debug.ReadBuildInfo())
}

// root returns the command with all its verbs.
func (a *app) root() *cobra.Command {
	root := &cobra.Command{
		Use:           "pintle",
		Short:         words.RootShort,
		Long:          words.RootLong,
		Version:       version(),
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
