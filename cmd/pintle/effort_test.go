package main

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pintle/cmd/pintle/session"
	"pintle/index/optics"
	"pintle/solve"
)

// asked counts how often the lens of a camera is asked for.
type asked struct{ n int }

func (a *asked) Usual(string, int, int) *optics.Lens       { a.n++; return nil }
func (a *asked) Learn(string, int, int, optics.Lens) error { return nil }

// Photographs are looked for as far as they are told, with what the camera's
// other nights taught: the session's tests have an invented camera, which would
// not notice.
func TestPhotographsHeedTheLook(t *testing.T) {
	if testing.Short() {
		t.Skip("searches the whole sky")
	}
	t.Parallel()
	const seed = 20261128
	t.Log("seed", seed)
	rng := rand.New(rand.NewPCG(seed, 1))
	var list strings.Builder
	list.WriteString("# width=1280, height=960\n# INSTRUME='invented'\nx,y,flux\n")
	for range 8 {
		fmt.Fprintf(&list, "%.2f,%.2f,%.0f\n", 1280*rng.Float64(), 960*rng.Float64(), 1e3+1e4*rng.Float64())
	}
	path := filepath.Join(t.TempDir(), "cloud.csv")
	if err := os.WriteFile(path, []byte(list.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	lenses := &asked{}
	photos := &session.Photographs{Solver: solver(t), Now: time.Now, Lenses: lenses}
	for _, c := range []struct {
		effort  solve.Effort
		bounded bool
	}{{solve.Nearby, true}, {solve.Everything, false}} {
		f, err := photos.Read(t.Context(), path)
		if err != nil {
			t.Fatal(err)
		}
		f.Miss, f.Look.Effort = nil, c.effort
		if err := photos.Recognise(t.Context(), f); err != nil {
			t.Fatal(err)
		}
		var un *solve.Unsolved
		if f.Miss == nil || !errors.As(f.Miss.Err, &un) || un.Bounded != c.bounded {
			t.Errorf("effort %d: %+v", c.effort, f.Miss)
		}
	}
	if lenses.n != 2 {
		t.Errorf("the camera's lens was asked for %d times, want 2", lenses.n)
	}
}
