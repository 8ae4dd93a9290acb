package main

import (
	"flag"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"pintle/cmd/night"
	"pintle/cmd/pintle/device/fake"
	"pintle/cmd/pintle/verb"
)

// The test binary doubles as the program, for the scripts below, and as the brake
// of a mount that a test turns.
func TestMain(m *testing.M) {
	if len(os.Args) == 3 && os.Args[1] == "brake" {
		os.Exit(verb.Main(os.Args[1:], os.Stdout, os.Stderr))
	}
	if os.Getenv(verbArgs) != "" { // the test that started it has set all, and may kill it
		os.Exit(m.Run())
	}
	testscript.Main(ownHome{m}, map[string]func(){
		"pintle": main,
	})
}

// atOnce is how many tests run beside each other: most wait for frames, processes
// or a browser. No source, chosen on two cores.
const atOnce = "5"

// ownHome gives the tests settings and a journal that are not the user's. What a
// test sets for itself goes before; one that sets nothing can run beside others.
type ownHome struct{ *testing.M }

func (o ownHome) Run() int {
	dir, err := os.MkdirTemp("", "pintle-tests-*")
	if err != nil {
		panic(err)
	}
	defer os.RemoveAll(dir)
	os.Setenv("XDG_DATA_HOME", filepath.Join(dir, "data"))
	os.Setenv("XDG_CONFIG_HOME", filepath.Join(dir, "config"))
	if err := flag.Set("test.parallel", atOnce); err != nil { // what the command line says comes later
		panic(err)
	}
	return o.M.Run()
}

// pretended is the address of an Alpaca server with a pretended mount and camera.
func pretended(t *testing.T) (host string) {
	t.Helper()
	spec := fake.Tonight(time.Now(), 1, false)
	spec.Camera.Exposure, spec.Camera.Aperture = 500*time.Millisecond, 2*spec.Camera.Aperture
	n, err := night.New(spec)
	if err != nil {
		t.Fatal(err)
	}
	s := httptest.NewServer(&fake.Server{Night: n, Now: time.Now})
	t.Cleanup(s.Close)
	return strings.TrimPrefix(s.URL, "http://")
}

// Each script is one promise of the command line, run as a new user would,
// with a home of its own.
func TestScripts(t *testing.T) {
	t.Parallel()
	devices := pretended(t)
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Setup: func(e *testscript.Env) error {
			e.Setenv("HOME", e.WorkDir+"/home")
			e.Setenv("XDG_CONFIG_HOME", e.WorkDir+"/home/config")
			e.Setenv("XDG_DATA_HOME", e.WorkDir+"/home/data")
			e.Setenv("XDG_CACHE_HOME", e.WorkDir+"/home/cache")
			e.Setenv("AppData", e.WorkDir+`/home/config`)
			e.Setenv("LocalAppData", e.WorkDir+`/home/data`)
			e.Setenv("TZ", "UTC")
			e.Setenv("NO_COLOR", "1")
			e.Setenv("DEVICES", devices)
			return nil
		},
	})
}
