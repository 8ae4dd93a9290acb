package verb

import (
	"context"
	"fmt"
	"math"

	"github.com/spf13/cobra"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/flags"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/words"
	"pintle/index/written"
)

// learnFlags are those of the verb gear learn.
type learnFlags struct {
	flags.Sight
	turns    float64
	tracking string
	save     bool
}

func (a *app) gearLearn() *cobra.Command {
	var f learnFlags
	c := &cobra.Command{
		Use:     "learn altitude|azimuth BEFORE AFTER",
		Short:   "measure what one turn of an adjuster does, from a photograph before and after it",
		Long:    words.LearnLong,
		Example: words.LearnExample,
		Args: func(c *cobra.Command, args []string) error {
			if len(args) != 3 || args[0] != gear.KindAlt && args[0] != gear.KindAz {
				return advice.With(fmt.Errorf("%s wants altitude or azimuth, then two photographs", c.CommandPath()), "pintle gear learn altitude before.fits after.fits --turns 1")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error { return f.run(cmd.Context(), a, args[0], args[1:]) },
	}
	fs := c.Flags()
	f.Add(fs)
	fs.StringVar(&f.Mount, "mount", "", "the `mount` of the gear file (default: its default mount)")
	fs.Var(written.Turns("turns", -100, 100).Flag(&f.turns, 1), "turns", "how many `turns` of the adjuster, clockwise positive, facing its head")
	fs.StringVar(&f.tracking, "tracking", "", "whether the mount tracked between the two, `on or off`: makes the answer sharper")
	fs.BoolVar(&f.save, "save", false, "write the result into the gear file")
	return c
}

// run measures one adjuster, shows what was found and saves it if asked to.
func (f *learnFlags) run(ctx context.Context, a *app, which string, paths []string) error {
	if f.tracking != "" && f.tracking != "on" && f.tracking != "off" {
		return advice.With(fmt.Errorf("--tracking %q is neither on nor off", f.tracking), "leave it out when you do not know")
	}
	name, err := f.mountName(a)
	if err != nil {
		return err
	}
	t, reason, err := f.turned(ctx, a, paths)
	if err != nil {
		return err
	}
	if reason != "" {
		a.NoAnswer(reason)
		return errNoAnswer
	}
	p, err := gear.Learn(which, t, f.turns)
	if err != nil {
		return err
	}
	a.Learned(which, p, t)
	if !f.save {
		return nil
	}
	g, err := a.changeGear(func(g *gear.File) error {
		_, known := g.Gear.Mounts[name]
		return g.Put(name, withPitch(g.Gear.Mounts[name], which, p), known)
	})
	if err == nil {
		a.Saved(g, gear.KindMount, name)
	}
	return err
}

// mountName is the mount to save to; that there is none is only an error when
// something is to be saved.
func (f *learnFlags) mountName(a *app) (string, error) {
	if !f.save {
		return "", nil
	}
	g, err := a.loadGear()
	if err != nil {
		return "", err
	}
	name, _, ok := gear.Pick(g.Gear.Mounts, f.Mount, g.Gear.Default.Mount)
	if !ok && f.Mount == "" {
		return "", advice.With(fmt.Errorf("no mount to save it to"), "pintle gear add mount NAME first, or name one with --mount")
	}
	return name, gear.CheckName(name)
}

// withPitch is a mount with what was learned of one adjuster.
func withPitch(m gear.Mount, which string, p gear.Pitch) gear.Mount {
	perTurn := math.Round(p.PerTurn.Arcminutes()*100) / 100
	if which == gear.KindAlt {
		m.AltPerTurn, m.AltSense = perTurn, p.Sense
	} else {
		m.AzPerTurn, m.AzSense = perTurn, p.Sense
	}
	return m
}

// turned recognises two photographs and finds what turned between them; reason
// says why there is no answer.
func (f *learnFlags) turned(ctx context.Context, a *app, paths []string) (t gear.Turned, reason string, err error) {
	look := f.Sight
	look.Mount = "" // where the result is saved to, and may not be there yet
	s, _, closeIndex, err := a.begin(&look, nil)
	if err != nil {
		return t, "", err
	}
	defer closeIndex()
	if err := s.Gather(ctx, paths); err != nil {
		return t, "", words.PlainError(err)
	}
	both, refusal := s.Together()
	if refusal != nil {
		return t, words.Refusal(refusal), nil
	}
	t, err = gear.Between(both[0], both[1], f.tracking)
	if why, ok := words.Reason(err); ok {
		return t, why, nil
	}
	return t, "", err
}
