//go:build unix

package main

import (
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"pintle/cmd/pintle/shelf"
)

// soon is within what every verb must end after a signal, on a machine at rest.
const soon = 300 * time.Millisecond

// soonHere is that for a share of it; where other tests run at the same time ten
// times as long: a verb that does not notice takes longer still.
func soonHere(share time.Duration) time.Duration {
	if *long {
		return soon / share
	}
	return 10 * soon / share
}

// besideOthers lets a test of how soon a program ends run at the same time as
// others; not with -long, when the time itself is tested.
func besideOthers(t *testing.T) {
	if !*long {
		t.Parallel()
	}
}

// ended starts a command line, gives it a signal after a while and tells how long
// it took to end; ok is false when it had ended before.
func ended(t *testing.T, after time.Duration, s os.Signal, args ...string) (took time.Duration, ok bool) {
	t.Helper()
	cmd := alone(t, t.TempDir(), args...)
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	return endedCmd(t, cmd, after, func() { _ = cmd.Process.Signal(s) }, &out)
}

func endedCmd(t *testing.T, cmd *exec.Cmd, after time.Duration, tell func(), out *bytes.Buffer) (took time.Duration, ok bool) {
	t.Helper()
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() { _ = cmd.Wait(); close(done) }()
	select {
	case <-done:
		t.Logf("ended by itself: %.300s", out)
		return 0, false
	case <-time.After(after):
	}
	tell()
	told := time.Now()
	select {
	case <-done:
		return time.Since(told), true
	case <-time.After(20 * time.Second):
		_ = cmd.Process.Kill()
		<-done
		return time.Since(told), true
	}
}

// dark writes a frame without a star that takes some tenths of a second to read
// and as long to look through.
func dark(t *testing.T, dir string) string {
	t.Helper()
	path := filepath.Join(dir, "dark.fits.gz")
	const w, h = 6000, 4000
	var head strings.Builder
	for _, c := range []string{"SIMPLE  =                    T", "BITPIX  =                   16", "NAXIS   =                    2", fmt.Sprintf("NAXIS1  = %20d", w), fmt.Sprintf("NAXIS2  = %20d", h), "DATE-OBS= '2026-11-27T10:30:00'", "EXPTIME =                  2.0", "END"} {
		fmt.Fprintf(&head, "%-80s", c)
	}
	var b bytes.Buffer
	z, _ := gzip.NewWriterLevel(&b, gzip.BestSpeed)
	fmt.Fprintf(z, "%-2880s", head.String())
	r := rand.New(rand.NewPCG(1, 1))
	noise := make([]byte, 2*w*20)
	for i := 1; i < len(noise); i += 2 {
		noise[i] = byte(r.IntN(16))
	}
	for range h / 20 {
		z.Write(noise)
	}
	z.Write(make([]byte, 2880))
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// copies are so many names of a file.
func copies(t *testing.T, path, dir string, n int) (all []string) {
	t.Helper()
	for i := range n {
		link := filepath.Join(dir, fmt.Sprintf("f%03d.fits.gz", i))
		if err := os.Link(path, link); err != nil {
			t.Fatal(err)
		}
		all = append(all, link)
	}
	return all
}

// Every verb that can be at work for a while ends within 0.3 s of each signal that
// ends programs: while it reads, detects, searches, builds an index, draws, serves,
// or waits for a device. Without -long a handful of them, one signal, and ten times as
// long. The best of some tries counts: this machine may be busy.
func TestSignalsEndEveryVerb(t *testing.T) {
	if testing.Short() {
		t.Skip("starts many processes")
	}
	built, err := shelf.Folder() // of the user
	if err != nil {
		t.Fatal(err)
	}
	besideOthers(t)
	dir, frames, catalogues := t.TempDir(), t.TempDir(), t.TempDir()
	many := copies(t, dark(t, dir), frames, 60)
	list := func(name string) string {
		r := rand.New(rand.NewPCG(7, uint64(len(name))))
		text := "# width=3000, height=2000, date-obs=2026-11-27T10:30:00, exptime=2\nx,y,flux\n"
		for range 40 {
			text += fmt.Sprintf("%.1f,%.1f,%d\n", r.Float64()*3000, r.Float64()*2000, 100+r.IntN(900))
		}
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		return path
	}
	points := list("points.csv")
	stars := filepath.Join(catalogues, "stars.csv")
	journal := filepath.Join(dir, "j.jsonl")
	if *long {
		large(t, stars, journal)
	}
	mute, err := net.Listen("tcp", "127.0.0.1:0") // a device that never answers
	if err != nil {
		t.Fatal(err)
	}
	defer mute.Close()
	empty := func() string { return t.TempDir() }
	site := []string{"--lat", "10", "--lon", "20"}
	verbs := map[string]func() []string{
		"solve, reading":  func() []string { return append([]string{"solve", "--index", empty()}, many...) },
		"solve, building": func() []string { return []string{"solve", "--index", empty(), points} },
		"axis, reading": func() []string {
			return append(append([]string{"axis", "--no-journal", "--index", empty()}, site...), many...)
		},
		"axis, building": func() []string {
			return append([]string{"axis", "--no-journal", "--index", empty(), points, list("again.csv")}, site...)
		},
		"drift": func() []string { return append(append([]string{"drift", "--index", empty()}, site...), many...) },
		"gear learn": func() []string {
			return append([]string{"gear", "learn", "altitude", "--index", empty(), many[0], points}, site...)
		},
		"live": func() []string {
			return append([]string{"live", frames, "--existing", "10000h", "--port", "0", "--index", empty()}, site...)
		},
		"live, waiting": func() []string { return append([]string{"live", empty(), "--port", "0", "--index", empty()}, site...) },
		"live --json": func() []string {
			return append([]string{"live", frames, "--json", "--no-page", "--index", empty()}, site...)
		},
		"demo":                func() []string { return []string{"demo", "--index", empty()} },
		"demo --live":         func() []string { return []string{"demo", "--live", "--port", "0", "--index", empty()} },
		"index build":         func() []string { return []string{"index", "build", "--index", empty()} },
		"index build --stars": func() []string { return []string{"index", "build", "--index", empty(), "--stars", stars} },
		"log":                 func() []string { return []string{"log", "--journal", journal} },
		"report": func() []string {
			return []string{"report", "--journal", journal, "-o", filepath.Join(empty(), "page.html")}
		},
		"shoot": func() []string {
			return []string{"shoot", empty(), "--camera", "indi://" + mute.Addr().String() + "/Nobody"}
		},
		"devices": func() []string {
			return []string{"devices", "--indi", mute.Addr().String(), "--alpaca", mute.Addr().String()}
		},
	}
	if _, err := os.Stat(filepath.Join(built, "band-0")); err == nil {
		verbs["solve, searching"] = func() []string { return []string{"solve", "--index", built, points} }
		verbs["index check"] = func() []string { return []string{"index", "check", "--index", built} }
	}
	signals := []os.Signal{syscall.SIGINT, syscall.SIGTERM, syscall.SIGHUP}
	if signal.Ignored(syscall.SIGHUP) {
		signals = signals[:2]
	}
	some := "solve, reading solve, building live index build shoot demo --live"
	if !*long {
		signals = signals[1:2]
	}
	limit := soonHere(1)
	for name, args := range verbs {
		if !*long && !strings.Contains(some, name) {
			continue
		}
		for _, s := range signals {
			t.Run(name+", "+s.String(), func(t *testing.T) {
				best, wait := time.Hour, 600*time.Millisecond
				for tries := 0; tries < 4 && best > limit; {
					took, ok := ended(t, wait, s, args()...)
					if ok {
						best, wait, tries = min(best, took), wait+100*time.Millisecond, tries+1
						continue
					}
					if wait /= 2; wait < 50*time.Millisecond { // a fast machine was done by then
						t.Fatal("the input is not slow")
					}
				}
				t.Logf("ended after %v", best)
				if best > limit {
					t.Errorf("ended %v after %v, want within %v", best, s, limit)
				}
			})
		}
	}
}

// large writes a catalogue and a journal that take a while to read.
func large(t *testing.T, stars, journal string) {
	t.Helper()
	records, err := os.ReadFile("testdata/evenings.jsonl")
	if err == nil {
		err = errors.Join(os.WriteFile(stars, []byte("ra,dec,mag\n"+strings.Repeat("10.5,20.5,10.5\n", 2_000_000)), 0o644),
			os.WriteFile(journal, bytes.Repeat(records, 150_000_000/len(records)), 0o644))
	}
	if err != nil {
		t.Fatal(err)
	}
}

// A pipe given for any file is refused, and does not hang.
func TestPipesForFiles(t *testing.T) {
	hostileHome(t)
	pipe := filepath.Join(t.TempDir(), "pipe")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Skip("no pipes here: ", err)
	}
	put := func(folder, name string) {
		path := filepath.Join(os.Getenv(folder), "pintle", name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := syscall.Mkfifo(path, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	put("XDG_CONFIG_HOME", "gear.toml")
	put("XDG_DATA_HOME", "page.key")
	here := []string{"--lat", "1", "--lon", "2"}
	for _, args := range [][]string{
		{"solve", pipe}, append([]string{"axis", pipe, pipe}, here...), append([]string{"drift", pipe, pipe}, here...), {"gear", "learn", "altitude", pipe, pipe},
		{"index", "build", "--index", t.TempDir(), "--stars", pipe}, {"log", "--journal", pipe}, {"report", "--journal", pipe}, {"log", "--csv", pipe},
		{"report", "-o", pipe, "--replace", "--journal", "testdata/evenings.jsonl"}, {"gear"}, {"gear", "check"}, {"gear", "tolerance", "2"},
		{"gear", "add", "site", "a", "--lat", "1", "--lon", "2"}, {"rough"}, {"plan", "--field", "2x1"}, {"limit"}, append([]string{"plan", "--field", "2x1", "--chart", pipe, "--replace"}, here...),
		append([]string{"plan", "--field", "2x1", "--blocks", pipe}, here...), {"live", pipe}, {"man", pipe}, {"shoot", pipe, "--camera", "x"},
	} {
		cmd := spawn(t, args...)
		var out bytes.Buffer
		cmd.Stdout, cmd.Stderr = &out, &out
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		late := time.AfterFunc(15*time.Second, func() { _ = cmd.Process.Kill() })
		_ = cmd.Wait()
		if !late.Stop() {
			t.Errorf("%q hangs: %.500s", args, out.String())
		} else if strings.Contains(out.String(), "panic") {
			t.Errorf("%q: %.500s", args, out.String())
		}
	}
	// The key of the page: a new one for this run.
	took, ok := ended(t, 800*time.Millisecond, syscall.SIGTERM, append([]string{"live", t.TempDir(), "--port", "0", "--no-journal"}, here...)...)
	if !ok {
		t.Error("live with a pipe for its key does not run")
	}
	t.Log(took)
}

// A second signal ends the program at once, before it has had its time to end by
// itself: the band of an index takes longer to let go.
func TestSecondSignal(t *testing.T) {
	if testing.Short() {
		t.Skip("starts many processes")
	}
	besideOthers(t)
	best, limit := time.Hour, soonHere(3)
	for i := 0; i < 5 && best > limit; i++ {
		cmd := alone(t, t.TempDir(), "index", "build", "--index", t.TempDir())
		took, ok := endedCmd(t, cmd, time.Duration(600+100*i)*time.Millisecond, func() {
			_ = cmd.Process.Signal(syscall.SIGINT)
			time.Sleep(10 * time.Millisecond)
			_ = cmd.Process.Signal(syscall.SIGINT)
		}, &bytes.Buffer{})
		if !ok {
			t.Fatal("the input is not slow")
		}
		best = min(best, took)
	}
	t.Logf("ended after %v", best)
	if best > limit {
		t.Errorf("ended %v after two signals", best)
	}
}
