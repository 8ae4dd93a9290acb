package main

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"testing"

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
	os.Exit(verb.Main(args, os.Stdout, os.Stderr))
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

// apart prepares a command line in a process and with a home of its own, so that the
// test can run beside others; the star index is the user's.
func apart(t *testing.T, home string, args ...string) *exec.Cmd {
	t.Helper()
	cmd := spawn(t, args...)
	cmd.Env = append(cmd.Env, "XDG_DATA_HOME="+filepath.Join(home, "data"), "XDG_CONFIG_HOME="+filepath.Join(home, "config"))
	return cmd
}

// alone is apart without the user's star index.
func alone(t *testing.T, home string, args ...string) *exec.Cmd {
	t.Helper()
	cmd := apart(t, home, args...)
	for _, v := range []string{"XDG_CACHE_HOME", "AppData", "LocalAppData"} {
		cmd.Env = append(cmd.Env, v+"="+filepath.Join(home, v))
	}
	return cmd
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
