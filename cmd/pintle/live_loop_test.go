package main

import (
	"context"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/page"
	"pintle/cmd/pintle/watch"
	"pintle/index"
	"pintle/index/sphere"
	"pintle/solve"
)

// witness is a view that remembers.
type witness struct {
	mu     sync.Mutex
	frames []page.State
	notes  []string
	last   page.State
}

func (w *witness) frame(s page.State) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.frames = append(w.frames, s)
	w.last = s
}

func (w *witness) state(s page.State) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.notes = append(w.notes, s.Note)
	w.last = s
}

func (w *witness) close() {}

// until waits for something to be seen.
func (w *witness) until(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(20 * time.Second); ; time.Sleep(2 * time.Millisecond) {
		w.mu.Lock()
		done := ok()
		w.mu.Unlock()
		if done {
			return
		}
		if time.Now().After(end) {
			t.Fatalf("%s did not happen within 20 s; last %+v", what, w.last)
		}
	}
}

func (w *witness) noted(t *testing.T, part string) {
	t.Helper()
	w.until(t, "the note "+part, func() bool {
		for _, n := range w.notes {
			if strings.Contains(n, part) {
				return true
			}
		}
		return false
	})
}

// frameNumber waits for the n-th frame.
func (w *witness) frameNumber(t *testing.T, n int) page.State {
	t.Helper()
	w.until(t, "a frame", func() bool { return len(w.frames) >= n })
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.frames[n-1]
}

// loop runs a live loop on posed frames in dir until the test ends.
func loop(t *testing.T, dir, journal string) (*liveRun, *witness) {
	t.Helper()
	w := &witness{}
	ctx, cancel := context.WithCancel(context.Background())
	r := &liveRun{
		now: time.Now, watch: watch.New(dir, watch.Options{Patience: 300 * time.Millisecond, Since: time.Now().Add(-time.Hour)}),
		eye: newPosedEye(t), engine: newEngine(0, 1), scene: &scene{}, views: []view{w}, actions: make(chan page.Action, 8), stop: cancel,
		keep: &keeper{path: journal, dir: dir, now: time.Now},
	}
	r.keep.fresh()
	if x, err := r.keep.earlier(time.Hour); err == nil {
		r.offer = x
	}
	watched, done := make(chan error, 1), make(chan error, 1)
	go func() { watched <- r.watch.Run(ctx) }()
	go func() { done <- r.run(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
		<-watched
	})
	return r, w
}

func TestLongWorkIsTold(t *testing.T) {
	w := &witness{}
	r := &liveRun{engine: newEngine(0, 1), scene: &scene{}, views: []view{w}}
	e := &realEye{lib: &index.Library{}, solver: &solve.Solver{}}
	e.tellLong(r)
	e.solver.Sweeping()(0.5)
	w.noted(t, textSweeping)
	e.lib.Building(index.Band{Min: 2 * sphere.Degree, Max: 3 * sphere.Degree}, nil)(1)
	w.noted(t, "patterns of 2.0° to 3.0°")
}

func TestLoopTakesUpWholeFramesOnce(t *testing.T) {
	dir := t.TempDir()
	_, w := loop(t, dir, filepath.Join(t.TempDir(), "j"))
	// Written in two halves.
	b, err := json.Marshal(posed{Turn: 10})
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, "one.json")
	if err := os.WriteFile(path, b[:9], 0o644); err != nil {
		t.Fatal(err)
	}
	time.Sleep(100 * time.Millisecond)
	if err := os.WriteFile(path, b, 0o644); err != nil {
		t.Fatal(err)
	}
	if s := w.frameNumber(t, 1); !s.Solved {
		t.Fatalf("%+v", s)
	}
	// The same again under another name.
	posed{Turn: 10}.save(t, filepath.Join(dir, "copy.json"))
	w.noted(t, textSame)
	// A file that is never finished is told of, once it is given up.
	if err := os.WriteFile(filepath.Join(dir, "torn.json"), b[:9], 0o644); err != nil {
		t.Fatal(err)
	}
	if s := w.frameNumber(t, 2); s.Solved || s.Reason != textDamaged || filepath.Base(s.Frame) != "torn.json" {
		t.Fatalf("%+v", s)
	}
	if len(w.frames) != 2 {
		t.Errorf("%d frames, want 2", len(w.frames))
	}
}

func TestLoopFolderGoesAndReturns(t *testing.T) {
	root := t.TempDir()
	dir := filepath.Join(root, "frames")
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	_, w := loop(t, dir, filepath.Join(root, "j"))
	posed{}.save(t, filepath.Join(dir, "one.json"))
	w.frameNumber(t, 1)
	if err := os.Rename(dir, dir+"-away"); err != nil {
		t.Skip("a watched folder cannot be renamed here: ", err)
	}
	w.noted(t, textGone)
	if err := os.Rename(dir+"-away", dir); err != nil {
		t.Fatal(err)
	}
	w.noted(t, textBack)
	posed{At: 20, Turn: 20}.save(t, filepath.Join(dir, "two.json"))
	if s := w.frameNumber(t, 2); s.Offset == nil {
		t.Errorf("no answer after the folder returned: %+v", s)
	}
}

// The journal cannot be written: the run goes on and says so.
func TestLoopWithoutJournal(t *testing.T) {
	dir := t.TempDir()
	_, w := loop(t, dir, t.TempDir()) // a folder is no file
	posed{}.save(t, filepath.Join(dir, "one.json"))
	if s := w.frameNumber(t, 1); !s.Solved || !strings.Contains(s.Note, textNotWritten) {
		t.Errorf("%+v", s)
	}
}

func TestLoopActsAndResumes(t *testing.T) {
	dir, path := t.TempDir(), filepath.Join(t.TempDir(), "j")
	r, w := loop(t, dir, path)
	frames := course(newPosedEye(t))
	for i, p := range frames[:6] {
		p.save(t, filepath.Join(dir, string(rune('a'+i))+".json"))
		w.frameNumber(t, i+1)
	}
	w.mu.Lock()
	stood := w.last
	w.mu.Unlock()
	r.actions <- page.Action{Name: page.Tolerance, Value: 3}
	r.actions <- page.Action{Name: page.Mute, Value: 1}
	w.until(t, "tolerance and mute", func() bool { return w.last.Tolerance == 3 && w.last.Muted })
	r.actions <- page.Action{Name: page.Fresh}
	w.noted(t, textFresh)
	w.until(t, "no answer", func() bool { return w.last.Offset == nil && w.last.Phase == phaseMeasure })

	// Another run of the same folder is offered the earlier one.
	other := t.TempDir()
	again, w2 := loop(t, dir, path)
	w2.until(t, "the offer", func() bool { return w2.last.Offer != "" })
	again.actions <- page.Action{Name: page.Resume}
	w2.noted(t, textResumed)
	resumed := stood
	w2.until(t, "the answer", func() bool { resumed = w2.last; return w2.last.Offset != nil })
	if a, b := resumed.Offset.Total, stood.Offset.Total; a < b-1e-6 || a > b+1e-6 || resumed.Phase != stood.Phase || resumed.Offer != "" {
		t.Errorf("resumed at %g in %s, stood at %g in %s", a, resumed.Phase, b, stood.Phase)
	}
	// A run of another folder is not.
	_, w3 := loop(t, other, path)
	first := stood
	w3.until(t, "the first state", func() bool { first = w3.last; return w3.last.Seq > 0 })
	if first.Offer != "" {
		t.Errorf("offered %q", first.Offer)
	}
	records, damage, err := journal.Read(path)
	if err != nil || len(damage) > 0 || len(records) < 6 {
		t.Fatalf("%d records, %v, %v", len(records), damage, err)
	}
	for i, want := range []string{journal.Sighting, journal.Measurement, journal.Measurement, journal.Adjustment} {
		if records[i].Kind != want {
			t.Errorf("record %d is a %s, want %s", i+1, records[i].Kind, want)
		}
	}
	if m := records[4].Moved; m == nil || m.Alt == 0 {
		t.Errorf("the turn of the altitude adjuster is not recorded: %+v", records[4])
	}
}

// Nobody reads the lines: the loop goes on.
func TestLinesNobodyReads(t *testing.T) {
	out, in := io.Pipe()
	defer out.Close()
	l := newLines(in, jsonLine)
	done := make(chan bool)
	go func() {
		for range 3 * mostLines {
			l.frame(page.State{})
		}
		close(done)
	}()
	select {
	case <-done:
	case <-time.After(20 * time.Second):
		t.Fatal("the loop waits for a reader")
	}
	out.Close()
	l.close()
}

func TestPanelFitsAndSaysOld(t *testing.T) {
	s := page.State{
		Offset: &page.Parts{Total: 12}, Sigma: &page.Parts{Total: 0.2}, Tolerance: 1, Since: "seven.fits", Old: true, Solved: false,
		Moves: []page.Move{{Adjuster: "altitude", Direction: "raise", Arcmin: 7.25, Turns: 0.2}, {Adjuster: "azimuth", Direction: "clockwise", Arcmin: 123.4}},
		Frame: "/long/" + strings.Repeat("x", 100), Reason: "cloud", Muted: true, Simulated: true,
	}
	rows := panel(s, []string{"http://127.0.0.1:7410/key/"}, time.Second, func(s string) string { return "\x1b[1m" + s + "\x1b[0m" })
	all := strings.Join(rows, "\n")
	for _, part := range []string{"OLD: of seven.fits", "▲", "7.25′", "123′", "0.20 turns", textSimulation, "cloud"} {
		if !strings.Contains(all, part) {
			t.Errorf("no %q in\n%s", part, all)
		}
	}
	for _, r := range rows {
		bare := strings.NewReplacer("\x1b[1m", "", "\x1b[0m", "").Replace(clip(r, 40))
		if n := len([]rune(bare)); n > 40 {
			t.Errorf("%d columns: %q", n, bare)
		}
	}
	s.Old, s.Solved = false, true
	if all := strings.Join(panel(s, nil, time.Minute, func(s string) string { return s }), "\n"); !strings.Contains(all, "OLD: no frame for 60 s") {
		t.Errorf("a minute without a frame is not told:\n%s", all)
	}
	s.Old, s.Solved = true, false
	if line := plainLine(s); !strings.Contains(line, "not solved: cloud") || strings.Contains(line, "12") {
		t.Errorf("the plain line of an unsolved frame: %s", line)
	}
}
