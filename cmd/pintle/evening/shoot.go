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
	Close() error
}

// Shooting is what the chosen camera is at, one of the gear file with an address.
type Shooting struct {
	Camera   string   `json:"camera"`
	On       bool     `json:"on"`
	Exposure float64  `json:"exposure_s"` // of the photograph that is being taken, or of the next; 0 before the first
	Trouble  *Trouble `json:"trouble"`    // why the last was not taken
}

// takingName is the folder of photographs that are being taken.
const takingName = "taking"

// longestShot is the longest exposure that may be asked for, seconds (no source; the
// stars of a camera that does not follow are long trails by then).
const longestShot = 300

// Shoot has the chosen camera photograph, once or until it is told to stop.
// exposure is in seconds.
func (e *Evening) Shoot(on bool, exposure float64, many bool) error {
	if !on {
		e.mu.Lock()
		if e.endShot != nil {
			e.endShot()
		}
		e.mu.Unlock()
		return nil
	}
	if !(exposure >= 0.001 && exposure <= longestShot) { // NaN too
		return advice.With(fmt.Errorf("an exposure of %g s, from 0.001 to %d s can be taken", exposure, longestShot), "2 is a good beginning")
	}
	name, at, err := e.commanded()
	if err != nil {
		return err
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	switch {
	case e.running == nil || e.running.Err() != nil:
		return advice.With(errors.New("the evening is not running"), "start pintle again")
	case e.endShot != nil:
		return advice.With(errors.New("the camera is photographing"), "stop it first")
	}
	ctx, cancel := context.WithCancel(e.running)
	e.endShot = cancel
	e.shot = Shooting{Camera: name, On: true, Exposure: exposure}
	e.shooters.Add(1)
	go func() {
		defer e.shooters.Done()
		err := e.shootAll(ctx, at, time.Duration(math.Round(exposure*1e9)), many)
		e.mu.Lock()
		if e.shot.On, e.endShot = false, nil; err != nil && ctx.Err() == nil {
			e.shot.Trouble = troubleOf(words.PlainError(err))
		}
		e.mu.Unlock()
		cancel()
		e.tell()
	}()
	return nil
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
	e.mu.Lock()
	chosen := e.kept.Camera
	e.mu.Unlock()
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
			err = e.handOver(ctx, path)
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

// handOver takes over a photograph that was taken.
func (e *Evening) handOver(ctx context.Context, path string) error {
	fi, err := os.Stat(path)
	if err != nil {
		return err
	}
	if err := e.takeOver(ctx, watch.File{Path: path, Size: fi.Size(), Mod: fi.ModTime()}); err != nil {
		return err
	}
	return os.Remove(path)
}

func (e *Evening) handOverAll(ctx context.Context, dir string) {
	entries, _ := os.ReadDir(dir)
	for _, d := range entries {
		if d.Type().IsRegular() && !strings.HasPrefix(d.Name(), ".") {
			_ = e.handOver(ctx, filepath.Join(dir, d.Name())) // it stays there for the next time
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
	e.mu.Lock()
	defer e.mu.Unlock()
	s := e.shot
	if err != nil && !s.On {
		return nil
	}
	if !s.On && s.Camera != name {
		s = Shooting{Camera: name}
	}
	return &s
}
