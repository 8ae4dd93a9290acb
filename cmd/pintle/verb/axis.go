package verb

import (
	"context"
	"errors"
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
	hands  flags.Hands
	frames int // to take
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
		Args: func(cmd *cobra.Command, args []string) error {
			if f.shoots() {
				return nil
			}
			return some("name two or more photographs between which the mount was turned about its RA axis, or their folder")(cmd, args)
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := f.check(args); err != nil {
				return err
			}
			var st session.State
			var err error
			if f.shoots() {
				st, err = a.shotAndMeasured(cmd.Context(), &f, ownFolder(args, a.now()))
			} else {
				st, err = a.measure(cmd.Context(), &f, args)
			}
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
	f.hands.Add(fs)
	fs.IntVar(&f.frames, "frames", 0, "take `N` photographs with --camera, 2 to 12, RA turned between them by you or by --turn, and measure those (default: 3 with --turn)")
	fs.IntVar(&f.last, "last", 0, "of the photographs named, or in the folders, take only the newest `N`")
	fs.BoolVar(&f.more, "more", false, words.MoreUsage)
	fs.BoolVar(&f.asJSON, "json", false, "print one JSON object")
	return c
}

// shoots reports whether pintle takes the photographs.
func (f *axisFlags) shoots() bool { return f.frames != 0 || f.hands.Turns() }

// check says whether the flags go together.
func (f *axisFlags) check(args []string) error {
	if f.shoots() && f.frames == 0 {
		f.frames = 3
	}
	switch {
	case f.frames != 0 && (f.frames < 2 || f.frames > 12):
		return advice.With(fmt.Errorf("--frames %d is out of range 2 to 12", f.frames), "3 are good")
	case f.shoots() && len(args) > 1:
		return advice.With(fmt.Errorf("%d names, but pintle takes the photographs itself", len(args)), "name one folder to keep them in, or leave out --frames and --turn")
	case f.shoots() && f.last != 0:
		return advice.With(errors.New("--last, but pintle takes the photographs itself"), "leave out --last, or --frames and --turn")
	case f.shoots() && f.Frames.At != "":
		return advice.With(errors.New("--at, but pintle takes the photographs itself: they have their time"), "leave it out")
	case !f.shoots() && flags.Addressed(f.Camera):
		return advice.With(errors.New("--camera is an address, but how many photographs is it to take?"), "--frames 3")
	case !f.shoots() && flags.Addressed(f.Mount):
		return advice.With(errors.New("--mount is an address, but by how much is it to turn?"), "--turn 20")
	}
	return f.hands.Check(f.shoots(), "have it take them: --frames 3, with --camera")
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
