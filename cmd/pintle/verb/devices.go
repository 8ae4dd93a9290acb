package verb

import (
	"context"

	"github.com/spf13/cobra"

	"pintle/cmd/pintle/device/link"
	"pintle/cmd/pintle/terminal"
	"pintle/cmd/pintle/words"
)

// devicesFlags are those of the verb devices.
type devicesFlags struct {
	indi, alpaca []string
	asJSON       bool
}

func (a *app) devicesCommand() *cobra.Command {
	var f devicesFlags
	c := &cobra.Command{
		Use:     "devices",
		Short:   "list the cameras and mounts that answer by INDI or Alpaca",
		Long:    words.DevicesLong,
		Example: words.DevicesExample,
		Args:    noArgs("devices"),
		RunE:    func(cmd *cobra.Command, _ []string) error { return a.devices(cmd.Context(), &f) },
	}
	fs := c.Flags()
	fs.StringSliceVar(&f.indi, "indi", nil, "INDI server at this `host[:port]` (default: this computer)")
	fs.StringSliceVar(&f.alpaca, "alpaca", nil, "Alpaca server at this `host:port` (default: those that answer to a call)")
	fs.BoolVar(&f.asJSON, "json", false, "one JSON object a line")
	return c
}

// devices asks the servers named, or all that can be found. One that was named
// and does not answer is told; the others are still of use.
func (a *app) devices(ctx context.Context, f *devicesFlags) error {
	indis, alpacas := f.indi, f.alpaca
	named := len(indis)+len(alpacas) > 0
	if !named {
		indis = []string{"localhost"}
		var err error
		if alpacas, err = link.Alpacas(ctx); err != nil {
			return err
		}
	}
	var list []terminal.Device
	var outcome error
	ask := func(scheme string, hosts []string) {
		for _, host := range hosts {
			found, err := link.At(ctx, scheme, host)
			if err != nil && named {
				a.Fail(err)
				outcome = errSaid
			}
			for _, d := range found {
				list = append(list, terminal.Device{Address: d.Address.String(), Name: d.Name, Camera: d.Camera, Mount: d.Mount})
			}
		}
	}
	ask(link.INDI, indis)
	ask(link.Alpaca, alpacas)
	if f.asJSON {
		for _, d := range list {
			if err := a.JSON(d); err != nil {
				return err
			}
		}
		return outcome
	}
	if outcome == nil || len(list) > 0 {
		a.Devices(list)
	}
	return outcome
}
