package verb

import (
	"fmt"

	"github.com/spf13/cobra"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/flags"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/rough"
	"pintle/cmd/pintle/words"
)

// roughFlags are those of the verb rough.
type roughFlags struct {
	home              flags.Home
	date, mount, star string
	plain, asJSON     bool
}

func (a *app) roughCommand() *cobra.Command {
	var f roughFlags
	c := &cobra.Command{
		Use:     "rough",
		Short:   "set the mount up by day: compass bearing, altitude scale, the Sun's shadow",
		Long:    words.RoughLong,
		Example: words.RoughExample,
		Args:    cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			q, err := f.question(a)
			if err != nil {
				return err
			}
			s, err := rough.Find(q)
			if err != nil {
				return err
			}
			if f.asJSON {
				return a.RoughJSON(s)
			}
			a.Rough(s, f.plain)
			return nil
		},
	}
	f.home.Add(c.Flags())
	fs := c.Flags()
	fs.StringVar(&f.date, "date", "", "`day` of the set-up, such as 2026-11-27 (default: today)")
	fs.StringVar(&f.mount, "mount", "", "a `mount` of the gear file (default: its default mount)")
	fs.StringVar(&f.star, "star", "", "also the azimuth of a bright `star` at --at, such as Vega")
	fs.BoolVar(&f.plain, "print", false, "plain text that fits one printed page")
	fs.BoolVar(&f.asJSON, "json", false, "print one JSON object")
	return c
}

// question is what the flags ask.
func (f *roughFlags) question(a *app) (q rough.Question, err error) {
	g, err := a.gearFor(f.home.Name, f.mount)
	if err != nil {
		return q, err
	}
	h, err := f.home.Settle(a.now(), g.Gear)
	if err != nil {
		return q, err
	}
	q = rough.Question{Site: h.Site, Name: h.Name, Air: h.Air, At: h.At, Moment: h.Given, StarName: f.star}
	if f.date != "" {
		if h.Given {
			return q, advice.With(fmt.Errorf("--date and --at are both given"), "--date for a whole day, --at for one moment")
		}
		if q.At, err = flags.Date(f.date, h.Zone); err != nil {
			return q, err
		}
	}
	q.MountName, q.Mount, err = pickMount(g.Gear, f.mount, "pintle gear add mount NAME --az-range 14")
	return q, err
}

// pickMount returns a mount of the gear file, or its default one; having none
// is no error. first makes the first one.
func pickMount(g gear.Gear, name, first string) (string, gear.Mount, error) {
	picked, m, ok := gear.Pick(g.Mounts, name, g.Default.Mount)
	if !ok && name != "" {
		return "", m, advice.With(fmt.Errorf("no mount called %q in the gear file", name), words.Known(g.Names(gear.KindMount), first))
	}
	return picked, m, nil
}
