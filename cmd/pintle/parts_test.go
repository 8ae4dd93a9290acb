package main

import (
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"

	"pintle/cmd/pintle/terminal"
	"pintle/cmd/pintle/words"
)

// What --more says a stated error is made of are the parts that --json has, under their
// names.
func TestPartsAreToldUnderTheirNames(t *testing.T) {
	if testing.Short() {
		t.Skip("slow")
	}
	t.Parallel()
	frames, err := filepath.Glob(shared(t, "nights", "southern-yard", "frame-0*.fits"))
	if err != nil || len(frames) != 3 {
		t.Fatal(frames, err)
	}
	told := []string{"axis", "--no-journal"}
	_, out, _ := pintle(t, append(append(told, "--json"), frames...)...)
	var j terminal.AxisAnswer
	if err := json.Unmarshal([]byte(out), &j); err != nil || j.Made == nil {
		t.Fatal(err, out)
	}
	m := j.Made
	want := "the error of " + words.SigmaOf(j.Sigma.Total) + " is made of: stars " + words.SigmaOf(m.Stars.Total) +
		", mount and air " + words.SigmaOf(m.Mount.Total) + ", refraction " + words.SigmaOf(m.Refraction.Total)
	if _, out, _ = pintle(t, append(append(told, "--more"), frames...)...); !strings.Contains(out, want) {
		t.Errorf("%q is not in %s", want, out)
	}
}
