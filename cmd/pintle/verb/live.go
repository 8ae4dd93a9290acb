package verb

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"runtime/debug"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/flags"
	"pintle/cmd/pintle/hands"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/watch"
	"pintle/cmd/pintle/words"
)

// liveFlags are the flags of the verb live; a rehearsal shares some.
type liveFlags struct {
	flags.Sight
	record   flags.Record
	asJSON   bool
	hands    flags.Hands
	shoot    bool
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
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.live(cmd.Context(), &f, args[0], cmd.Flags().Changed("shoot"))
		},
	}
	fs := c.Flags()
	f.Add(fs)
	f.AddAim(fs)
	f.record.Add(fs)
	f.addRun(fs)
	f.hands.Add(fs)
	fs.BoolVar(&f.shoot, "shoot", false, "take the photographs with --camera, which needs an address (default: when --camera names one that has an address)")
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
	case errors.Is(err, fs.ErrNotExist):
		return advice.With(fmt.Errorf("there is no folder %s", dir), "make it first, or check its name")
	case err != nil:
		return advice.With(err, "check the name of the folder")
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
func (a *app) live(ctx context.Context, f *liveFlags, dir string, shootSaid bool) (err error) {
	if err := a.liveHands(f, dir, shootSaid); err != nil {
		return err
	}
	if err := f.check(dir); err != nil {
		return err
	}
	var h *hands.Hands
	if f.shoot {
		var closeHands func() error
		if h, closeHands, err = a.openHands(ctx, &f.Sight, &f.hands, dir); err != nil {
			return err
		}
		defer func() { err = errors.Join(err, closeHands()) }()
	}
	// A frame of a modern camera is 100 MB while it is looked at; what is garbage
	// should not wait for as much again.
	defer debug.SetGCPercent(debug.SetGCPercent(50))
	s, photos, closeIndex, err := a.begin(&f.Sight, func(c *session.Config) (err error) {
		c.Told.Note, c.Folder = f.record.Note, dir
		if h != nil {
			c.Hands, c.Told.Frames.Exposure = h, 0
		}
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
	if h != nil && since.IsZero() {
		since = a.now() // no photograph of the hands is overlooked
	}
	r := &session.Run{Session: s, Now: a.now, Watch: watch.New(dir, watch.Options{Since: since, Now: a.now})}
	return a.follow(ctx, f, r, photos, h)
}

// liveHands settles whether pintle takes the photographs, and makes the folder
// that it then keeps them in.
func (a *app) liveHands(f *liveFlags, dir string, said bool) error {
	if !said {
		f.shoot = f.hands.Turns() || flags.Addressed(f.Camera)
		if f.Camera != "" && !f.shoot {
			g, _ := a.knownGear() // what is wrong with it is told elsewhere
			f.shoot = g != nil && g.Gear.Cameras[f.Camera].At != ""
		}
	}
	if err := f.hands.Check(f.shoot, "have it take them: --camera with the address of one, or the name of one that has an address"); err != nil {
		return err
	}
	if !f.shoot && (flags.Addressed(f.Camera) || flags.Addressed(f.Mount)) {
		return advice.With(errors.New("an address is given, but pintle neither photographs nor turns"), "--shoot, and --turn 20 for a mount")
	}
	if !f.hands.Turns() && flags.Addressed(f.Mount) {
		return advice.With(errors.New("--mount is an address, but by how much is it to turn?"), "--turn 20")
	}
	if err := canAsk(&f.hands, os.Stdin, !f.page.Off); err != nil || !f.shoot {
		return err
	}
	return advice.With(os.MkdirAll(dir, 0o755), "name a folder that can be written")
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
func (a *app) follow(ctx context.Context, f *liveFlags, r *session.Run, photos *session.Photographs, h *hands.Hands) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	r.Actions = make(chan session.Action, 16)
	if h != nil {
		r.Keys, r.Views = h.Key, append(r.Views, h)
	}
	quit := func() { cancel(); a.end.ask() }
	closeFaces, err := a.openFaces(ctx, quit, &f.page, f.asJSON, r)
	if err != nil {
		return err
	}
	handsEnd := serve(ctx, h)
	r.TellLong(photos.Solver)
	watched := make(chan error, 1)
	go func() { watched <- r.Watch.Run(ctx) }()
	err = r.Until(ctx)
	cancel()
	handsEnd()
	err = errors.Join(err, <-watched)
	closeFaces()
	return words.PlainError(err)
}
