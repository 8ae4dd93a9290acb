package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pintle/cmd/pintle/terminal"
)

// A file among the frames whose header says latitude 95, and one that says none, do
// not end the evening: what is wrong is named, the site of the others is theirs, and
// the answer comes.
func TestStrayFramesEndNothing(t *testing.T) {
	if testing.Short() {
		t.Skip("needs the star index and renders frames")
	}
	t.Parallel()
	frames, _ := invented(t, 3, true)
	dir := t.TempDir()
	p := launch(t, "live", dir, "--json", "--no-page", "--no-journal", "--existing", "1h")
	said := func(name string, change func([]byte) []byte, path string) terminal.LiveLine {
		t.Helper()
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		tmp := filepath.Join(dir, "."+name)
		if err := os.WriteFile(tmp, change(b), 0o644); err != nil {
			t.Fatal(err)
		}
		if err := os.Rename(tmp, filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
		return p.line(t)
	}
	card := func(key, value string) []byte {
		return fmt.Appendf(nil, "%-80s", fmt.Sprintf("%-8s= %20s", key, value))
	}
	site := func(lat []byte) func([]byte) []byte {
		return func(b []byte) []byte {
			at := bytes.Index(b, []byte("SITELAT ="))
			if at < 0 {
				t.Fatal("the demo's header has no SITELAT")
			}
			b = bytes.Clone(b)
			copy(b[at:], lat)
			return b
		}
	}
	as := func(b []byte) []byte { return b }
	if j := said("1.fits", as, frames[0]); !j.Solved {
		t.Fatalf("the first: %s", j.Reason)
	}
	j := said("2.fits", site(card("SITELAT", "95")), frames[1])
	if all := strings.Join(append(j.Warnings, j.Note), " "); !j.Solved || !strings.Contains(all, `"95"`) {
		t.Errorf("latitude 95: solved %v, %q, %q", j.Solved, j.Reason, all)
	}
	if j = said("3.fits", site(card("NOTHING", "0")), frames[2]); !j.Solved || j.Axis == nil {
		t.Errorf("behind it, without a site: solved %v, %q, axis %v", j.Solved, j.Reason, j.Axis)
	}
}
