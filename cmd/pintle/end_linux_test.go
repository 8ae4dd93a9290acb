package main

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// pseudo opens a pseudo-terminal: ours and the program's end of it.
func pseudo(t *testing.T) (ours, its *os.File) {
	t.Helper()
	ours, err := os.OpenFile("/dev/ptmx", os.O_RDWR|syscall.O_NOCTTY, 0)
	if err != nil {
		t.Skip("no pseudo-terminals here: ", err)
	}
	t.Cleanup(func() { ours.Close() })
	fd := int(ours.Fd())
	if err := unix.IoctlSetPointerInt(fd, unix.TIOCSPTLCK, 0); err != nil {
		t.Skip(err)
	}
	n, err := unix.IoctlGetInt(fd, unix.TIOCGPTN)
	if err != nil {
		t.Skip(err)
	}
	if its, err = os.OpenFile(fmt.Sprintf("/dev/pts/%d", n), os.O_RDWR|syscall.O_NOCTTY, 0); err != nil {
		t.Skip(err)
	}
	t.Cleanup(func() { its.Close() })
	return ours, its
}

// noted is what came out of a terminal so far.
type noted struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (n *noted) String() string {
	n.mu.Lock()
	defer n.mu.Unlock()
	return n.b.String()
}

func (n *noted) follow(f *os.File) {
	b := make([]byte, 4096)
	for {
		k, err := f.Read(b)
		if err != nil {
			return
		}
		n.mu.Lock()
		n.b.Write(b[:k])
		n.mu.Unlock()
	}
}

// The keys that end live do so at once, however long the frame at hand takes, and
// so do signals; the terminal is as it was before.
func TestKeysEndLive(t *testing.T) {
	if testing.Short() {
		t.Skip("starts processes")
	}
	besideOthers(t)
	limit := soonHere(1)
	r := rand.New(rand.NewPCG(7, 7))
	text := "# width=3000, height=2000, date-obs=2026-11-27T10:30:00, exptime=2\nx,y,flux\n"
	for range 40 {
		text += fmt.Sprintf("%.1f,%.1f,%d\n", r.Float64()*3000, r.Float64()*2000, 100+r.IntN(900))
	}
	folder := t.TempDir()
	if err := os.WriteFile(filepath.Join(folder, "points.csv"), []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	for name, tell := range map[string]func(ours *os.File, p *os.Process){
		"q":       func(ours *os.File, _ *os.Process) { ours.WriteString("q") },
		"Ctrl-C":  func(ours *os.File, _ *os.Process) { ours.WriteString("\x03") },
		"SIGTERM": func(_ *os.File, p *os.Process) { _ = p.Signal(syscall.SIGTERM) },
	} {
		t.Run(name, func(t *testing.T) {
			best := time.Hour
			for i := 0; i < 4 && best > limit; i++ {
				ours, its := pseudo(t)
				before, err := unix.IoctlGetTermios(int(its.Fd()), unix.TCGETS)
				if err != nil {
					t.Skip(err)
				}
				var out noted
				go out.follow(ours)
				cmd := alone(t, t.TempDir(), "live", folder, "--existing", "10000h", "--no-page", "--lat", "10", "--lon", "20", "--index", t.TempDir())
				cmd.Stdin, cmd.Stdout, cmd.Stderr = its, its, its
				took, ok := endedCmd(t, cmd, time.Duration(200*i)*time.Millisecond, func() {
					eventually(t, time.Minute, func() bool { return strings.Contains(out.String(), "building the star index") })
					tell(ours, cmd.Process)
				}, &out.b)
				if !ok {
					t.Fatal("live has ended by itself")
				}
				best = min(best, took)
				after, err := unix.IoctlGetTermios(int(its.Fd()), unix.TCGETS)
				if err != nil || after.Lflag != before.Lflag || after.Iflag != before.Iflag {
					t.Errorf("the terminal is not as it was: %v", err)
				}
				time.Sleep(50 * time.Millisecond)
				if s := out.String(); !strings.Contains(s, "\x1b[?1049h") || strings.LastIndex(s, "\x1b[?1049l") < strings.LastIndex(s, "\x1b[?1049h") {
					t.Errorf("its own screen is not left: %.300q", s)
				}
			}
			t.Logf("ended after %v", best)
			if best > limit {
				t.Errorf("ended after %v, want within %v", best, limit)
			}
		})
	}
}
