package main

import (
	"context"
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"pintle/cmd/night"
)

// demoFlags are the flags of the demo verb.
type demoFlags struct {
	seed  uint64
	keep  string
	south bool
	idx   indexFlags

	rehearse rehearseFlags
}

func (a *app) demoCommand() *cobra.Command {
	var f demoFlags
	c := &cobra.Command{
		Use:     "demo",
		Short:   "invent a night with a misaligned mount, photograph it, measure it, compare with the truth",
		Long:    textDemoLong,
		Example: textDemoExample,
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
	f.idx.add(fs)
	f.rehearse.add(fs)
	return c
}

// demo renders a night into files, measures them with the code of the axis
// verb, and prints the answer beside the truth.
func (a *app) demo(ctx context.Context, f *demoFlags) error {
	spec := night.Random(f.seed, f.south)
	n, err := night.New(spec)
	if err != nil {
		return err
	}
	dir := f.keep
	if dir == "" {
		if dir, err = os.MkdirTemp("", "pintle-demo-*"); err != nil {
			return hint(fmt.Errorf("cannot make a temporary folder: %w", err), "name a folder with --keep DIR")
		}
		defer os.RemoveAll(dir)
	}
	a.tellDemo(&spec, f)
	paths, err := n.Write(dir)
	if err != nil {
		return hint(fmt.Errorf("cannot write the photographs: %w", err), "name another folder with --keep DIR")
	}
	if f.keep != "" {
		a.tellKept(paths)
	}
	m, err := a.measure(ctx, axisDefaults(f.idx), paths)
	if err != nil {
		return err
	}
	a.showAxis(m)
	last := n.Truth(n.Len() - 1)
	a.compareDemo(m, &last)
	if m.result == nil {
		return errNoAnswer
	}
	return nil
}

// axisDefaults returns the flags of the axis verb as they stand when none is
// given.
func axisDefaults(idx indexFlags) *axisFlags {
	f := &axisFlags{}
	f.add(&cobra.Command{})
	f.fs = nil // the user's gear has no say
	f.idx = idx
	return f
}
