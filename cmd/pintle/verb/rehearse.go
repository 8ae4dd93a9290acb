package verb

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync"
	"time"

	"github.com/spf13/pflag"

	"pintle/cmd/night"
	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/watch"
	"pintle/cmd/pintle/words"
	"pintle/index/sphere"
	"pintle/solve/frame"
)

// rehearseFlags are those of demo --live.
type rehearseFlags struct {
	on    bool
	every time.Duration
	live  liveFlags
}

func (f *rehearseFlags) add(fs *pflag.FlagSet) {
	fs.BoolVar(&f.on, "live", false, "rehearse the adjustment: a pretended mount and camera that you turn from the page or by keys")
	fs.DurationVar(&f.every, "every", 4*time.Second, "with --live: `time` from frame to frame")
	f.live.AddTolerance(fs)
	f.live.addRun(fs)
	f.live.Site.Add(pflag.NewFlagSet("", pflag.ContinueOnError)) // the frames say where they were taken
}

// rehearsal is a pretended mount with a pretended camera, whose clock starts when
// the rehearsal does.
type rehearsal struct {
	mount *night.Mount
	now   func() time.Time
	begin time.Time // by the true clock
	start time.Time // by the pretended one
	long  time.Duration
	dir   string

	mu    sync.Mutex
	home  night.Pose
	cloud bool
	shots int
}

// mostShots is how many of its files a rehearsal leaves in the folder.
const mostShots = 20

// rehearse runs demo --live. It is no measurement: it has a journal of its own.
func (a *app) rehearse(ctx context.Context, f *demoFlags) error {
	lf := &f.rehearse.live
	if f.rehearse.every < 200*time.Millisecond || f.rehearse.every > time.Hour {
		return advice.With(fmt.Errorf("--every %v is out of range 200ms to 1h", f.rehearse.every), "4s is like a real camera")
	}
	n, err := night.New(night.Random(f.seed, f.south))
	if err != nil {
		return err
	}
	dir, tidy, err := a.demoFolder(f, "pintle-rehearsal")
	if err != nil {
		return err
	}
	defer tidy()
	lf.Index = f.idx
	if err := lf.check(dir); err != nil {
		return err
	}
	s, photos, closeIndex, err := a.begin(&lf.Sight, func(c *session.Config) error {
		c.Told.Note, c.Simulated, c.Folder, c.Journal = words.Simulation, true, dir, filepath.Join(dir, "rehearsal.jsonl")
		return nil
	})
	if err != nil {
		return err
	}
	defer closeIndex()
	photos.Draw = !lf.page.Off
	h := newRehearsal(n, dir, a.now)
	// The first frame may be there before anyone looks.
	r := &session.Run{Session: s, Now: a.now, Rehearse: h.act, Watch: watch.New(dir, watch.Options{Since: a.now().Add(-2 * time.Second), Now: a.now})}
	r.Stand(h.state())
	ctx, cancel := context.WithCancel(ctx)
	shooting := make(chan error, 1)
	go func() {
		err := h.shoot(ctx, f.rehearse.every)
		cancel()
		shooting <- err
	}()
	err = a.follow(ctx, lf, r, photos)
	cancel()
	if stopped := <-shooting; stopped != nil {
		err = errors.Join(err, fmt.Errorf("the pretended camera stopped: %w", stopped))
	}
	return err
}

func newRehearsal(n *night.Night, dir string, now func() time.Time) *rehearsal {
	spec := n.Spec()
	h := &rehearsal{mount: n.Mount(spec.Start), now: now, begin: now(), start: spec.Start, long: spec.Camera.Exposure, dir: dir}
	h.home = h.mount.Pose()
	return h
}

// clock is the pretended time.
func (h *rehearsal) clock() time.Time { return h.start.Add(h.long + h.now().Sub(h.begin)) }

// shoot takes frames until the context ends.
func (h *rehearsal) shoot(ctx context.Context, every time.Duration) error {
	tick := time.NewTicker(every)
	defer tick.Stop()
	for {
		if err := h.frame(); err != nil {
			return err
		}
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}

// frame takes one frame, whose exposure ends now.
func (h *rehearsal) frame() error {
	s, err := h.mount.Shoot(h.clock().Add(-h.long))
	if err != nil {
		return err
	}
	h.mu.Lock()
	h.shots++
	i, cloud := h.shots, h.cloud
	h.mu.Unlock()
	if cloud {
		overcast(s.Image, uint64(i))
	}
	if err := s.Save(h.path(i)); err != nil {
		return err
	}
	if i > mostShots {
		os.Remove(h.path(i - mostShots))
	}
	return nil
}

func (h *rehearsal) path(i int) string {
	return filepath.Join(h.dir, fmt.Sprintf("simulated-%05d.fits", i))
}

// overcast leaves the light of a picture and takes its stars: the pixels are
// shuffled.
func overcast(im *frame.Image, seed uint64) {
	rng := rand.New(rand.NewPCG(seed, 5))
	switch {
	case im.U8 != nil:
		rng.Shuffle(len(im.U8), func(i, j int) { im.U8[i], im.U8[j] = im.U8[j], im.U8[i] })
	case im.U16 != nil:
		rng.Shuffle(len(im.U16), func(i, j int) { im.U16[i], im.U16[j] = im.U16[j], im.U16[i] })
	case im.F32 != nil:
		rng.Shuffle(len(im.F32), func(i, j int) { im.F32[i], im.F32[j] = im.F32[j], im.F32[i] })
	}
}

// act turns the mount.
func (h *rehearsal) act(x session.Action) (session.Pretended, error) {
	var p night.Pose
	switch x.Name {
	case session.HandRA:
		p.Turn = sphere.Angle(x.Value) * sphere.Degree
	case session.HandAlt:
		p.Alt = arcmin(x.Value)
	case session.HandAz:
		p.Az = arcmin(x.Value)
	case session.Tracking:
		h.mount.Track(h.clock(), x.Value != 0)
	case session.Cloud:
		h.mu.Lock()
		h.cloud = x.Value != 0
		h.mu.Unlock()
	}
	err := h.mount.Move(p)
	return h.state(), err
}

// state is how the pretended mount stands.
func (h *rehearsal) state() session.Pretended {
	h.mu.Lock()
	defer h.mu.Unlock()
	p := h.mount.Pose()
	return session.Pretended{
		Turn: p.Turn - h.home.Turn, Alt: p.Alt - h.home.Alt, Az: p.Az - h.home.Az,
		Tracking: h.mount.Tracking(), Cloud: h.cloud,
	}
}
