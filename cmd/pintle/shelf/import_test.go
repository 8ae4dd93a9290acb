package shelf

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pintle/cmd/pintle/whole"
	"pintle/index"
	"pintle/index/catalog"
)

var built = time.Date(2026, 11, 28, 12, 0, 0, 0, time.UTC)

// silent is told and says nothing; building, when set, is called at the start of
// every band.
type silent struct{ building func() }

func (s silent) Working(string) func(float64)             { return func(float64) {} }
func (s silent) Import(*catalog.Report)                   {}
func (s silent) BadRows(*catalog.Report)                  {}
func (s silent) Building(index.Band, error) func(float64) { return func(float64) {} }
func (s silent) Poor(index.Band)                          {}
func (s silent) BuildingDeep(b index.Band, _ error) func(float64) {
	if s.building != nil {
		s.building()
	}
	return func(float64) {}
}

// catalogue writes a patch of invented stars.
func catalogue(t *testing.T, seed uint64) string {
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

// standing is the checksum of the deeper list that is in place, with all its
// bands built of it.
func standing(t *testing.T, dir string) string {
	t.Helper()
	s := Open(dir, func() time.Time { return built }, silent{})
	defer s.Close()
	if s.Deep == nil {
		return ""
	}
	good, _ := index.Serves(s.Deep.List)
	for _, b := range good {
		if _, err := s.Deep.Ready(b); err != nil {
			t.Errorf("list %.8s stands without its %s: %v", s.Deep.List.Checksum(), b.Name(), err)
		}
	}
	return s.Deep.List.Checksum()
}

// entries are the names in the folder of the deeper stars.
func entries(t *testing.T, dir string) string {
	t.Helper()
	all, err := os.ReadDir(index.DeepRoot(dir))
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		t.Fatal(err)
	}
	var names []string
	for _, e := range all {
		names = append(names, e.Name())
	}
	return strings.Join(names, " ")
}

// List and bands change together: an import that ends while its bands are built
// changes nothing, and leaves nothing. What earlier versions left in the root
// itself is used until it is replaced. One import waits for another.
func TestImportTogetherOrNotAtAll(t *testing.T) {
	dir := t.TempDir()
	var o catalog.Options
	ctx, cancel := context.WithCancel(context.Background())
	if err := Import(ctx, dir, []string{catalogue(t, 1)}, o, built, silent{building: cancel}); !errors.Is(err, context.Canceled) {
		t.Fatalf("stopped: %v", err)
	}
	if got := standing(t, dir) + entries(t, dir); got != "" {
		t.Errorf("after the first that was stopped there is %q", got)
	}
	if err := Import(context.Background(), dir, []string{catalogue(t, 1)}, o, built, silent{}); err != nil {
		t.Fatal(err)
	}
	first := standing(t, dir)
	asBefore(t, index.DeepRoot(dir))
	left := entries(t, dir)
	ctx, cancel = context.WithCancel(context.Background())
	n := 0
	stopAt := silent{building: func() {
		if n++; n == 2 {
			cancel()
		}
	}}
	second := catalogue(t, 2)
	if err := Import(ctx, dir, []string{second}, o, built, stopAt); !errors.Is(err, context.Canceled) {
		t.Fatalf("stopped: %v", err)
	}
	if got := standing(t, dir); got != first || first == "" || entries(t, dir) != left {
		t.Errorf("the list in place is %.8s, was %.8s; there is %s, was %s", got, first, entries(t, dir), left)
	}
	if err := Import(context.Background(), dir, []string{second}, o, built, silent{}); err != nil {
		t.Fatal(err)
	}
	if got := standing(t, dir); got == first || entries(t, dir) != "1 current" {
		t.Errorf("the list in place is %.8s, was %.8s; there is %s", got, first, entries(t, dir))
	}
	busy, done := make(chan bool), make(chan error, 2)
	go func() {
		done <- whole.Locked(index.DeepRoot(dir), func() error { close(busy); time.Sleep(200 * time.Millisecond); done <- nil; return nil })
	}()
	<-busy
	if err := Import(context.Background(), dir, []string{second}, o, built, silent{}); err != nil {
		t.Error(err)
	}
	if len(done) == 0 {
		t.Error("the import did not wait for the other")
	}
}

// asBefore moves list and bands to where earlier versions had them.
func asBefore(t *testing.T, root string) {
	t.Helper()
	all, _ := os.ReadDir(filepath.Join(root, "1"))
	for _, e := range all {
		if err := os.Rename(filepath.Join(root, "1", e.Name()), filepath.Join(root, e.Name())); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range []string{"1", "current"} {
		if err := os.Remove(filepath.Join(root, name)); err != nil {
			t.Fatal(err)
		}
	}
}
