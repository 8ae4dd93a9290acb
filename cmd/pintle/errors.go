package main

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"
)

// errSaid is the error of a verb that has already told what went wrong.
var errSaid = errors.New("already said")

// atLeast refuses fewer than n arguments.
func atLeast(n int, advice string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) < n {
			return hint(fmt.Errorf("%s got %d of at least %d photographs", cmd.CommandPath(), len(args), n), advice)
		}
		return nil
	}
}
