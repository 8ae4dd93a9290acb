package verb

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/flags"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/words"
)

// axisFlags are the flags of the verb axis.
type axisFlags struct {
	flags.Sight
	record flags.Record
	last   int
	more   bool
	asJSON bool
}

func (a *app) axisCommand() *cobra.Command {
	var f axisFlags
	c := &cobra.Command{
		Use:     "axis FRAME|FOLDER...",
		Short:   "measure the mount's axis from photographs taken while RA was turned",
		Long:    words.AxisLong,
		Example: words.AxisExample,
		Args:    some("name two or more photographs between which the mount was turned about its RA axis, or their folder"),
		RunE: func(cmd *cobra.Command, args []string) error {
			st, err := a.measure(cmd.Context(), &f, args)
			if err != nil {
				return err
			}
			return a.showAxis(&st, f.asJSON, f.more)
		},
	}
	fs := c.Flags()
	f.Add(fs)
	f.AddAim(fs)
	f.AddMount(fs)
	f.record.Add(fs)
	fs.IntVar(&f.last, "last", 0, "of the photographs named, or in the folders, take only the newest `N`")
	fs.BoolVar(&f.more, "more", false, words.MoreUsage)
	fs.BoolVar(&f.asJSON, "json", false, "print one JSON object")
	return c
}

// measure measures the axis from photographs given all at once.
func (a *app) measure(ctx context.Context, f *axisFlags, paths []string) (session.State, error) {
	if f.last < 0 || f.last == 1 {
		return session.State{}, advice.With(fmt.Errorf("--last %d photographs are too few", f.last), "2 or more, between which RA was turned")
	}
	s, _, closeIndex, err := a.begin(&f.Sight, func(c *session.Config) (err error) {
		c.Told.Note, c.Newest = f.record.Note, f.last
		c.Journal, err = a.keep(f.record)
		return err
	})
	if err != nil {
		return session.State{}, err
	}
	defer closeIndex()
	paths, err = photographs(paths)
	if err == nil {
		err = words.PlainError(s.Measure(ctx, paths))
	}
	return s.State(), err
}

// showAxis shows a measurement made at once.
func (a *app) showAxis(st *session.State, asJSON, more bool) error {
	switch {
	case asJSON:
		if err := a.AxisJSON(st); err != nil {
			return err
		}
	default:
		a.Axis(st)
		if more {
			a.More(st)
		}
	}
	if st.Answer == nil {
		return errNoAnswer
	}
	return nil
}
