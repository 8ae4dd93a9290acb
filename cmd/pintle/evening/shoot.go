package evening

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"time"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/watch"
	"pintle/cmd/pintle/words"
)

// Shooter is a camera that the program commands; it moves nothing.
type Shooter interface {
	// Take takes a photograph and returns its file, complete.
	Take(ctx context.Context) (path string, err error)
	// Exposure is that of the next photograph.
	Exposure() time.Duration
	Name() string
	Close() error
}

// Shooting is what the chosen camera is at, one of the gear file with an address.
type Shooting struct {
	Camera   string   `json:"camera"`
	On       bool     `json:"on"`
	Exposure float64  `json:"exposure_s"` // of the photograph that is being taken, or of the next; 0 before the first
	Trouble  *Trouble `json:"trouble"`    // why the last was not taken
	Mount    string   `json:"mount"`      // that may turn RA in between, "" when none can be commanded
	Turns    bool     `json:"turns"`      // it does
	Undone   string   `json:"undone"`     // what it was at when the program ended, a sentence; "" for nothing
	Resume   bool     `json:"resume"`     // that may go on
}

// takingName is the folder of photographs that are being taken.
const takingName = "taking"

// longestShot is the longest exposure that may be asked for, seconds (no source; the
// stars of a camera that does not follow are long trails by then).
const longestShot = 300

func checkExposure(s float64) error {
	if s >= 0.001 && s <= longestShot { // not NaN
		return nil
	}
	return advice.With(fmt.Errorf("an exposure of %g s, from 0.001 to %d s can be taken", s, longestShot), "2 is a good beginning")
}

func seconds(s float64) time.Duration { return time.Duration(math.Round(s * 1e9)) }

// Shoot has the chosen camera photograph, once or until it is told to stop.
// exposure is in seconds.
func (e *Evening) Shoot(on bool, exposure float64, many bool) error {
	if !on {
		return e.endShooting()
	}
	if err := checkExposure(exposure); err != nil {
		return err
	}
	name, at, err := e.commanded()
	if err != nil {
		return err
	}
	var left *undone
	if many {
		left = &undone{Exposure: exposure}
	}
	return e.busyWith(Shooting{Camera: name, Exposure: exposure}, left, func(ctx context.Context) error { return e.shootAll(ctx, at, seconds(exposure), many) })
}

// endShooting ends what the camera is at, and forgets what it was at before.
func (e *Evening) endShooting() error {
	e.mu.Lock()
	end, left := e.endShot, e.kept.Undone
	e.mu.Unlock()
	if end != nil {
		end()
		return nil
	}
	if left == nil {
		return nil
	}
	return e.change(func(k *kept) error { k.Undone = nil; return nil })
}

// busyWith has the camera do something, beside all else. left is what to tell when
// the program ends before that does.
func (e *Evening) busyWith(s Shooting, left *undone, do func(context.Context) error) error {
	e.mu.Lock()
	defer e.mu.Unlock()
	switch {
	case e.running == nil || e.running.Err() != nil:
		return advice.With(errors.New("the evening is not running"), "start pintle again")
	case e.endShot != nil:
		return advice.With(errors.New("the camera is photographing"), "stop it first")
	}
	before := e.kept.Undone
	e.kept.Undone = left
	if err := e.kept.save(e.c.Folder); err != nil {
		e.kept.Undone = before
		return err
	}
	ctx, cancel := context.WithCancel(e.running)
	s.On = true
	e.endShot, e.shot = cancel, s
	e.shooters.Go(func() {
		err := do(ctx)
		e.shotEnded(err, ctx.Err() != nil)
		cancel()
		e.tell()
	})
	return nil
}

// shotEnded takes in what became of what the camera was at.
func (e *Evening) shotEnded(err error, stopped bool) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.shot.On, e.endShot = false, nil
	if err != nil && (!stopped || !errors.Is(err, context.Canceled)) {
		e.shot.Trouble = troubleOf(words.PlainError(err))
	}
	if e.running.Err() != nil || e.kept.Undone == nil {
		return // it is told when the program starts again
	}
	e.kept.Undone = nil
	if err := e.kept.save(e.c.Folder); err != nil {
		e.trouble = troubleOf(err)
	}
}

// commanded returns the chosen camera when it has an address.
func (e *Evening) commanded() (name, at string, err error) {
	g, err := gear.Load(e.c.Gear)
	if err != nil {
		return "", "", err
	}
	return e.commandedBy(g.Gear)
}

// commandedBy is commanded by a gear file that was read.
func (e *Evening) commandedBy(g gear.Gear) (name, at string, err error) {
	chosen, _ := e.chosen()
	name, c, ok := gear.Pick(g.Cameras, chosen, g.Default.Camera)
	if !ok || c.At == "" || e.c.Shooter == nil {
		return "", "", advice.With(errors.New("the chosen camera has no address"), "give it one under gear, or hand its photographs over")
	}
	return name, c.At, nil
}

// shootAll takes photographs and hands them over.
func (e *Evening) shootAll(ctx context.Context, at string, exposure time.Duration, many bool) error {
	dir := filepath.Join(e.c.Folder, takingName)
	e.handOverAll(ctx, dir) // what a killed program left
	e.tell()
	s, err := e.c.Shooter(ctx, at, exposure, dir)
	if err != nil {
		return err
	}
	defer s.Close()
	for {
		path, err := s.Take(ctx)
		e.mu.Lock()
		e.shot.Exposure = s.Exposure().Seconds()
		e.mu.Unlock()
		if err == nil {
			err = e.handOver(ctx, path, s.Name())
		}
		if err != nil || !many {
			return err
		}
		e.tell()
		if err := e.settled(ctx); err != nil {
			return err
		}
	}
}

// handOver takes over a photograph that a camera took, "" for one that is not known.
func (e *Evening) handOver(ctx context.Context, path, camera string) error {
	fi, err := os.Stat(path)
	if err != nil {
		return err
	}
	if err := e.takeOver(ctx, watch.File{Path: path, Size: fi.Size(), Mod: fi.ModTime()}, camera); err != nil {
		return err
	}
	return os.Remove(path)
}

func (e *Evening) handOverAll(ctx context.Context, dir string) {
	entries, _ := os.ReadDir(dir)
	for _, d := range entries {
		if d.Type().IsRegular() && !strings.HasPrefix(d.Name(), ".") {
			_ = e.handOver(ctx, filepath.Join(dir, d.Name()), "") // it stays there for the next time
		}
	}
}

// settled waits until the photographs that are here were looked at and measured: a
// camera is faster than that.
func (e *Evening) settled(ctx context.Context) error {
	tick := time.NewTicker(100 * time.Millisecond)
	defer tick.Stop()
	for {
		e.mu.Lock()
		busy := len(e.looks)+len(e.takes) > 0 || e.working != ""
		e.mu.Unlock()
		if !busy {
			return ctx.Err()
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-tick.C:
		}
	}
}

// shooting is what there is to say of the camera; nil when it cannot be commanded.
func (e *Evening) shooting(g gear.Gear) *Shooting {
	name, _, err := e.commandedBy(g)
	mount, _, _ := e.turnedBy(g)
	e.mu.Lock()
	defer e.mu.Unlock()
	s := e.shot
	if err != nil && !s.On {
		return nil
	}
	if !s.On && s.Camera != name {
		s = Shooting{Camera: name}
	}
	if !s.On {
		s.Mount, s.Turns = mount, false
	}
	if left := e.kept.Undone; left != nil && !s.On {
		s.Undone, s.Resume = words.LeftUndone(left.Turned), !left.Turned
		s.Exposure = left.Exposure
	}
	return &s
}
