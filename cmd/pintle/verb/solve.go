package verb

import (
	"context"

	"github.com/spf13/cobra"

	"pintle/cmd/pintle/flags"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/terminal"
	"pintle/cmd/pintle/words"
)

// solveFlags are those of the verb solve.
type solveFlags struct {
	idx    flags.Index
	frames flags.Frames
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
			opt, err := f.frames.Options(a.now())
			if err != nil {
				return err
			}
			solver, closeIndex, err := a.solver(f.idx)
			if err != nil {
				return err
			}
			defer closeIndex()
			return a.solveEach(cmd.Context(), &session.Photographs{Solver: solver, Options: opt, Now: a.now, Lenses: lensesOf(solver)}, args, f.asJSON)
		},
	}
	f.idx.Add(c.Flags())
	f.frames.Add(c.Flags())
	c.Flags().BoolVar(&f.asJSON, "json", false, "one JSON object a line")
	return c
}

// solveEach recognises photographs one by one, each with the help of the last.
// One that cannot be read is told; the others are still of use.
func (a *app) solveEach(ctx context.Context, photos *session.Photographs, paths []string, asJSON bool) error {
	var outcome error
	names := session.Names(paths)
	for i, path := range paths {
		s, err := a.solveOne(ctx, photos, path, names[i])
		switch {
		case err != nil && (ctx.Err() != nil || len(paths) == 1):
			return err
		case err != nil:
			a.Fail(err)
			outcome = errSaid
			continue
		case s.Solution == nil && outcome == nil:
			outcome = errNoAnswer
		}
		if asJSON {
			err = a.SolvedJSON(*s)
		} else {
			a.Solved(*s)
		}
		if err != nil {
			return err
		}
	}
	return outcome
}

// solveOne reads and recognises one photograph.
func (a *app) solveOne(ctx context.Context, photos *session.Photographs, path, name string) (*terminal.Solved, error) {
	f, err := photos.Read(ctx, path)
	if err != nil {
		return nil, err
	}
	if f.Field == nil {
		return nil, words.PlainError(&session.Fault{Frame: f})
	}
	if err := photos.Recognise(ctx, f); err != nil {
		return nil, err
	}
	r := &terminal.Solved{Path: f.Path, Name: name, Solution: f.Solution, Detected: len(f.Field.Stars), Took: f.Elapsed}
	if f.Solution == nil {
		r.Why, _ = words.Reason(f.Miss.Err)
	}
	return r, nil
}
