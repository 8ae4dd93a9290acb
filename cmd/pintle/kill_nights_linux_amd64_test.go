package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pintle/cmd/night"
	"pintle/cmd/pintle/shelf"
	"pintle/index/sphere"
)

// nightWriters are the verbs that write of what they see in photographs: of an
// invented night in the south, with the star index of the user.
func nightWriters(t *testing.T, home string) map[string]writer {
	t.Helper()
	built, err := shelf.Folder()
	if err != nil {
		t.Fatal(err)
	}
	spec := night.Random(3, true)
	n, err := night.New(spec)
	if err != nil {
		t.Fatal(err)
	}
	frames, err := n.Write(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	before, after := adjusted(t, n)
	place := []string{"--index", built, "--lat", fmt.Sprint(spec.Site.Lat.Degrees()), "--lon", fmt.Sprint(spec.Site.Lon.Degrees()), "--elev", fmt.Sprint(spec.Site.Elev)}
	records := filepath.Join(t.TempDir(), "journal", "evenings.jsonl")
	gear := filepath.Join(home, "config", "pintle", "gear.toml")
	const old = "[mount.\"old six\"]\nalt_arcmin_per_turn = 1.0\nalt_clockwise = \"raises\"\n\n[default]\nmount = \"old six\"\n"
	learn := fileWriter(gear, old, "[default]\nmount = \"old six\"\n", append([]string{"gear", "learn", "altitude", before, after, "--save"}, place...)...)
	return map[string]writer{
		"axis": {
			args:  func() []string { return append(append([]string{"axis", "--journal", records}, place...), frames...) },
			begin: func() { _ = os.RemoveAll(filepath.Dir(records)) },
			whole: func() error { return linesWhole(records) }, ends: true,
		},
		"gear learn --save": learn,
	}
}

// adjusted takes two photographs between which the axis was raised.
func adjusted(t *testing.T, n *night.Night) (before, after string) {
	t.Helper()
	dir, at := t.TempDir(), n.Spec().Start
	m := n.Mount(at)
	for i, path := range []*string{&before, &after} {
		s, err := m.Shoot(at.Add(time.Duration(i) * 40 * time.Second))
		if err != nil {
			t.Fatal(err)
		}
		*path = filepath.Join(dir, fmt.Sprintf("%d.fits", i))
		if err := s.Save(*path); err != nil {
			t.Fatal(err)
		}
		if err := m.Move(night.Pose{Alt: 20 * sphere.Arcminute}); err != nil {
			t.Fatal(err)
		}
	}
	return before, after
}

// linesWhole holds when every line that was ended is a record; one that a crash has
// torn has no end, and the next one begins behind it.
func linesWhole(path string) error {
	b, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	lines := strings.SplitAfter(string(b), "\n")
	for _, l := range lines[:len(lines)-1] {
		if !json.Valid([]byte(l)) {
			return fmt.Errorf("half a record: %.80q", l)
		}
	}
	return nil
}

// shootWriter photographs with a pretended camera: what stands in the folder under
// a name of its own is whole.
func shootWriter(t *testing.T) writer {
	t.Helper()
	s, dir := newStage(t), filepath.Join(t.TempDir(), "tonight")
	return writer{
		args: func() []string {
			return []string{"shoot", dir, "--camera", "alpaca://" + s.host + "/camera/0", "--exposure", "0.5s", "--fixed", "--frames", "2"}
		},
		begin: func() { _ = os.RemoveAll(dir) },
		whole: func() error { return pictures2880(dir) }, ends: true,
	}
}
