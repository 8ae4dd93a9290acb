package main

import (
	"context"
	"os"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"pintle/cmd/pintle/verb"
)

// The test binary doubles as the program, for the scripts below, and as the brake
// of a mount that a test turns.
func TestMain(m *testing.M) {
	if len(os.Args) == 3 && os.Args[1] == "brake" {
		os.Exit(verb.Run(context.Background(), os.Args[1:], os.Stdout, os.Stderr))
	}
	testscript.Main(m, map[string]func(){
		"pintle": func() { os.Exit(verb.Run(context.Background(), os.Args[1:], os.Stdout, os.Stderr)) },
	})
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
