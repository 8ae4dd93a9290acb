package verb

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"golang.org/x/term"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/device/link"
	"pintle/cmd/pintle/device/shoot"
	"pintle/cmd/pintle/flags"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/hands"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/words"
)

// openHands opens the camera and, where RA is to be turned, the mount. Addresses
// among the flags are none of the session's business afterwards.
func (a *app) openHands(ctx context.Context, f *flags.Sight, h *flags.Hands, dir string) (*hands.Hands, func() error, error) {
	told, err := f.Frames.Options(a.now())
	if err != nil {
		return nil, nil, err
	}
	c := hands.Config{Folder: &shoot.Folder{Dir: dir}, Shot: h.Shot(told.Exposure), Longest: max(h.Longest, told.Exposure), Fixed: h.Fixed, Angle: h.Angle(), Agreed: h.Agreed}
	g := hands.Gear{Lowest: h.Lowest(), Unpark: h.Unpark()}
	if g.Camera, err = a.cameraAt(f.Camera); err != nil {
		return nil, nil, err
	}
	if h.Turns() {
		m, err := a.mountAt(f.Mount)
		if err != nil {
			return nil, nil, err
		}
		g.Mount = &m
	}
	for _, name := range []*string{&f.Camera, &f.Mount} {
		if flags.Addressed(*name) {
			*name = ""
		}
	}
	return a.held(ctx, g, c)
}

// held opens hands, a mount with its brake, and holds the end of the program until
// closeAll has let go of them.
func (a *app) held(ctx context.Context, g hands.Gear, c hands.Config) (h *hands.Hands, closeAll func() error, err error) {
	if g.Mount != nil {
		exe, err := os.Executable()
		if err != nil {
			return nil, nil, advice.With(fmt.Errorf("the mount's brake cannot be started: %w", err), "start pintle by its full path")
		}
		g.Brake = []string{exe, brakeVerb}
	}
	release := a.end.hold()
	h, letGo, err := hands.Open(ctx, g, c)
	if err != nil {
		release()
		return nil, nil, err
	}
	return h, func() error { defer release(); return letGo() }, nil
}

// cameraAt returns the address of a camera that is named or addressed.
func (a *app) cameraAt(name string) (link.Address, error) {
	return at(a, name, gear.KindCamera, func(g gear.Gear) (string, string, bool) {
		picked, c, ok := gear.Pick(g.Cameras, name, g.Default.Camera)
		return picked, c.At, ok
	})
}

// mountAt returns the address of a mount that is named or addressed.
func (a *app) mountAt(name string) (link.Address, error) {
	return at(a, name, gear.KindMount, func(g gear.Gear) (string, string, bool) {
		picked, m, ok := gear.Pick(g.Mounts, name, g.Default.Mount)
		return picked, m.At, ok
	})
}

// at returns the address of a thing that is given by it, or by a name that pick
// finds in the gear file.
func at(a *app, name, kind string, pick func(gear.Gear) (picked, address string, ok bool)) (link.Address, error) {
	if flags.Addressed(name) {
		return link.Parse(name)
	}
	f, err := a.loadGear()
	if err != nil {
		return link.Address{}, err
	}
	tell := fmt.Sprintf("give its address with --%s; pintle devices lists what there is", kind)
	picked, address, ok := pick(f.Gear)
	switch {
	case !ok && name == "":
		return link.Address{}, advice.With(fmt.Errorf("which %s? the gear file has no default one", kind), tell)
	case !ok:
		return link.Address{}, advice.With(fmt.Errorf("no %s called %q in the gear file", kind, name), words.Known(f.Gear.Names(kind), tell))
	case address == "":
		return link.Address{}, advice.With(fmt.Errorf("the gear file has no address for %s %q", kind, picked), fmt.Sprintf("pintle gear add %s %q --replace --at ADDRESS; pintle devices lists addresses", kind, picked))
	}
	return link.Parse(address)
}

// hear tells what the hands are at, and listens to the person, until end.
func (a *app) hear(h *hands.Hands, in *os.File) (end func()) {
	stop, done := make(chan struct{}), make(chan struct{})
	go h.Hear(in)
	keys := newRawKeys(in)
	teller := a.Teller(words.YesOrNo)
	go func() {
		defer close(done)
		for {
			select {
			case <-stop:
				return
			case <-h.Changed():
				st := h.Status()
				keys.raw(st.Doing == session.Turning)
				if st.Doing == session.Halted {
					st.Doing = "" // here that is the end, which is told
				}
				teller.Tell(st)
			}
		}
	}()
	return func() {
		close(stop)
		<-done
		keys.raw(false)
		st := h.Status()
		st.Doing = ""
		teller.Tell(st)
	}
}

// rawKeys has a terminal pass on single keys while a mount turns, so that the
// space key stops it at once.
type rawKeys struct {
	fd    int
	saved *term.State
}

func newRawKeys(in *os.File) *rawKeys { return &rawKeys{fd: int(in.Fd())} }

func (k *rawKeys) raw(on bool) {
	switch {
	case on && k.saved == nil && term.IsTerminal(k.fd):
		k.saved, _ = term.MakeRaw(k.fd)
	case !on && k.saved != nil:
		_ = term.Restore(k.fd, k.saved)
		k.saved = nil
	}
}

// canAsk refuses turns to which nobody can agree. page says that a page can ask.
func canAsk(h *flags.Hands, in *os.File, page bool) error {
	if !h.Turns() || h.Agreed || page || term.IsTerminal(int(in.Fd())) {
		return nil
	}
	return advice.With(errors.New("--turn, but nobody can be asked: the input is no terminal"), "start pintle in a terminal beside the mount, or give --yes")
}

// ownFolder is the folder for photographs that pintle takes: the one named, else
// one named by the time.
func ownFolder(args []string, now time.Time) string {
	if len(args) > 0 {
		return args[0]
	}
	return "pintle-" + now.Format("2006-01-02-150405")
}

// shotAndMeasured takes photographs, RA turned between them, and measures them.
func (a *app) shotAndMeasured(ctx context.Context, f *axisFlags, dir string) (st session.State, err error) {
	if err := canAsk(&f.hands, os.Stdin, false); err != nil {
		return st, err
	}
	h, closeHands, err := a.openHands(ctx, &f.Sight, &f.hands, dir)
	if err != nil {
		return st, err
	}
	defer func() { err = errors.Join(err, closeHands()) }()
	s, _, closeIndex, err := a.begin(&f.Sight, func(c *session.Config) (err error) {
		c.Told.Note, c.Hands, c.Told.Frames.Exposure = f.record.Note, h, 0
		c.Journal, err = a.keep(f.record)
		return err
	})
	if err != nil {
		return st, err
	}
	defer closeIndex()
	scout, err := s.Scout()
	if err != nil {
		return st, words.PlainError(err)
	}
	a.Note(words.KeptIn(dir))
	end := a.hear(h, os.Stdin)
	paths, err := h.Measure(ctx, scout, f.frames)
	end()
	if err != nil {
		return st, ended(err, dir)
	}
	err = words.PlainError(s.Measure(ctx, paths))
	return s.State(), err
}

// ended words why photographs were not taken to the end.
func ended(err error, dir string) error {
	var un *hands.Unseen
	if errors.As(err, &un) {
		return advice.With(fmt.Errorf("%w; of the last: %s", un, words.Unseen(&un.State)), un.Advice())
	}
	return hands.Ended(err, dir)
}

// serve runs hands, if any, until the context ends; wait waits for them.
func serve(ctx context.Context, h *hands.Hands) (wait func()) {
	if h == nil {
		return func() {}
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		h.Run(ctx)
	}()
	return func() { <-done }
}
