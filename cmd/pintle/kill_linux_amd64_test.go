package main

import (
	"bytes"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"maps"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"pintle/cmd/pintle/shelf"
	"pintle/cmd/pintle/terminal"
	"pintle/index"
)

// changes are the system calls that change files.
var changes = map[uint64]bool{
	syscall.SYS_WRITE: true, syscall.SYS_PWRITE64: true, syscall.SYS_OPENAT: true, syscall.SYS_RENAME: true, syscall.SYS_RENAMEAT: true, 316: true, // renameat2
	syscall.SYS_LINK: true, syscall.SYS_LINKAT: true, syscall.SYS_UNLINK: true, syscall.SYS_UNLINKAT: true, syscall.SYS_MKDIR: true, syscall.SYS_MKDIRAT: true,
	syscall.SYS_FSYNC: true, syscall.SYS_FDATASYNC: true, syscall.SYS_FTRUNCATE: true, syscall.SYS_FALLOCATE: true, syscall.SYS_CHMOD: true, syscall.SYS_FCHMOD: true,
	syscall.SYS_FCHMODAT: true, syscall.SYS_MSYNC: true,
}

// changing reports whether a thread stands before a call that changes files.
func changing(tid int) bool {
	var r syscall.PtraceRegs
	if syscall.PtraceGetRegs(tid, &r) != nil || !changes[r.Orig_rax] {
		return false
	}
	switch r.Orig_rax {
	case syscall.SYS_WRITE:
		return r.Rdi > 2 // what is said is no file
	case syscall.SYS_OPENAT:
		return r.Rdx&syscall.O_CREAT != 0
	}
	return true
}

// traced runs a command line and kills it before its n-th call that changes files,
// or after a while; it returns how many such calls it came to.
func traced(t *testing.T, cmd *exec.Cmd, n int, longest time.Duration) (count int) {
	t.Helper()
	runtime.LockOSThread() // the one that traces
	defer runtime.UnlockOSThread()
	cmd.SysProcAttr = &syscall.SysProcAttr{Ptrace: true, Setpgid: true}
	if err := cmd.Start(); err != nil {
		t.Skip("no tracing here: ", err)
	}
	pid := cmd.Process.Pid
	var ws syscall.WaitStatus
	if _, err := syscall.Wait4(pid, &ws, 0, nil); err != nil {
		t.Fatal(err)
	}
	const exitKill = 0x100000
	if err := syscall.PtraceSetOptions(pid, syscall.PTRACE_O_TRACECLONE|syscall.PTRACE_O_TRACESYSGOOD|exitKill); err != nil {
		t.Fatal(err)
	}
	late := time.AfterFunc(longest, func() { _ = syscall.Kill(pid, syscall.SIGKILL) })
	defer late.Stop()
	within := map[int]bool{} // threads in a call
	_ = syscall.PtraceSyscall(pid, 0)
	for {
		tid, err := syscall.Wait4(-pid, &ws, syscall.WALL, nil)
		switch {
		case errors.Is(err, syscall.EINTR):
			continue
		case err != nil:
			t.Fatal(err)
		case !ws.Stopped():
			if tid == pid {
				return count
			}
			continue
		}
		pass := 0
		switch sig := ws.StopSignal(); sig {
		case syscall.SIGTRAP | 0x80:
			if within[tid] = !within[tid]; within[tid] && changing(tid) {
				if count++; count == n {
					_ = syscall.Kill(pid, syscall.SIGKILL)
				}
			}
		case syscall.SIGTRAP, syscall.SIGSTOP: // a thread begins
		default:
			pass = int(sig)
		}
		_ = syscall.PtraceSyscall(tid, pass) // one that was killed is gone
	}
}

// writer is a verb that writes, with what must hold whenever it was killed.
type writer struct {
	args  func() []string
	begin func() // makes things as they were before
	whole func() error
	ends  bool // by itself, and then succeeds
}

// fileWriter is one that writes a single file, which must be as it was, or whole.
func fileWriter(path, old, end string, args ...string) writer {
	return writer{
		args: func() []string { return args }, ends: true,
		begin: func() {
			_ = os.RemoveAll(filepath.Dir(path))
			_ = os.MkdirAll(filepath.Dir(path), 0o755)
			if old != "" {
				_ = os.WriteFile(path, []byte(old), 0o644)
			}
		},
		whole: func() error {
			b, err := os.ReadFile(path)
			if errors.Is(err, fs.ErrNotExist) && old == "" || string(b) == old && old != "" || err == nil && strings.HasSuffix(string(b), end) {
				return nil
			}
			return fmt.Errorf("%v, %d bytes that end with %q", err, len(b), b[max(0, len(b)-40):])
		},
	}
}

// catalogueOf writes a patch of invented stars.
func catalogueOf(t *testing.T, seed uint64) string {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 28))
	text := "ra,dec,mag\n"
	for range 60 {
		text += fmt.Sprintf("%.5f,%.5f,%.2f\n", 150+r.Float64()*0.5, 20+r.Float64()*0.5, 9+r.Float64()*4)
	}
	path := filepath.Join(t.TempDir(), "stars.csv")
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// deepWhole holds when the deeper list is there with every band it serves, both of
// one import.
func deepWhole(dir string) error {
	s := shelf.Open(dir, time.Now, terminal.New(&bytes.Buffer{}, &bytes.Buffer{}, os.Getenv))
	defer s.Close()
	if s.Damaged != nil || s.Deep == nil {
		return fmt.Errorf("no deeper list: %v", s.Damaged)
	}
	good, _ := index.Serves(s.Deep.List)
	for _, b := range good {
		if _, err := s.Deep.Ready(b); err != nil {
			return fmt.Errorf("the list stands without its %s: %w", b.Name(), err)
		}
	}
	return nil
}

func writers(t *testing.T, home string) map[string]writer {
	t.Helper()
	records, err := filepath.Abs("testdata/evenings.jsonl")
	if err != nil {
		t.Fatal(err)
	}
	gear := filepath.Join(home, "config", "pintle", "gear.toml")
	key := filepath.Join(home, "data", "pintle", "page.key")
	const toml = "tolerance = 3.0\n\n[site.yard]\nlat = 1.0\nlon = 2.0\nelev = 0.0\n\n[site.roof]\nlat = 1.0\nlon = 2.0\nelev = 0.0\n"
	out := func(name string) string { return filepath.Join(t.TempDir(), "out", name) }
	page, table, chart, manual := out("page.html"), out("all.csv"), out("where.svg"), out("pintle.1")
	folder, pictures, dir := t.TempDir(), filepath.Join(t.TempDir(), "pictures"), t.TempDir()
	all := map[string]writer{
		"gear add":       fileWriter(gear, toml, "[site.garden]\nlat = 52.1\nlon = 13.2\nelev = 0.0\n", "gear", "add", "site", "garden", "--lat", "52.1", "--lon", "13.2", "--replace"),
		"gear default":   fileWriter(gear, toml, "[default]\nsite = \"roof\"\n", "gear", "default", "site", "roof"),
		"gear tolerance": fileWriter(gear, toml, strings.TrimPrefix(toml, "tolerance = 3.0\n"), "gear", "tolerance", "5"),
		"report":         fileWriter(page, "old", "</html>\n", "report", "--journal", records, "--replace", "-o", page),
		"log --csv":      fileWriter(table, "old", ",last\n", "log", "--journal", records, "--replace", "--csv", table),
		"plan --chart":   fileWriter(chart, "", "</svg>\n", "plan", "--field", "2x1", "--lat", "40", "--lon", "20", "--at", "2026-11-27T20:00:00Z", "--chart", chart, "--replace"),
		"man":            fileWriter(manual, "old", "pintle\\-wrong\\-way(1)\n", "man", "--replace", filepath.Dir(manual)),
		"live, its key":  fileWriter(key, "", "\n", "live", folder, "--port", "0", "--lat", "1", "--lon", "2"),
		"demo --keep": {
			args:  func() []string { return []string{"demo", "--keep", pictures, "--index", filepath.Join(dir, "none")} },
			begin: func() { _ = os.RemoveAll(pictures) },
			whole: func() error { return pictures2880(pictures) },
		},
	}
	live := all["live, its key"]
	live.ends = false
	all["live, its key"] = live
	first, second, n := catalogueOf(t, 1), catalogueOf(t, 2), 0
	if out, err := alone(t, home, "index", "build", "--index", dir, "--stars", first).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	all["index build --stars"] = writer{
		args: func() []string {
			n++
			return []string{"index", "build", "--index", dir, "--stars", []string{second, first}[n%2]}
		},
		begin: func() {}, whole: func() error { return deepWhole(dir) }, ends: true,
	}
	if *long {
		all["shoot"] = shootWriter(t)
		maps.Copy(all, nightWriters(t, home))
	}
	return all
}

// pictures2880 holds when every photograph of a folder is whole: a FITS file is a
// multiple of 2880 bytes (FITS standard 4.0, section 3.1), and these are alike.
func pictures2880(dir string) error {
	names, _ := filepath.Glob(filepath.Join(dir, "frame-*.fits"))
	size := int64(0)
	for _, path := range names {
		st, err := os.Stat(path)
		if err != nil || st.Size() == 0 || st.Size()%2880 != 0 || size != 0 && st.Size() != size {
			return fmt.Errorf("%s: %v, %d bytes", path, err, st.Size())
		}
		size = st.Size()
	}
	return nil
}

var kills = flag.Int("kills", 60, "with -long: how often each verb that writes is killed")

// shortKills are the verbs killed without -long: of those that write a file under a
// lock, a file, and a folder, one each.
var shortKills = []string{"gear add", "report", "index build --stars"}

// TestKilledAtSystemCalls kills every verb that writes before calls that change
// files, as often as -kills says with -long, else some of them at a handful of calls,
// with the last ones always among them. What is there then is what was there before
// or what is new, and never half; and the verb works the next time.
func TestKilledAtSystemCalls(t *testing.T) {
	if testing.Short() {
		t.Skip("starts and kills many processes")
	}
	kills := 3 + extra(*kills-3)
	t.Parallel()
	home := t.TempDir()
	for name, w := range writers(t, home) {
		if !*long && !slices.Contains(shortKills, name) {
			continue
		}
		t.Run(name, func(t *testing.T) {
			longest := 2 * time.Second
			if w.ends {
				longest = time.Minute
			}
			w.begin()
			total := traced(t, alone(t, home, w.args()...), 0, longest)
			if total < 3 {
				t.Fatalf("%d calls that change files: it does not write", total)
			}
			if err := w.whole(); err != nil {
				t.Fatalf("not killed: %v", err)
			}
			for k := range kills {
				at := 1 + k*total/kills // from the first
				if k > kills/2 {
					at = total - (kills - 1 - k) // and each of the last
				}
				w.begin()
				traced(t, alone(t, home, w.args()...), max(1, at), longest)
				if err := w.whole(); err != nil {
					t.Errorf("killed before call %d of %d: %v", at, total, err)
				}
			}
			if w.ends {
				if out, err := alone(t, home, w.args()...).CombinedOutput(); err != nil {
					t.Errorf("after the kills: %v\n%s", err, out)
				}
			}
			t.Logf("%d kills at %d calls", kills, total)
		})
	}
}
