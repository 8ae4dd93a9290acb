package whole

import (
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"pintle/cmd/pintle/advice"
)

// The test binary is also the victim that kills itself at a step.
func TestMain(m *testing.M) {
	if path := os.Getenv("WHOLE_PATH"); path != "" {
		victim(path, os.Getenv("WHOLE_STEP"), os.Getenv("WHOLE_REPLACE") != "")
	}
	os.Exit(m.Run())
}

func victim(path, step string, replace bool) {
	passing = func(now string) {
		if now == step {
			p, _ := os.FindProcess(os.Getpid())
			_ = p.Kill()
			select {}
		}
	}
	err := Write(path, How{Replace: replace}, fillWith("new "))
	fmt.Println(err)
	os.Exit(0)
}

// long is what fillWith writes, a text of some pages, so that a half would be seen.
func long(word string) string { return strings.Repeat(word, 50000) }

func fillWith(word string) func(io.Writer) error {
	return func(w io.Writer) error {
		for range 50 {
			if _, err := io.WriteString(w, strings.Repeat(word, 1000)); err != nil {
				return err
			}
		}
		return nil
	}
}

func has(t *testing.T, path, want string) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil || string(b) != want {
		t.Errorf("%v, %d bytes that begin with %.8q, want %d that begin with %.8q", err, len(b), b, len(want), want)
	}
}

// A kill at every step leaves the old file or the new one, whole.
func TestKilledAtEveryStep(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("a process of Windows does not kill itself at once")
	}
	steps := []string{"created", "written", "synced", "placed", "done"}
	for _, replace := range []bool{false, true} {
		for i, step := range steps {
			t.Run(fmt.Sprintf("%s, replace %v", step, replace), func(t *testing.T) {
				path := filepath.Join(t.TempDir(), "page.html")
				if replace {
					if err := os.WriteFile(path, []byte(long("old ")), 0o600); err != nil {
						t.Fatal(err)
					}
				}
				cmd := exec.Command(os.Args[0])
				cmd.Env = append(os.Environ(), "WHOLE_PATH="+path, "WHOLE_STEP="+step)
				if replace {
					cmd.Env = append(cmd.Env, "WHOLE_REPLACE=1")
				}
				if out, err := cmd.CombinedOutput(); err == nil {
					t.Fatalf("it was not killed: %s", out)
				}
				switch {
				case i >= 3:
					has(t, path, long("new "))
				case replace:
					has(t, path, long("old "))
				default:
					if _, err := os.Stat(path); !errors.Is(err, os.ErrNotExist) {
						t.Errorf("there is a file: %v", err)
					}
				}
				if err := Write(path, How{Replace: true}, fillWith("new ")); err != nil {
					t.Error("after the kill:", err)
				}
				has(t, path, long("new "))
			})
		}
	}
}

func TestLeftoversAreSwept(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "page.html")
	made := func(name string, age time.Duration) string {
		p := filepath.Join(dir, name)
		if err := os.WriteFile(p, nil, 0o600); err != nil {
			t.Fatal(err)
		}
		at := time.Now().Add(-age)
		if err := os.Chtimes(p, at, at); err != nil {
			t.Fatal(err)
		}
		return p
	}
	left, running, other := made(".page.html-1.part", 2*time.Hour), made(".page.html-2.part", time.Minute), made(".other-1.part", 2*time.Hour)
	if err := Write(path, How{}, fillWith("new ")); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(left); err == nil {
		t.Error("a leftover is still there")
	}
	for _, p := range []string{running, other} {
		if _, err := os.Stat(p); err != nil {
			t.Error(err)
		}
	}
}

func TestRefusals(t *testing.T) {
	dir := t.TempDir()
	there := filepath.Join(dir, "there")
	if err := os.WriteFile(there, []byte("old"), 0o640); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ name, path, hint string }{
		{"exists", there, "--replace"},
		{"folder", dir, "name a file"},
		{"no folder", filepath.Join(dir, "no", "file"), "folder exists"},
	} {
		err := Write(c.path, How{}, fillWith("new "))
		if err == nil || !strings.Contains(advice.Of(err), c.hint) {
			t.Errorf("%s: %v, try: %s", c.name, err, advice.Of(err))
		}
	}
	broken := errors.New("broken")
	if err := Write(there, How{Replace: true}, func(w io.Writer) error { fmt.Fprint(w, "half"); return broken }); !errors.Is(err, broken) {
		t.Error(err)
	}
	has(t, there, "old")
	if es, _ := os.ReadDir(dir); len(es) != 1 {
		t.Errorf("%d files, want 1", len(es))
	}
	if err := Write(there, How{Replace: true}, fillWith("new ")); err != nil {
		t.Error(err)
	}
	if st, err := os.Stat(there); err != nil || runtime.GOOS != "windows" && st.Mode().Perm() != 0o640 {
		t.Errorf("%v, mode %v, want 0640 as before", err, st.Mode())
	}
}

// Of many that read a number and write one more, none is lost.
func TestLockedAddsUp(t *testing.T) {
	path := filepath.Join(t.TempDir(), "number")
	const n = 12
	errs := make(chan error, n)
	for range n {
		go func() {
			errs <- Locked(path, func() error {
				b, _ := os.ReadFile(path)
				k, _ := strconv.Atoi(string(b))
				return Write(path, How{Replace: true}, func(w io.Writer) error { _, err := fmt.Fprint(w, k+1); return err })
			})
		}()
	}
	for range n {
		if err := <-errs; err != nil {
			t.Error(err)
		}
	}
	if b, err := os.ReadFile(path); err != nil || string(b) != "12" {
		t.Errorf("%s, %v; want 12", b, err)
	}
}
