package verb

import (
	"fmt"

	"github.com/spf13/cobra"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/words"
)

// some refuses an empty command line of a verb that wants several photographs, or
// their folder.
func some(try string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) == 0 {
			return advice.With(fmt.Errorf("%s got 0 of at least 2 photographs", cmd.CommandPath()), try)
		}
		return nil
	}
}

// atLeast refuses fewer than n arguments.
func atLeast(n int, try string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) < n {
			return advice.With(fmt.Errorf("%s got %d of at least %d photographs", cmd.CommandPath(), len(args), n), try)
		}
		return nil
	}
}

// noArgs refuses words that are no command.
func noArgs(verb string) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		if len(args) > 0 {
			return words.Mistyped("verb of pintle "+verb, args[0], verbs(c), "pintle "+verb+" --help")
		}
		return nil
	}
}

// verbs are the words that may follow a command.
func verbs(c *cobra.Command) (out []string) {
	for _, sub := range c.Commands() {
		if !sub.Hidden {
			out = append(out, sub.Name())
		}
	}
	return out
}

// oneName takes exactly one argument.
func oneName(what string) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		if len(args) != 1 {
			return advice.With(fmt.Errorf("%s wants one name, got %d", c.CommandPath(), len(args)), "put a name of several words in quotes: "+what)
		}
		return nil
	}
}

// oneDate takes an evening's date, or none.
func oneDate(verb string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		if len(args) > 1 {
			return advice.With(fmt.Errorf("%s wants one date, got %d words", verb, len(args)), verb+" 2026-11-27")
		}
		return nil
	}
}

// dateOf is the date among the arguments, "" when there is none.
func dateOf(args []string) string {
	if len(args) == 0 {
		return ""
	}
	return args[0]
}
