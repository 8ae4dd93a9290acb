package main

import (
	"context"
	"os"
	"path/filepath"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"pintle/cmd/pintle/verb"
)

// The test binary doubles as the program, for the scripts below.
func TestMain(m *testing.M) {
	testscript.Main(ownHome{m}, map[string]func(){
		"pintle": func() { os.Exit(verb.Run(context.Background(), os.Args[1:], os.Stdout, os.Stderr)) },
	})
}

// ownHome gives the tests settings and a journal that are not the user's. What a
// test sets for itself goes before; one that sets nothing can run beside others.
type ownHome struct{ *testing.M }

func (o ownHome) Run() int {
	if os.Getenv(verbArgs) != "" {
		return o.M.Run() // the test that started it has set all
	}
	dir, err := os.MkdirTemp("", "pintle-tests-*")
	if err != nil {
		panic(err)
	}
	defer os.RemoveAll(dir)
	os.Setenv("XDG_DATA_HOME", filepath.Join(dir, "data"))
	os.Setenv("XDG_CONFIG_HOME", filepath.Join(dir, "config"))
	return o.M.Run()
}

// Each script is one promise of the command line, run as a new user would,
// with a home of its own.
func TestScripts(t *testing.T) {
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
			return nil
		},
	})
}
