package main

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pintle/cmd/pintle/terminal"
)

// TestRehearsal turns the pretended mount as a user would, by what the lines say,
// until the axis is within the tolerance.
func TestRehearsal(t *testing.T) {
	if !*long {
		t.Skip("takes long: -long")
	}
	if testing.Short() {
		t.Skip("needs the star index and renders frames")
	}
	t.Parallel() // it waits for frames most of the time
	p := launch(t, "demo", "--live", "--seed", "3", "--every", "1s", "--json", "--port", "0", "--tolerance", "0.5")
	link := p.link(t)
	u, err := url.Parse(link)
	if err != nil {
		t.Fatal(err)
	}
	do := func(name string, v float64) {
		t.Helper()
		r, err := http.NewRequest("POST", fmt.Sprintf("%sdo/%s?v=%g", link, name, v), nil)
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Origin", "http://"+u.Host)
		a, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		a.Body.Close()
		if a.StatusCode != http.StatusNoContent {
			t.Fatalf("%s %g: %s", name, v, a.Status)
		}
	}
	// until returns the first line that shows something, or the eighth: a frame in
	// the making, and those that wait, may not have seen a turn.
	until := func(ok func(terminal.LiveLine) bool) (j terminal.LiveLine) {
		t.Helper()
		for range 8 {
			if j = p.line(t); !j.Simulated {
				t.Fatalf("a line of a rehearsal does not say so: %+v", j)
			}
			if ok(j) {
				break
			}
		}
		return j
	}
	until(func(j terminal.LiveLine) bool { return j.Solved })
	do("turn-ra", 20)
	measured := func(j terminal.LiveLine) bool { return j.Offset != nil && j.Phase == "measure" }
	first := until(measured)
	if first.Offset == nil {
		t.Fatalf("no axis after two places of RA: %+v", first)
	}
	do("turn-ra", 25)
	until(func(j terminal.LiveLine) bool { return j.Phase == "adjust" })
	j := until(measured)
	if j.Offset == nil {
		t.Fatalf("no axis after three places of RA: %+v", j)
	}
	do("cloud", 1)
	if j := until(func(j terminal.LiveLine) bool { return !j.Solved }); j.Solved || j.Offset != nil {
		t.Errorf("under cloud: %+v", j)
	}
	do("cloud", 0)
	j = until(func(j terminal.LiveLine) bool { return j.Solved })
	for range 6 {
		if j.Within || j.Offset == nil {
			break
		}
		sign := map[string]float64{"raise": 1, "lower": -1, "clockwise": 1, "counter-clockwise": -1}
		for i := range j.Moves {
			m := j.Moves[i]
			do(map[string]string{"altitude": "turn-alt", "azimuth": "turn-az"}[m.Adjuster], sign[m.Direction]*m.Arcmin)
			j = until(func(j terminal.LiveLine) bool { return strings.Contains(j.Note, m.Adjuster) })
			if j.Offset == nil {
				t.Fatalf("after a turn: %+v", j)
			}
		}
	}
	if !j.Within || j.Phase != "adjust" {
		t.Errorf("off by %.1f' at first, at the end %+v", first.Offset.Total, j)
	}
}

// What the person says goes before the gear file, in a rehearsal too.
func TestToleranceOfARehearsal(t *testing.T) {
	if testing.Short() {
		t.Skip("needs the star index and renders frames")
	}
	t.Parallel()
	home := t.TempDir()
	gear := filepath.Join(home, "config", "pintle", "gear.toml")
	if err := os.MkdirAll(filepath.Dir(gear), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(gear, []byte("tolerance = 1.5\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		want float64
	}{{nil, 1.5}, {[]string{"--tolerance", "3"}, 3}} {
		cmd := apart(t, home, append([]string{"demo", "--live", "--json", "--no-page", "--every", "1s"}, c.args...)...)
		out, err := cmd.StdoutPipe()
		if err == nil {
			err = cmd.Start()
		}
		if err != nil {
			t.Fatal(err)
		}
		var j terminal.LiveLine
		err = json.NewDecoder(out).Decode(&j)
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
		if err != nil || j.Tolerance != c.want {
			t.Errorf("%q: tolerance %g of %q (%v), want %g", c.args, j.Tolerance, j.ToleranceSource, err, c.want)
		}
	}
}
