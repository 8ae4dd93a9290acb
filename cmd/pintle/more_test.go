package main

import (
	"encoding/json"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"pintle/cmd/pintle/terminal"
	"pintle/index/sphere"
)

// The pointing told, against the truth of the shared night (truth.json and
// spec.json, a simulator that shares no code with the program): its last frame
// looks at the place below, 8 degrees and 22 arcmin from the mount's equator.
func TestPointingOfTheLastFrame(t *testing.T) {
	if testing.Short() {
		t.Skip("slow")
	}
	t.Parallel()
	frames, err := filepath.Glob(shared(t, "nights", "southern-yard", "frame-0*.fits"))
	if err != nil || len(frames) != 3 {
		t.Fatal(frames, err)
	}
	status, out, errs := pintle(t, append([]string{"axis", "--json", "--no-journal"}, frames...)...)
	var j terminal.AxisAnswer
	if err := json.Unmarshal([]byte(out), &j); err != nil || status != 0 || j.Pointing == nil {
		t.Fatalf("status %d, %v: %s%s", status, err, out, errs)
	}
	const deg = sphere.Degree
	truth := sphere.SkyAt(2.103724*deg, 8.126964*deg)
	p := j.Pointing
	if d := sphere.SkyAt(sphere.Angle(p.RA)*deg, sphere.Angle(p.Dec)*deg).Sep(truth); d > 2*sphere.Arcsecond {
		t.Errorf("last frame at %.5f %.5f, %.1f arcsec off", p.RA, p.Dec, d.Arcseconds())
	}
	if d := p.MountDec - (8 + 22.0/60); math.Abs(d) > 0.001 {
		t.Errorf("declination on the mount %.5f", p.MountDec)
	}
	status, out, errs = pintle(t, append([]string{"axis", "--more", "--no-journal"}, frames...)...)
	for _, want := range []string{"RA 00h08m24.9s  Dec +08°07'3", "of date ", "98.366° from the axis", "the frames about one rotation"} {
		if !strings.Contains(out, want) {
			t.Errorf("status %d: %q is not in %s%s", status, want, out, errs)
		}
	}
}
