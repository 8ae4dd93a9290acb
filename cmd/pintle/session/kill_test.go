package session

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"pintle/cmd/night/posed"
	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/watch"
)

// said is what a run says of a frame, a line of JSON.
type said struct {
	Frame        string
	Solved       bool
	Total, Sigma float64 // arcmin; 0 without an answer
}

// lineView prints what a run says.
type lineView struct{ e *json.Encoder }

func (v lineView) Frame(s State) {
	l := said{Frame: s.Last.Name, Solved: s.Last.In()}
	if s.Answer != nil && !s.Old {
		l.Total, l.Sigma = s.Answer.Offset.Total.Arcminutes(), s.Answer.Offset.Err.Total.Arcminutes()
	}
	_ = v.e.Encode(l) // whoever reads may be gone
}

func (v lineView) Show(State) {}

// followPosed runs on posed frames.
func followPosed(ctx context.Context, t testing.TB, out io.Writer, dir, path string, resume bool) error {
	s, err := New(Config{Camera: newPosed(t), Now: time.Now, Journal: path, Folder: dir})
	if err != nil {
		return err
	}
	since := time.Now().Add(-time.Hour)
	if resume {
		x, err := s.LookBack(time.Hour)
		if err != nil {
			return err
		}
		s.Resume()
		if !s.State().Resumed.Equal(x.At) || x.At.IsZero() {
			return fmt.Errorf("a run written at %v goes on as of %v", x.At, s.State().Resumed)
		}
		since = x.File.Add(time.Nanosecond)
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	r := &Run{Session: s, Now: time.Now, Views: []View{lineView{json.NewEncoder(out)}}, Watch: watch.New(dir, watch.Options{Since: since})}
	watched := make(chan error, 1)
	go func() { watched <- r.Watch.Run(ctx) }()
	err = r.Until(ctx)
	cancel()
	return errors.Join(err, <-watched)
}

// killDir is the variable that makes the test binary a live run to be killed.
const killDir = "PINTLE_TEST_LIVE_DIR"

// TestLiveToBeKilled is no test: it is what TestKilled starts and kills.
func TestLiveToBeKilled(t *testing.T) {
	dir := os.Getenv(killDir)
	if dir == "" {
		t.Skip("started by TestKilled only")
	}
	path := filepath.Join(filepath.Dir(dir), "journal.jsonl")
	if err := followPosed(context.Background(), t, os.Stdout, dir, path, os.Getenv("PINTLE_TEST_RESUME") != ""); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// victim is a live run in a process of its own.
type victim struct {
	cmd   *exec.Cmd
	lines chan said
}

func startVictim(t *testing.T, dir string, resume bool) *victim {
	t.Helper()
	cmd := exec.Command(os.Args[0], "-test.run", "^TestLiveToBeKilled$", "-test.timeout", "10m")
	cmd.Env = append(os.Environ(), killDir+"="+dir)
	if resume {
		cmd.Env = append(cmd.Env, "PINTLE_TEST_RESUME=1")
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	cmd.Stderr = os.Stderr
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cmd.Process.Kill() }) // an error says that it is dead
	v := &victim{cmd, make(chan said, 100)}
	go func() {
		defer close(v.lines)
		s := bufio.NewScanner(out)
		for s.Scan() {
			var j said
			if json.Unmarshal(s.Bytes(), &j) == nil && j.Frame != "" {
				v.lines <- j
			}
		}
	}()
	return v
}

// kill ends the process as a power cut would, and returns what it had said.
func (v *victim) kill(t *testing.T) (all []said) {
	t.Helper()
	if err := v.cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = v.cmd.Wait() // says that it was killed
	for j := range v.lines {
		all = append(all, j)
	}
	return all
}

// TestKilled kills live at random moments of an adjustment: the journal stays
// readable, every frame that was answered is in it, and the run goes on from
// there to the right end. PINTLE_KILLS says how often, 10 by default.
func TestKilled(t *testing.T) {
	if testing.Short() {
		t.Skip("starts and kills many processes")
	}
	runs := 4
	if *long {
		runs = 20
	}
	if n, err := strconv.Atoi(os.Getenv("PINTLE_KILLS")); err == nil {
		runs = n
	}
	const seed = 20261125
	t.Logf("%d runs, seed %d", runs, seed)
	rng := rand.New(rand.NewPCG(seed, 0))
	eye := newPosed(t)
	torn := 0
	for run := range runs {
		torn += killedRun(t, eye, rng, run)
	}
	t.Logf("%d torn lines in %d journals", torn, runs)
}

func killedRun(t *testing.T, eye posedCamera, rng *rand.Rand, run int) (torn int) {
	root := t.TempDir()
	dir, path := filepath.Join(root, "frames"), filepath.Join(root, "journal.jsonl")
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	frames := posed.Course(eye.Camera)
	victimAt := rng.IntN(len(frames)) // killed about when this frame comes
	v := startVictim(t, dir, false)
	time.Sleep(time.Duration(300+rng.IntN(400)) * time.Millisecond)
	for i, p := range frames {
		p.Save(t, filepath.Join(dir, fmt.Sprintf("frame-%02d.json", i)))
		if i != victimAt {
			time.Sleep(time.Duration(rng.IntN(120)) * time.Millisecond)
			continue
		}
		time.Sleep(time.Duration(rng.IntN(150)) * time.Millisecond)
		answered := v.kill(t)
		records, damage, err := journal.Read(path)
		if err != nil || len(damage) > 1 {
			t.Fatalf("run %d: after the kill: %v, damage %v", run, err, damage)
		}
		torn += len(damage)
		written := map[string]bool{}
		for _, r := range records {
			for _, f := range r.Frames {
				written[f.Name] = true
			}
		}
		for _, j := range answered {
			if !written[filepath.Base(j.Frame)] {
				t.Errorf("run %d: %s was answered and is not in the journal", run, j.Frame)
			}
		}
		v = startVictim(t, dir, len(records) > 0)
		time.Sleep(time.Duration(300+rng.IntN(300)) * time.Millisecond)
	}
	// One frame more, with nothing turned, ends the run.
	last := frames[len(frames)-1]
	last.At += 20
	for i := 0; ; i++ {
		last.At++
		last.Save(t, filepath.Join(dir, fmt.Sprintf("last-%d.json", i)))
		j, ok := v.wait("last-", 10*time.Second)
		if !ok && i < 3 {
			continue // the folder was not watched yet
		}
		if !ok {
			t.Fatalf("run %d: no answer to the last frame", run)
		}
		truth, err := eye.Truth(last)
		if err != nil {
			t.Fatal(err)
		}
		// Few frames may have been left to measure by: what counts is that the
		// figure is right within its own error.
		miss := j.Total - truth.Offset.Total.Arcminutes()
		if bound := 5*j.Sigma + 0.02; miss > bound || miss < -bound || j.Sigma > 1 {
			t.Errorf("run %d, killed at frame %d: off by %.3f' ± %.3f', truth %.3f'", run, victimAt, j.Total, j.Sigma, truth.Offset.Total.Arcminutes())
		}
		break
	}
	v.kill(t)
	if _, damage, err := journal.Read(path); err != nil || len(damage) > torn+1 {
		t.Errorf("run %d: at the end: %v, damage %v", run, err, damage)
	}
	return torn
}

// wait returns the line of a frame whose name begins so.
func (v *victim) wait(prefix string, most time.Duration) (said, bool) {
	end := time.After(most)
	for {
		select {
		case j, ok := <-v.lines:
			if !ok {
				return j, false
			}
			if strings.HasPrefix(filepath.Base(j.Frame), prefix) && j.Sigma > 0 {
				return j, true
			}
		case <-end:
			return said{}, false
		}
	}
}

var long = flag.Bool("long", false, "run the tests that take minutes, too")

// TestThousandsOfFrames feeds live for a long night: memory, goroutines and open
// files do not grow. 5000 frames with -long, which take some ten minutes.
func TestThousandsOfFrames(t *testing.T) {
	frames := 60
	if testing.Short() {
		frames = 20
	}
	if *long {
		frames = 5000
	}
	root := t.TempDir()
	dir := filepath.Join(root, "frames")
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	eye := newPosed(t)
	before := runtime.NumGoroutine()
	ctx, cancel := context.WithCancel(context.Background())
	out, in := io.Pipe()
	done := make(chan error, 1)
	go func() {
		done <- followPosed(ctx, t, in, dir, filepath.Join(root, "j.jsonl"), false)
		in.Close()
	}()
	time.Sleep(500 * time.Millisecond)
	d := json.NewDecoder(out)
	c := posed.Course(eye.Camera)
	var early, late uint64
	var filesEarly, filesLate int
	for i := range frames {
		p := c[min(i, len(c)-1)]
		if i >= len(c) && i%7 == 0 { // the hand is never quite still
			p.Alt += 0.3 * float64(i%5-2)
			p.Lost = i%35 == 0
		}
		p.At = 5 * float64(i)
		path := filepath.Join(dir, fmt.Sprintf("f%05d.json", i))
		p.Save(t, path)
		var j said
		if err := d.Decode(&j); err != nil {
			t.Fatal(err)
		}
		if filepath.Base(j.Frame) != filepath.Base(path) || j.Solved == p.Lost {
			t.Fatalf("frame %d: line of %s, solved %v", i, j.Frame, j.Solved)
		}
		switch i {
		case frames / 5:
			early, filesEarly = heap(), openFiles()
		case frames - 1:
			late, filesLate = heap(), openFiles()
		}
	}
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
	t.Logf("%d frames: heap in use %.2f MB after a fifth of them, %.2f MB after all; open files %d and %d", frames, float64(early)/1e6, float64(late)/1e6, filesEarly, filesLate)
	// What is kept of a frame is its name and date: some hundred bytes.
	if grown := int64(late) - int64(early); grown > 1<<20+600*int64(frames) {
		t.Errorf("the heap grew by %d bytes", grown)
	}
	if filesLate > filesEarly+2 {
		t.Errorf("%d open files, %d before", filesLate, filesEarly)
	}
	for range 300 {
		if runtime.NumGoroutine() <= before+2 {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Errorf("%d goroutines at the end, %d before", runtime.NumGoroutine(), before)
}

func heap() uint64 {
	runtime.GC()
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapInuse
}

// openFiles counts the process's open files, 0 where that cannot be known.
func openFiles() int {
	d, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		return 0
	}
	return len(d)
}
