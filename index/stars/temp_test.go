package stars

import (
	"os"
	"path/filepath"
	"testing"
	"time"
)

// Only the builder's own files go, and of these only what nobody has written
// for a while.
func TestSweep(t *testing.T) {
	dir, now := t.TempDir(), time.Now()
	old, err := createTemp(dir)
	if err != nil {
		t.Fatal(err)
	}
	young, err := createTemp(dir)
	if err != nil {
		t.Fatal(err)
	}
	other := filepath.Join(dir, "stars")
	if err := os.WriteFile(other, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{old.Name(), other} {
		if err := os.Chtimes(path, now, now.Add(-2*time.Hour)); err != nil {
			t.Fatal(err)
		}
	}
	for _, f := range []*os.File{old, young} {
		f.Close()
	}
	Sweep(dir, now.Add(-time.Hour))
	for path, want := range map[string]bool{old.Name(): false, young.Name(): true, other: true} {
		if _, err := os.Stat(path); (err == nil) != want {
			t.Errorf("%s: %v, want it kept: %v", path, err, want)
		}
	}
}
