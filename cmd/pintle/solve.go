package main

import (
	"cmp"
	"context"
	"slices"

	"github.com/spf13/cobra"

	"pintle/cmd/pintle/terminal"
	"pintle/cmd/pintle/words"
	"pintle/solve"
	"pintle/solve/detect"
	"pintle/solve/frame"
)

func sortByFlux(s []detect.Star) {
	slices.SortStableFunc(s, func(a, b detect.Star) int { return cmp.Compare(b.Flux, a.Flux) })
}

// solveFlags are those of the verb solve.
type solveFlags struct {
	idx    indexFlags
	frames frameFlags
	asJSON bool
}

func (a *app) solveCommand() *cobra.Command {
	var f solveFlags
	c := &cobra.Command{
		Use:     "solve FRAME...",
		Short:   "recognise the stars of photographs and say where they point",
		Long:    words.SolveLong,
		Example: words.SolveExample,
		Args:    atLeast(1, "name at least one photograph"),
		RunE: func(cmd *cobra.Command, args []string) error {
			opt, err := f.frames.options()
			if err != nil {
				return err
			}
			solver, closeIndex, err := a.solver(&f.idx)
			if err != nil {
				return err
			}
			defer closeIndex()
			return a.solveEach(cmd.Context(), solver, opt, args, f.asJSON)
		},
	}
	f.idx.add(c.Flags())
	f.frames.add(c.Flags())
	c.Flags().BoolVar(&f.asJSON, "json", false, "one JSON object a line")
	return c
}

// solveEach recognises photographs one by one, each with the help of the last.
// One that cannot be read is told; the others are still of use.
func (a *app) solveEach(ctx context.Context, solver *solve.Solver, opt frame.Options, paths []string, asJSON bool) error {
	var last *solve.Solution
	var outcome error
	for _, path := range paths {
		s, err := a.solveOne(ctx, solver, opt, path, last)
		switch {
		case err != nil && (s != nil || len(paths) == 1):
			return err
		case err != nil:
			a.Fail(err)
			outcome = errSaid
			continue
		case s.sol != nil:
			last = s.sol
		case outcome == nil:
			outcome = errNoAnswer
		}
		if err := a.showSolved(s, asJSON); err != nil {
			return err
		}
	}
	return outcome
}

// solveOne reads and recognises one photograph. A file that cannot be read
// gives no shot and an error; a shot with an error means that the search itself
// failed.
func (a *app) solveOne(ctx context.Context, solver *solve.Solver, opt frame.Options, path string, near *solve.Solution) (*shot, error) {
	start := a.now()
	s, err := readShot(path, opt)
	if err != nil {
		return nil, words.Unread(path, err)
	}
	err = s.solve(ctx, solver, near, epochOf(s.frame.Time.Mid, start))
	s.took = a.now().Sub(start)
	return s, err
}

func (a *app) showSolved(s *shot, asJSON bool) error {
	r := terminal.Solved{Path: s.path, Name: s.name(), Solution: s.sol, Why: s.why, Detected: len(s.field.Stars), Took: s.took}
	if asJSON {
		return a.SolvedJSON(r)
	}
	a.Solved(r)
	return nil
}
