package verb

import (
	"fmt"

	"github.com/spf13/cobra"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/planning"
	"pintle/cmd/pintle/words"
)

func (a *app) gearCommand() *cobra.Command {
	c := &cobra.Command{
		Use:     "gear",
		Short:   "tell sites, cameras and mounts once; show what is known",
		Long:    words.GearLong,
		Example: words.GearExample,
		Args:    noArgs("gear"),
		RunE: func(*cobra.Command, []string) error {
			f, err := a.loadGear()
			if err == nil {
				a.Gear(f)
			}
			return err
		},
	}
	add := &cobra.Command{Use: "add", Short: "add a site, a camera or a mount", Args: noArgs("gear add"),
		RunE: func(*cobra.Command, []string) error {
			return advice.With(fmt.Errorf("pintle gear add: add what?"), "pintle gear add site, camera or mount, each with --help")
		}}
	add.AddCommand(a.addSite(), a.addCamera(), a.addMount())
	c.AddCommand(add, a.gearCheck(), a.gearDefault(), a.gearTolerance(), a.gearLearn())
	return c
}

func (a *app) gearCheck() *cobra.Command {
	return &cobra.Command{
		Use:   "check",
		Short: "check the gear file, as after changing it by hand",
		Args:  cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			f, err := a.loadGear()
			if err != nil {
				return err
			}
			if err := checkBlocks(f.Gear); err != nil {
				return err
			}
			if !f.Exists() {
				return advice.With(fmt.Errorf("there is no gear file at %s", f.Path), words.FirstSite)
			}
			var missing error
			if f.Gear.Tolerance.Auto {
				_, _, missing = f.Gear.AutoTolerance("")
			}
			a.GearGood(f, missing, advice.Of(missing))
			return nil
		},
	}
}

// checkBlocks reads the files that the gear file names.
func checkBlocks(g gear.Gear) error {
	for _, name := range g.Names(gear.KindSite) {
		if _, err := planning.Skyline(g.Sites[name].Blind); err != nil {
			return fmt.Errorf("site %s: %w", name, err)
		}
	}
	return nil
}

func (a *app) gearDefault() *cobra.Command {
	return &cobra.Command{
		Use:   "default site|camera|mount NAME",
		Short: "use a thing whenever nothing else is said",
		Args: func(c *cobra.Command, args []string) error {
			if len(args) != 2 {
				return advice.With(fmt.Errorf("%s wants a kind and a name, got %d words", c.CommandPath(), len(args)), "pintle gear default site garden")
			}
			return nil
		},
		ValidArgsFunction: a.completeThings,
		RunE: func(_ *cobra.Command, args []string) error {
			_, err := a.changeGear(func(f *gear.File) error { return f.SetDefault(args[0], args[1]) })
			if err == nil {
				a.MadeDefault(args[0], args[1])
			}
			return err
		},
	}
}

func (a *app) gearTolerance() *cobra.Command {
	return &cobra.Command{
		Use:   "tolerance ARCMIN|auto",
		Short: "say how far off the axis may be, or let camera and exposure say it",
		Args:  oneName("pintle gear tolerance 1.5"),
		RunE: func(_ *cobra.Command, args []string) error {
			t, err := gear.ParseTolerance(args[0])
			if err != nil {
				return err
			}
			f, err := a.changeGear(func(f *gear.File) error { return f.SetTolerance(t) })
			if err == nil {
				a.ToleranceSet(f.Gear)
			}
			return err
		},
	}
}
