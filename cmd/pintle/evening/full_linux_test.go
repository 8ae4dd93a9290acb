package evening

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"pintle/cmd/pintle/advice"
)

// small is a folder on a disk of a megabyte, where the test may have one.
func smallDisk(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	if err := syscall.Mount("none", dir, "tmpfs", 0, "size=1m"); err != nil {
		t.Skip("no disk can be mounted here: ", err)
	}
	t.Cleanup(func() { _ = syscall.Unmount(dir, syscall.MNT_DETACH) })
	return dir
}

// A full disk refuses photographs and orders in plain words; what was there is whole,
// by a restart as well, and with some room it goes on.
func TestFullDisk(t *testing.T) {
	dir := smallDisk(t)
	e := begun(t, func(c *Config) { c.Folder = filepath.Join(dir, "evening") })
	if err := e.TypePlace("-31.4, 121.9", ""); err != nil {
		t.Fatal(err)
	}
	kept := 0
	var err error
	for i := range 20 {
		content := strings.Repeat(string(rune('a'+i)), 100_000)
		if _, err = e.Add(context.Background(), "one.txt", int64(len(content)), tonight, strings.NewReader(content)); err != nil {
			break
		}
		kept++
	}
	if !errors.Is(err, ErrFull) || !strings.Contains(advice.Of(err), "make room") || kept < 5 {
		t.Fatalf("after %d photographs: %v, %q", kept, err, advice.Of(err))
	}
	// To the last byte.
	filler := filepath.Join(dir, "filler")
	f, err := os.Create(filler)
	if err != nil {
		t.Fatal(err)
	}
	for b := make([]byte, 4096); err == nil; {
		_, err = f.Write(b)
	}
	f.Close()
	for name, do := range map[string]func() error{
		"a place": func() error { return e.TypePlace("52.1, 13.2", "") },
		"a line":  func() error { return e.Draw([][2]float64{{0, 10}}) },
		"measure": func() error { return e.Follow(true) },
	} {
		if err := do(); err == nil || !strings.Contains(advice.Of(err), "make room") {
			t.Errorf("%s on a full disk: %v, %q", name, err, advice.Of(err))
		}
	}
	settle(e)
	for _, e := range []*Evening{e, again(t, e)} {
		s := e.Summary()
		if len(s.Photographs) != kept || s.Place.Lat > 0 || s.Blocks != "" || s.Following {
			t.Errorf("%d photographs of %d, %+v", len(s.Photographs), kept, s.Place)
		}
		for _, p := range s.Photographs {
			if sum, err := sumOf(e.path(p.Name)); err != nil || sum != p.Sum {
				t.Errorf("%s is not whole: %v", p.Name, err)
			}
		}
	}
	if left, _ := filepath.Glob(filepath.Join(e.c.Folder, photosName, ".*")); len(left) != 0 {
		t.Errorf("left: %v", left)
	}
	if err := os.Remove(filler); err != nil {
		t.Fatal(err)
	}
	if err := e.TypePlace("52.1, 13.2", ""); err != nil {
		t.Errorf("with room again: %v", err)
	}
}

func again(t *testing.T, e *Evening) *Evening {
	t.Helper()
	e, err := Open(e.c)
	if err != nil {
		t.Fatal(err)
	}
	return e
}
