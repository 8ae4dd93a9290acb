package verb

import (
	"context"
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"pintle/cmd/night"
	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/flags"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/words"
)

// demoFlags are the flags of the demo verb.
type demoFlags struct {
	seed     uint64
	keep     string
	south    bool
	idx      flags.Index
	rehearse rehearseFlags
}

func (a *app) demoCommand() *cobra.Command {
	var f demoFlags
	c := &cobra.Command{
		Use:     "demo",
		Short:   "invent a night with a misaligned mount, photograph it, measure it, compare with the truth",
		Long:    words.DemoLong,
		Example: words.DemoExample,
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if f.rehearse.on {
				return a.rehearse(cmd.Context(), &f)
			}
			return a.demo(cmd.Context(), &f)
		},
	}
	fs := c.Flags()
	fs.Uint64Var(&f.seed, "seed", 1, "`number` that the invented night follows from")
	fs.StringVar(&f.keep, "keep", "", "keep the photographs in this `folder` (default: a temporary one, removed at the end)")
	fs.BoolVar(&f.south, "south", false, "a night in the southern hemisphere")
	f.idx.Add(fs)
	f.rehearse.add(fs)
	return c
}

// demoFolder is where the photographs go; tidy removes it when it is not kept.
func (a *app) demoFolder(f *demoFlags, name string) (dir string, tidy func(), err error) {
	if f.keep != "" {
		if err := os.MkdirAll(f.keep, 0o755); err != nil {
			return "", nil, advice.With(err, "name another folder with --keep DIR")
		}
		return f.keep, func() {}, nil
	}
	if dir, err = os.MkdirTemp("", name+"-*"); err != nil {
		return "", nil, advice.With(fmt.Errorf("cannot make a temporary folder: %w", err), "name a folder with --keep DIR")
	}
	return dir, a.end.atLast(func() { os.RemoveAll(dir) }), nil
}

// demo renders a night into files, measures them on the road of the axis verb,
// and prints the answer beside the truth. The user's gear has no say.
func (a *app) demo(ctx context.Context, f *demoFlags) error {
	spec := night.Random(f.seed, f.south)
	n, err := night.New(spec)
	if err != nil {
		return err
	}
	dir, tidy, err := a.demoFolder(f, "pintle-demo")
	if err != nil {
		return err
	}
	defer tidy()
	a.Invented(&spec, f.seed)
	paths, err := n.Write(dir)
	if err != nil {
		return advice.With(fmt.Errorf("cannot write the photographs: %w", err), "name another folder with --keep DIR")
	}
	if f.keep != "" {
		a.Kept(paths)
	}
	st, err := a.measureInvented(ctx, f.idx, paths)
	if err != nil {
		return err
	}
	a.Axis(&st)
	last := n.Truth(n.Len() - 1)
	a.Beside(&st, &last)
	if st.Answer == nil {
		return errNoAnswer
	}
	return nil
}

// measureInvented is measure with nothing told and no gear.
func (a *app) measureInvented(ctx context.Context, idx flags.Index, paths []string) (session.State, error) {
	solver, closeIndex, err := a.solver(idx)
	if err != nil {
		return session.State{}, err
	}
	defer closeIndex()
	s, err := session.New(session.Config{Camera: &session.Photographs{Solver: solver, Now: a.now}, Now: a.now, Simulated: true})
	if err != nil {
		return session.State{}, err
	}
	err = words.PlainError(s.Measure(ctx, paths))
	return s.State(), err
}
