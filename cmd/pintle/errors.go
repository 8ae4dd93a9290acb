package main

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"
)

// errSaid is the error of a verb that has already told what went wrong.
var errSaid = errors.New("already said")

// some refuses an empty command line of a verb that wants several photographs, or
// their folder.
func some(advice string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) == 0 {
			return hint(fmt.Errorf("%s got 0 of at least 2 photographs", cmd.CommandPath()), advice)
		}
		return nil
	}
}

// atLeast refuses fewer than n arguments.
func atLeast(n int, advice string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) < n {
			return hint(fmt.Errorf("%s got %d of at least %d photographs", cmd.CommandPath(), len(args), n), advice)
		}
		return nil
	}
}
