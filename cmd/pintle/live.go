package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"runtime/debug"
	"syscall"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/page"
	"pintle/cmd/pintle/watch"
	"pintle/index/written"
)

// liveFlags are the flags of live and of the rehearsal.
type liveFlags struct {
	idx       indexFlags
	frames    frameFlags
	site      siteFlags
	pole      string
	tolerance float64
	asJSON    bool

	journal  string
	resume   bool
	fresh    bool
	existing time.Duration
	mount    string
	altTurn  float64
	azTurn   float64
	page     pageFlags
}

func (f *liveFlags) add(c *cobra.Command) {
	fs := c.Flags()
	f.site.add(fs)
	f.frames.add(fs)
	f.idx.add(fs)
	fs.StringVar(&f.pole, "pole", "refracted", "the pole to align to: refracted or true")
	f.addAnswer(fs)
	fs.StringVar(&f.journal, "journal", "", "the journal `file` (default: the user's)")
	fs.BoolVar(&f.resume, "resume", false, "go on where the last run of this folder stood")
	fs.BoolVar(&f.fresh, "fresh", false, "do not offer to resume")
	fs.DurationVar(&f.existing, "existing", 0, "also take up frames already there that were written within this `time`, such as 10m")
	f.page.add(fs)
}

// addAnswer adds the flags that are about the answer, not about the frames.
func (f *liveFlags) addAnswer(fs *pflag.FlagSet) {
	fs.Var(written.Tolerance.Flag(&f.tolerance, 1), "tolerance", "how far off the axis may be, in `arcminutes` (default: the gear file's, or 1)")
	fs.BoolVar(&f.asJSON, "json", false, "print one JSON object a line for each frame")
	fs.StringVar(&f.mount, "mount", "", "a mount of the gear file (default: its default mount)")
	fs.Var(written.PerTurn.Flag(&f.altTurn, 0), "alt-turn", "`arcminutes` for one turn of the altitude adjuster, when known")
	fs.Var(written.PerTurn.Flag(&f.azTurn, 0), "az-turn", "`arcminutes` for one turn of the azimuth adjuster, when known")
}

func (f *liveFlags) check() error {
	if err := (&axisFlags{tolerance: f.tolerance}).check(); err != nil {
		return err
	}
	for name, v := range map[string]float64{"--alt-turn": f.altTurn, "--az-turn": f.azTurn} {
		if !(v >= 0 && v <= 3000) {
			return hint(fmt.Errorf("%s %g is out of range 0 to 3000 arcmin", name, v), "count by how many arcminutes one whole turn moves the axis")
		}
	}
	if f.resume && f.fresh {
		return hint(errors.New("--resume and --fresh contradict each other"), "give one of them")
	}
	if f.existing < 0 {
		return hint(fmt.Errorf("--existing %v is negative", f.existing), "such as 10m")
	}
	return f.page.check()
}

// toleranceFor returns the tolerance in arcminutes: the flag's, else that of the
// gear file.
func (f *liveFlags) toleranceFor(g gear.Gear) (float64, error) {
	if f.site.fs == nil || f.site.fs.Changed("tolerance") { // nil: a rehearsal
		return f.tolerance, nil
	}
	switch t := g.Tolerance; {
	case t.Auto:
		x, _, _, err := autoTolerance(g, "")
		return x, err
	case t.Arcmin > 0:
		return t.Arcmin, nil
	}
	return f.tolerance, nil
}

func (a *app) liveCommand() *cobra.Command {
	var f liveFlags
	c := &cobra.Command{
		Use:     "live FOLDER",
		Short:   "measure and adjust while frames come in, on the terminal and on a phone",
		Long:    textLiveLong,
		Example: textLiveExample,
		Args: func(c *cobra.Command, args []string) error {
			if len(args) != 1 {
				return hint(fmt.Errorf("live wants one folder, got %d", len(args)), "pintle live FOLDER, the folder into which your camera program saves its frames")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error { return a.live(cmd.Context(), &f, args[0]) },
	}
	f.add(c)
	return c
}

// live runs the live verb.
func (a *app) live(ctx context.Context, f *liveFlags, dir string) error {
	if err := f.check(); err != nil {
		return err
	}
	if info, err := os.Stat(dir); err == nil && !info.IsDir() {
		return hint(fmt.Errorf("%s is not a folder", dir), "name the folder into which your camera program saves its frames")
	} else if err != nil {
		return hint(err, "make the folder first, or check its name")
	}
	e, err := a.openEye(f)
	if err != nil {
		return err
	}
	defer e.close()
	return a.follow(ctx, f, dir, e, nil)
}

// follow runs everything but the reading of frames. dress adds what a rehearsal
// needs.
func (a *app) follow(ctx context.Context, f *liveFlags, dir string, e eye, dress func(*liveRun)) error {
	ctx, stop := signal.NotifyContext(ctx, syscall.SIGTERM)
	defer stop()
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	// A frame of a modern camera is 100 MB while it is looked at; what is garbage
	// should not wait for as much again.
	defer debug.SetGCPercent(debug.SetGCPercent(50))
	pole, err := (&axisFlags{pole: f.pole}).poleKind()
	if err != nil {
		return err
	}
	file, err := a.knownGear()
	if err != nil {
		return err
	}
	tolerance, err := f.toleranceFor(file.Gear)
	if err != nil {
		return err
	}
	r := &liveRun{now: a.now, eye: e, engine: newEngine(pole, tolerance), scene: &scene{}, actions: make(chan page.Action, 16), stop: cancel}
	r.scene.state.Muted = true
	if r.scene.mount, err = f.adjusters(file.Gear); err != nil {
		return err
	}
	if err := a.keeper(f, file.Gear, dir, r); err != nil {
		return err
	}
	if dress != nil {
		dress(r)
	}
	since := time.Time{}
	if f.existing > 0 {
		since = a.now().Add(-f.existing)
	}
	if !r.since.IsZero() {
		since = r.since
	}
	r.watch = watch.New(dir, watch.Options{Since: since, Now: a.now})
	links, closePage, err := a.openPage(ctx, f, r)
	if err != nil {
		return err
	}
	defer closePage()
	closeViews := a.openViews(ctx, f, r, links)
	if re, ok := e.(*realEye); ok {
		re.tellLong(r)
	}
	watched := make(chan error, 1)
	go func() { watched <- r.watch.Run(ctx) }()
	err = r.run(ctx)
	cancel()
	err = errors.Join(err, <-watched)
	closeViews()
	var end fatal
	if errors.As(err, &end) {
		return end.error
	}
	return err
}

// adjusters returns what is known of the mount's adjusters.
func (f *liveFlags) adjusters(g gear.Gear) (gear.Mount, error) {
	name, m, ok := gear.Pick(g.Mounts, f.mount, g.Default.Mount)
	if !ok && f.mount != "" {
		return m, hint(fmt.Errorf("no mount called %q in the gear file", name), known(g.Names(gear.KindMount), "pintle gear add mount NAME --help"))
	}
	if f.altTurn > 0 {
		m.AltPerTurn = f.altTurn
	}
	if f.azTurn > 0 {
		m.AzPerTurn = f.azTurn
	}
	return m, nil
}

// keeper opens the journal and looks for an earlier run.
func (a *app) keeper(f *liveFlags, g gear.Gear, dir string, r *liveRun) error {
	path := f.journal
	if path == "" {
		var err error
		if path, err = a.journalPath(); err != nil {
			return err
		}
	}
	r.keep = &keeper{path: path, dir: absolute(dir), now: a.now, name: g.Default.Site}
	r.keep.fresh()
	if f.fresh {
		return nil
	}
	x, err := r.keep.earlier(12 * time.Hour)
	switch {
	case errors.Is(err, errNothingKept) && f.resume:
		return hint(fmt.Errorf("nothing to resume: %w", err), "leave out --resume")
	case errors.Is(err, errNothingKept):
		return nil
	case err != nil && f.resume:
		return hint(err, "leave out --resume")
	case err != nil:
		a.fail(fmt.Errorf("%s: %w", filepath.Base(path), err))
		return nil
	}
	r.offer = x
	if f.resume {
		r.resume(x)
		r.since = x.state.File.Add(time.Nanosecond)
	}
	return nil
}

// openEye makes what reads and solves the frames.
func (a *app) openEye(f *liveFlags) (*realEye, error) {
	opt, err := f.frames.options()
	if err != nil {
		return nil, err
	}
	if f.frames.at != "" {
		return nil, hint(errors.New("--at gives all frames one time, live frames have their own"), "leave it out; --time-zone helps with clocks that do not state theirs")
	}
	file, err := a.knownGear()
	if err != nil {
		return nil, err
	}
	e := &realEye{now: a.now, opt: opt, flags: &f.site, draw: !f.page.off}
	if _, s, ok := gear.Pick(file.Gear.Sites, "", file.Gear.Default.Site); ok {
		p := s.Place()
		e.usual = &p
	}
	if e.solver, e.closeThis, err = a.solver(&f.idx); err != nil {
		return nil, err
	}
	e.lib = e.solver.Library
	return e, nil
}
