package verb

import (
	"fmt"
	"math"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/flags"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/planning"
	"pintle/cmd/pintle/words"
	"pintle/index/written"
)

// limitFlags are the flags of the limit verb.
type limitFlags struct {
	fs           *pflag.FlagSet
	home         flags.Home
	exp          flags.Exposure
	tgt          flags.Target
	alt, az      float64
	asJSON, last bool
	journal      flags.Journal
}

func (f *limitFlags) add(fs *pflag.FlagSet) {
	f.fs = fs
	f.exp.Add(fs)
	f.tgt.Add(fs)
	f.home.Add(fs)
	fs.Var(written.Small("error in altitude", -1200, 1200).Flag(&f.alt, 0), "off-alt", "a known error in altitude, `arcmin`, too high positive: what does it do?")
	fs.Var(written.Small("error in azimuth", -1200, 1200).Flag(&f.az, 0), "off-az", "a known error in azimuth as the adjuster turns, `arcmin`, clockwise seen from above positive")
	fs.BoolVar(&f.last, "measured", false, "what does the error do that the journal has last, for this site?")
	f.journal.Add(fs)
	fs.BoolVar(&f.asJSON, "json", false, "print one JSON object")
}

// known is true when an error of the axis is given.
func (f *limitFlags) known() bool { return f.fs.Changed("off-alt") || f.fs.Changed("off-az") }

func (f *limitFlags) check() error {
	for name, x := range map[string]float64{"--off-alt": f.alt, "--off-az": f.az} {
		if !(math.Abs(x) <= 1200) {
			return advice.With(fmt.Errorf("%s %g arcmin is out of range -1200 to 1200", name, x), "give arcminutes, as \"pintle axis\" prints them")
		}
	}
	if f.known() && f.last {
		return advice.With(fmt.Errorf("--measured and --off-alt, --off-az are both given"), "give one of them")
	}
	return nil
}

func (a *app) limitCommand() *cobra.Command {
	var f limitFlags
	c := &cobra.Command{
		Use:     "limit",
		Short:   "how good an alignment is good enough for your exposures",
		Long:    words.LimitLong,
		Example: words.LimitExample,
		Args:    cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			l, err := f.limits(a)
			switch {
			case err != nil:
				return words.PlainError(err)
			case f.asJSON:
				return a.LimitJSON(l)
			}
			a.Limit(l)
			return nil
		},
	}
	f.add(c.Flags())
	return c
}

// limits works out what was asked for: what any target allows, what a named one
// does, and what a known error does.
func (f *limitFlags) limits(a *app) (*planning.Limits, error) {
	g, err := a.gearFor(f.home.Name, f.exp.Camera)
	if err != nil {
		return nil, err
	}
	e, camera, err := f.exp.Exposure(g.Gear)
	if err != nil {
		return nil, err
	}
	l := planning.LimitsOf(e, camera)
	t, wanted, err := f.tgt.Target()
	if err != nil {
		return nil, err
	}
	if err := f.check(); err != nil {
		return nil, err
	}
	if l.Home, err = f.where(a, g.Gear, wanted); err != nil {
		return nil, err
	}
	if wanted {
		if err := l.For(t, f.tgt.MinAlt()); err != nil {
			return nil, err
		}
	}
	switch {
	case f.known():
		return l, l.Off(arcmin(f.alt), arcmin(f.az))
	case f.last:
		_, es, err := a.evenings(f.journal)
		if err != nil {
			return nil, err
		}
		return l, l.AsMeasured(es)
	}
	return l, nil
}

// where is the home, nil when nobody says where and nothing asks for it.
func (f *limitFlags) where(a *app, g gear.Gear, target bool) (*planning.Home, error) {
	h, err := f.home.Settle(a.now(), g)
	switch {
	case err == nil:
		return &h, nil
	case target || f.known() || f.last || f.fs.Changed("lat") || f.fs.Changed("site"):
		return nil, err
	}
	return nil, nil
}
