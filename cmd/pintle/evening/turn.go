package evening

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"time"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/device"
	"pintle/cmd/pintle/device/shoot"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/hands"
	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/session"
	"pintle/index/sphere"
)

// TurnWish asks for photographs between which the mount turns RA.
type TurnWish struct {
	Exposure float64 // of the first, seconds
	Frames   int
	Turn     float64 // between two, degrees
	Lowest   float64 // the camera may come down to that altitude, degrees; 0 for the usual
	Unpark   bool    // a parked mount may be unparked
}

// Limits of a TurnWish. Those of the turner hold besides, before and in every turn.
const (
	fewestTurned, mostTurned = 2, 6
	// looksLong is how long a photograph may wait to be recognised: others may be
	// before it (no source).
	looksLong = 2 * time.Minute
)

func (w TurnWish) check() error {
	least, each, all := device.LeastTurn.Degrees(), device.Usual.Turn.Degrees(), device.Usual.Run.Degrees()
	lowest, highest := device.LeastLowest.Degrees(), device.MostLowest.Degrees()
	switch {
	case w.Frames < fewestTurned || w.Frames > mostTurned:
		return advice.With(fmt.Errorf("%d photographs with RA turned between them: %d to %d can be asked for", w.Frames, fewestTurned, mostTurned), "three are a good number")
	case !(w.Turn >= least && w.Turn <= each):
		return advice.With(fmt.Errorf("a turn of %g degrees is outside %g to %g", w.Turn, least, each), "20 is good")
	case w.Turn*float64(w.Frames-1) > all:
		return advice.With(fmt.Errorf("%d turns of %g degrees exceed the limit of %g degrees in all", w.Frames-1, w.Turn, all), "turn less, or take fewer photographs")
	case w.Lowest != 0 && !(w.Lowest >= lowest && w.Lowest <= highest):
		return advice.With(fmt.Errorf("a lowest altitude of %g degrees is outside %g to %g", w.Lowest, lowest, highest), "20 is usual")
	}
	return checkExposure(w.Exposure)
}

// Task is what hands are opened for: the addresses of camera and mount, and the rest.
type Task struct {
	Camera, Mount string
	Lowest        sphere.Angle // 0 for the usual
	Unpark        bool
	Hands         hands.Config
}

// Turn begins a new measurement: the chosen camera photographs, the chosen mount turns
// RA in between, after a question each time. Once so many photographs were recognised
// nothing turns any more.
func (e *Evening) Turn(w TurnWish) error {
	if err := w.check(); err != nil {
		return err
	}
	if _, err := e.here(); err != nil {
		return err
	}
	g, err := gear.Load(e.c.Gear)
	if err != nil {
		return err
	}
	name, at, err := e.commandedBy(g.Gear)
	if err != nil {
		return err
	}
	mount, mountAt, err := e.turnedBy(g.Gear)
	if err != nil {
		return err
	}
	first := device.Exposure{Time: seconds(w.Exposure)}
	task := Task{Camera: at, Mount: mountAt, Lowest: sphere.Angle(w.Lowest) * sphere.Degree, Unpark: w.Unpark,
		Hands: hands.Config{Shot: first, Longest: max(device.UsualLongest, first.Time), Angle: sphere.Angle(w.Turn) * sphere.Degree, Patience: looksLong,
			Folder: &shoot.Folder{Dir: filepath.Join(e.c.Folder, photosName), Prefix: e.c.Now().Format("150405")}}}
	s := Shooting{Camera: name, Mount: mount, Turns: true, Exposure: w.Exposure}
	return e.busyWith(s, &undone{Turned: true, Exposure: w.Exposure}, func(ctx context.Context) error { return e.turnAll(ctx, task, w.Frames) })
}

// turnedBy returns the chosen mount of a gear file when it has an address.
func (e *Evening) turnedBy(g gear.Gear) (name, at string, err error) {
	_, chosen := e.chosen()
	name, m, ok := gear.Pick(g.Mounts, chosen, g.Default.Mount)
	if !ok || m.At == "" || e.c.Hands == nil {
		return "", "", advice.With(errors.New("the chosen mount has no address"), "give it one under gear, or turn RA by hand")
	}
	return name, m.At, nil
}

// still refuses what must not change while hands are at work.
func (e *Evening) still() error {
	if e.command.atWork() == nil {
		return nil
	}
	return advice.With(errors.New("camera and mount are at work on this measurement"), "end that first: STOP, then end it")
}

// turning is hands at work.
type turning struct {
	e     *Evening
	h     *hands.Hands
	after []string // the photograph that followed each turn
}

// turnAll opens the hands and lets them work until n photographs were recognised.
func (e *Evening) turnAll(ctx context.Context, task Task, n int) error {
	t := &turning{e: e}
	task.Hands.Kept = t.kept
	h, closeAll, err := e.c.Hands(ctx, task)
	if err != nil {
		return err
	}
	if err := e.afresh(); err != nil {
		return errors.Join(err, closeAll())
	}
	t.h = h
	e.command.use(h)
	ended, shown := make(chan struct{}), make(chan struct{})
	go func() { defer close(shown); e.showHands(h, ended) }()
	h.Series(ctx, n)
	t.measured()
	if s := h.Status(); s.Doing == session.Halted {
		err = s.Trouble // it ended there
	}
	err = errors.Join(err, closeAll())
	close(ended)
	<-shown
	e.command.use(nil)
	e.present(false)
	return err
}

// showHands shows what the hands are at until they have ended.
func (e *Evening) showHands(h *hands.Hands, ended <-chan struct{}) {
	for {
		select {
		case <-ended:
			return
		case <-h.Changed():
			e.present(false)
		}
	}
}

// kept takes over a photograph that the hands took, where it lies.
func (t *turning) kept(_ context.Context, path string) error {
	t.measured()
	turns := t.h.Status().Turns[len(t.after):]
	for range turns {
		t.after = append(t.after, filepath.Base(path))
	}
	return t.e.adopt(path, t.h.TakenBy(path), session.TurnsKept(turns))
}

// measured keeps what the frames say of the last turn, once they do.
func (t *turning) measured() {
	n := len(t.after)
	if n == 0 {
		return
	}
	last := session.TurnsKept(t.h.Status().Turns[n-1 : n])[0]
	if last.Measured == nil {
		return
	}
	t.e.mu.Lock()
	p, err := t.e.kept.find(t.after[n-1])
	t.e.mu.Unlock()
	if err != nil { // forgotten
		return
	}
	t.e.note(p, func(p *Photograph) {
		p.Turns = slices.Clone(p.Turns) // who was given the others keeps them
		p.Turns[len(p.Turns)-1] = last
		if k := t.e.kept.Turns; len(k) > 0 && sameTurn(k[len(k)-1], last) {
			k[len(k)-1] = last
		}
		t.e.command.rests(session.TurnsOf(t.e.kept.Turns))
	})
}

func sameTurn(a, b journal.Turn) bool {
	a.Measured, b.Measured = nil, nil
	return a == b
}

// adopt puts a photograph that lies in its place already on the list; it is measured
// at once. turns are those of RA since the photograph before.
func (e *Evening) adopt(path, camera string, turns []journal.Turn) error {
	fi, err := os.Stat(path)
	if err != nil {
		return err
	}
	name := filepath.Base(path)
	sum, err := sumOf(path)
	if err != nil {
		return err
	}
	p := &Photograph{Name: name, Size: fi.Size(), Modified: fi.ModTime(), Sum: sum, State: New, TakenBy: camera, Turns: turns, atOnce: true}
	e.command.took(name, camera)
	return e.change(func(k *kept) error {
		if err := e.roomFor(p.Size); err != nil {
			return err // the file stays, and is found by the next run
		}
		k.Photographs = append(k.Photographs, p)
		return nil
	}, func() { e.look(p) })
}

func sumOf(path string) (sum string, err error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	_, err = io.Copy(h, f)
	return hex.EncodeToString(h.Sum(nil)), err
}

// rests takes over the turns that led to a photograph that is to be measured.
func (e *Evening) rests(p *Photograph) {
	if len(p.Turns) == 0 {
		return
	}
	e.note(p, func(p *Photograph) {
		e.kept.Turns = append(e.kept.Turns, p.Turns...)
		e.command.rests(session.TurnsOf(e.kept.Turns))
	})
}

// unproven tells hands that wait for a photograph that it proves nothing.
func (e *Evening) unproven(p *Photograph, f *session.Frame) {
	if h := e.command.atWork(); h != nil && p.atOnce {
		e.mu.Lock()
		st := e.state
		e.mu.Unlock()
		st.Last = f
		h.Frame(st)
	}
}
