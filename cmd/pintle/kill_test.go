package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/verb"
)

// verbArgs is the variable that makes the test binary run one command line.
const verbArgs = "PINTLE_TEST_VERB"

// TestVerbToBeKilled is no test: it is what the tests below start.
func TestVerbToBeKilled(t *testing.T) {
	var args []string
	if err := json.Unmarshal([]byte(os.Getenv(verbArgs)), &args); err != nil {
		t.Skip("started by other tests only")
	}
	os.Exit(verb.Run(context.Background(), args, os.Stdout, os.Stderr))
}

// spawn prepares a command line in a process of its own.
func spawn(t *testing.T, args ...string) *exec.Cmd {
	t.Helper()
	b, err := json.Marshal(args)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(os.Args[0], "-test.run", "^TestVerbToBeKilled$")
	cmd.Env = append(os.Environ(), verbArgs+"="+string(b))
	return cmd
}

// killWriting starts a command line and kills it when its temporary file is
// seen, a moment of chance later. hit is false when the verb was done before.
func killWriting(t *testing.T, random *rand.Rand, dir string, args ...string) (hit bool) {
	t.Helper()
	cmd := spawn(t, args...)
	left := unfinished(dir) // by earlier kills
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() {
		for unfinished(dir) == left {
			select {
			case <-done:
				return
			default:
			}
		}
		time.Sleep(time.Duration(random.IntN(3000)) * time.Microsecond)
		_ = cmd.Process.Kill() // an error says that it is dead
	}()
	err := cmd.Wait()
	close(done)
	return err != nil
}

// unfinished counts the temporary files in a folder.
func unfinished(dir string) int {
	left, _ := filepath.Glob(filepath.Join(dir, ".*.part")) // the pattern is good
	return len(left)
}

// Each verb that writes a file leaves, when it is killed while it writes, the
// old file or the new one, and works again the next time.
func TestKilledWhileWriting(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("settings are found by XDG_CONFIG_HOME on Linux only")
	}
	kills := 4
	if n, err := strconv.Atoi(os.Getenv("PINTLE_TEST_KILLS")); err == nil {
		kills = n
	}
	const seed = 20261128
	random := rand.New(rand.NewPCG(seed, 0))
	hostileHome(t)
	records, err := filepath.Abs("testdata/evenings.jsonl")
	if err != nil {
		t.Fatal(err)
	}
	dir, settings := t.TempDir(), filepath.Join(os.Getenv("XDG_CONFIG_HOME"), "pintle")
	for _, v := range []struct {
		args      []string
		dir, file string
		end       string // of the file when it is whole
	}{
		{[]string{"report", "--journal", records, "--replace", "-o", filepath.Join(dir, "page.html")}, dir, "page.html", "</html>\n"},
		{[]string{"log", "--journal", records, "--replace", "--csv", filepath.Join(dir, "all.csv")}, dir, "all.csv", ",last\n"},
		{[]string{"man", "--replace", filepath.Join(dir, "man")}, filepath.Join(dir, "man"), "pintle.1", "pintle\\-wrong\\-way(1)\n"},
		{[]string{"gear", "add", "site", "garden", "--lat", "52.1", "--lon", "13.2", "--replace"}, settings, "gear.toml", "elev = 0.0\n"},
	} {
		name := strings.Join(v.args[:2], " ")
		path := filepath.Join(v.dir, v.file)
		hits := 0
		for range kills {
			if killWriting(t, random, v.dir, v.args...) {
				hits++
			}
			b, err := os.ReadFile(path)
			if !errors.Is(err, fs.ErrNotExist) && !strings.HasSuffix(string(b), v.end) {
				t.Fatalf("%s, seed %d: %v, ends with %q", name, seed, err, b[max(0, len(b)-40):])
			}
		}
		if out, err := spawn(t, v.args...).CombinedOutput(); err != nil {
			t.Errorf("%s after the kills: %v\n%s", name, err, out)
		}
		if b, err := os.ReadFile(path); err != nil || !strings.HasSuffix(string(b), v.end) {
			t.Errorf("%s: %v, ends with %q", name, err, b[max(0, len(b)-40):])
		}
		t.Logf("%s: %d of %d killed while it wrote", name, hits, kills)
	}
}

// Of twelve at once every one that says it is in the file is in the file.
func TestTwelveAtOnce(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("settings are found by XDG_CONFIG_HOME on Linux only")
	}
	hostileHome(t)
	const n = 12
	outcome := make(chan error, n)
	for i := range n {
		cmd := spawn(t, "gear", "add", "site", fmt.Sprintf("place %d", i), "--lat", "1", "--lon", "2")
		go func() {
			out, err := cmd.CombinedOutput()
			if err != nil {
				err = fmt.Errorf("%w: %s", err, out)
			}
			outcome <- err
		}()
	}
	good := 0
	for range n {
		if err := <-outcome; err == nil {
			good++
		} else {
			t.Log(err)
		}
	}
	f, err := gear.Load(filepath.Join(os.Getenv("XDG_CONFIG_HOME"), "pintle", "gear.toml"))
	if err != nil || len(f.Gear.Sites) != good || good == 0 {
		t.Fatalf("%v: %d say they are in the file, %d are", err, good, len(f.Gear.Sites))
	}
	if good < n {
		t.Logf("%d of %d had to say no", n-good, n)
	}
}
