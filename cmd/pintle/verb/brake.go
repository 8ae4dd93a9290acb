package verb

import (
	"github.com/spf13/cobra"

	"pintle/cmd/pintle/device/link"
)

// brakeVerb is the verb by which the program starts itself as a brake; see
// package link.
const brakeVerb = "brake"

func (a *app) brakeCommand() *cobra.Command {
	return &cobra.Command{
		Use:    brakeVerb + " ADDRESS",
		Hidden: true,
		Short:  "stop a mount when the pintle that turns it dies; started by pintle itself",
		Args:   cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			at, err := link.Parse(args[0])
			if err != nil {
				return err
			}
			return link.HoldBrake(cmd.Context(), at, cmd.InOrStdin(), a.Err)
		},
	}
}
