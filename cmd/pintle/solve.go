package main

import (
	"cmp"
	"context"
	"slices"

	"github.com/spf13/cobra"

	"pintle/solve"
	"pintle/solve/detect"
)

func sortByFlux(s []detect.Star) {
	slices.SortStableFunc(s, func(a, b detect.Star) int { return cmp.Compare(b.Flux, a.Flux) })
}

func (a *app) solveCommand() *cobra.Command {
	var (
		idx    indexFlags
		ff     frameFlags
		asJSON bool
	)
	c := &cobra.Command{
		Use:     "solve FRAME...",
		Short:   "recognise the stars of photographs and say where they point",
		Long:    textSolveLong,
		Example: textSolveExample,
		Args:    atLeast(1, "name at least one photograph"),
		RunE: func(cmd *cobra.Command, args []string) error {
			opt, err := ff.options()
			if err != nil {
				return err
			}
			solver, closeIndex, err := a.solver(&idx)
			if err != nil {
				return err
			}
			defer closeIndex()
			bad, unsolved := error(nil), 0
			var last *solve.Solution
			for _, path := range args {
				start := a.now()
				s, err := readShot(cmd.Context(), path, opt)
				if cmd.Context().Err() != nil {
					return context.Cause(cmd.Context())
				}
				if err != nil {
					// The others are still of use.
					if len(args) == 1 {
						return a.readError(path, err)
					}
					a.fail(a.readError(path, err))
					bad = err
					continue
				}
				if err := s.solve(cmd.Context(), solver, last, epochOf(s.frame.Time.Mid, start)); err != nil {
					return err
				}
				s.took = a.now().Sub(start)
				if s.sol != nil {
					last = s.sol
				} else {
					unsolved++
				}
				if err := a.showSolved(s, asJSON); err != nil {
					return err
				}
			}
			switch {
			case bad != nil:
				return errSaid
			case unsolved > 0:
				return errNoAnswer
			}
			return nil
		},
	}
	idx.add(c.Flags())
	ff.add(c.Flags())
	c.Flags().BoolVar(&asJSON, "json", false, "one JSON object a line")
	return c
}
