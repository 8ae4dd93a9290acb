package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync"
	"time"

	"github.com/spf13/pflag"

	"pintle/cmd/night"
	"pintle/cmd/pintle/page"
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
	f.live.addAnswer(fs)
	f.live.page.add(fs)
	f.live.site.add(pflag.NewFlagSet("", pflag.ContinueOnError)) // the frames say where they were taken
	f.live.pole = "refracted"
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

// rehearse runs demo --live.
func (a *app) rehearse(ctx context.Context, f *demoFlags) error {
	lf := &f.rehearse.live
	if f.rehearse.every < 200*time.Millisecond || f.rehearse.every > time.Hour {
		return hint(fmt.Errorf("--every %v is out of range 200ms to 1h", f.rehearse.every), "4s is like a real camera")
	}
	n, err := night.New(night.Random(f.seed, f.south))
	if err != nil {
		return err
	}
	dir := f.keep
	if dir == "" {
		if dir, err = os.MkdirTemp("", "pintle-rehearsal-*"); err != nil {
			return hint(fmt.Errorf("cannot make a temporary folder: %w", err), "name a folder with --keep DIR")
		}
		defer os.RemoveAll(dir)
	} else if err := os.MkdirAll(dir, 0o755); err != nil {
		return hint(err, "name another folder with --keep DIR")
	}
	// A rehearsal is no measurement: it has a journal of its own.
	lf.idx, lf.journal, lf.fresh = f.idx, filepath.Join(dir, "rehearsal.jsonl"), true
	lf.existing = 2 * time.Second // the first frame may be there before anyone looks
	if err := lf.check(); err != nil {
		return err
	}
	e, err := a.openEye(lf)
	if err != nil {
		return err
	}
	defer e.close()
	h := newRehearsal(n, dir, a.now)
	ctx, cancel := context.WithCancel(ctx)
	shooting := make(chan error, 1)
	defer func() {
		cancel()
		<-shooting
	}()
	return a.follow(ctx, lf, dir, e, func(r *liveRun) {
		r.scene.sim = true
		r.scene.state.Mount = h.state()
		r.rehearse = h.act
		r.keep.note = textSimulation
		go func() {
			err := h.shoot(ctx, f.rehearse.every)
			if err != nil {
				fmt.Fprintf(a.err, "pintle: the pretended camera stopped: %v\n", err)
				cancel()
			}
			shooting <- err
		}()
	})
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
func (h *rehearsal) act(x page.Action) (*page.Mount, string) {
	var p night.Pose
	note := ""
	switch x.Name {
	case page.TurnRA:
		p.Turn = sphere.Angle(x.Value) * sphere.Degree
	case page.TurnAlt:
		p.Alt = arcmin(x.Value)
	case page.TurnAz:
		p.Az = arcmin(x.Value)
	case page.Tracking:
		h.mount.Track(h.clock(), x.Value != 0)
	case page.Cloud:
		h.mu.Lock()
		h.cloud = x.Value != 0
		h.mu.Unlock()
	}
	if err := h.mount.Move(p); err != nil {
		note = err.Error()
	}
	return h.state(), note
}

// state is how the pretended mount stands.
func (h *rehearsal) state() *page.Mount {
	h.mu.Lock()
	defer h.mu.Unlock()
	p := h.mount.Pose()
	return &page.Mount{
		Turn: (p.Turn - h.home.Turn).Degrees(), Alt: (p.Alt - h.home.Alt).Arcminutes(), Az: (p.Az - h.home.Az).Arcminutes(),
		Tracking: h.mount.Tracking(), Cloud: h.cloud,
	}
}
