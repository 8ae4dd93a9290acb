package verb

import (
	"context"
	"errors"
	"fmt"
	"os"
	"runtime/debug"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/flags"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/watch"
	"pintle/cmd/pintle/words"
	"pintle/index"
	"pintle/index/sphere"
)

// liveFlags are the flags of the verb live; a rehearsal shares some.
type liveFlags struct {
	flags.Sight
	record   flags.Record
	asJSON   bool
	resume   bool
	fresh    bool
	existing time.Duration
	page     flags.Page
}

func (a *app) liveCommand() *cobra.Command {
	var f liveFlags
	c := &cobra.Command{
		Use:     "live FOLDER",
		Short:   "measure and adjust while frames come in, on the terminal and on a phone",
		Long:    words.LiveLong,
		Example: words.LiveExample,
		Args: func(c *cobra.Command, args []string) error {
			if len(args) != 1 {
				return advice.With(fmt.Errorf("live wants one folder, got %d", len(args)), "pintle live FOLDER, the folder into which your camera program saves its frames")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error { return a.live(cmd.Context(), &f, args[0]) },
	}
	fs := c.Flags()
	f.Add(fs)
	f.AddAim(fs)
	f.record.Add(fs)
	f.addRun(fs)
	fs.BoolVar(&f.resume, "resume", false, "go on where the last run of this folder stood")
	fs.BoolVar(&f.fresh, "fresh", false, "do not offer to resume")
	fs.DurationVar(&f.existing, "existing", 0, "also take up frames already there that were written within this `time`, such as 10m")
	return c
}

// addRun adds what a rehearsal has too.
func (f *liveFlags) addRun(fs *pflag.FlagSet) {
	f.AddMount(fs)
	f.page.Add(fs)
	fs.BoolVar(&f.asJSON, "json", false, "print one JSON object a line for each frame")
}

func (f *liveFlags) check(dir string) error {
	switch info, err := os.Stat(dir); {
	case err != nil:
		return advice.With(err, "make the folder first, or check its name")
	case !info.IsDir():
		return advice.With(fmt.Errorf("%s is not a folder", dir), "name the folder into which your camera program saves its frames")
	case f.resume && f.fresh:
		return advice.With(errors.New("--resume and --fresh contradict each other"), "give one of them")
	case f.existing < 0:
		return advice.With(fmt.Errorf("--existing %v is negative", f.existing), "such as 10m")
	case f.Frames.At != "":
		return advice.With(errors.New("--at gives all frames one time, live frames have their own"), "leave it out; --time-zone helps with clocks that do not state theirs")
	}
	return f.page.Check()
}

// live runs the live verb.
func (a *app) live(ctx context.Context, f *liveFlags, dir string) error {
	if err := f.check(dir); err != nil {
		return err
	}
	// A frame of a modern camera is 100 MB while it is looked at; what is garbage
	// should not wait for as much again.
	defer debug.SetGCPercent(debug.SetGCPercent(50))
	s, photos, closeIndex, err := a.begin(&f.Sight, func(c *session.Config) (err error) {
		c.Told.Note, c.Folder = f.record.Note, dir
		c.Journal, err = a.keep(f.record)
		return err
	})
	if err != nil {
		return err
	}
	defer closeIndex()
	photos.Draw = !f.page.Off
	since, err := a.lookBack(f, s)
	if err != nil {
		return err
	}
	return a.follow(ctx, f, &session.Run{Session: s, Now: a.now, Watch: watch.New(dir, watch.Options{Since: since, Now: a.now})}, photos)
}

// lookBack looks for an earlier run of the folder, goes on with it when asked to,
// and says from when on files count.
func (a *app) lookBack(f *liveFlags, s *session.Session) (since time.Time, err error) {
	if f.existing > 0 {
		since = a.now().Add(-f.existing)
	}
	if f.fresh {
		return since, nil
	}
	x, err := s.LookBack(12 * time.Hour)
	switch {
	case errors.Is(err, session.ErrNothingKept) && f.resume:
		return since, advice.With(fmt.Errorf("nothing to resume: %w", err), "leave out --resume")
	case errors.Is(err, session.ErrNothingKept):
		return since, nil
	case err != nil && f.resume:
		return since, advice.With(err, "leave out --resume")
	case err != nil:
		a.Warn(fmt.Errorf("the journal: %w", err))
		return since, nil
	}
	if f.resume {
		s.Resume()
		since = x.File.Add(time.Nanosecond)
	}
	return since, nil
}

// follow opens the faces and runs until the end.
func (a *app) follow(ctx context.Context, f *liveFlags, r *session.Run, photos *session.Photographs) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	r.Actions = make(chan session.Action, 16)
	quit := func() { cancel(); a.end.ask() }
	closeFaces, err := a.openFaces(ctx, quit, &f.page, f.asJSON, r)
	if err != nil {
		return err
	}
	tellLong(r, photos)
	watched := make(chan error, 1)
	go func() { watched <- r.Watch.Run(ctx) }()
	err = r.Until(ctx)
	cancel()
	err = errors.Join(err, <-watched)
	closeFaces()
	return words.PlainError(err)
}

// tellLong shows what takes long: that a band of the star index is being built,
// which happens once, and the solver's last search.
func tellLong(r *session.Run, photos *session.Photographs) {
	quiet := func(float64) {}
	photos.Solver.Library.Building = func(b index.Band, _ error) func(float64) {
		r.Tell(session.Note{Kind: session.BuildingIndex, Share: [2]sphere.Angle{b.Min, b.Max}})
		return quiet
	}
	photos.Solver.Sweeping = func() func(float64) {
		r.Tell(session.Note{Kind: session.LongSearch})
		return quiet
	}
}
