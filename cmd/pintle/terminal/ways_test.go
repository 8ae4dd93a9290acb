package terminal

import (
	"testing"
	"time"

	"pintle/cmd/pintle/rough"
	"pintle/cmd/pintle/session"
	"pintle/index/sphere"
)

// By day in JSON: the turn from the shadow to the pole is positive clockwise. The Sun
// stands at azimuth 100, its shadow falls to 280: from there the south pole is 100 degrees
// counter-clockwise, the north pole 80 clockwise.
func TestRoughJSONTurnsToThePole(t *testing.T) {
	p := rough.Pointer{Name: "Sun", At: time.Date(2026, 11, 25, 1, 0, 0, 0, time.UTC), Az: 100 * sphere.Degree, Alt: 30 * sphere.Degree}
	for facing, want := range map[sphere.Angle]float64{180 * sphere.Degree: -100, 0: 80} {
		got := pointer(&rough.Setup{Facing: facing}, p)
		if d := got.ToPole - want; d > 1e-9 || d < -1e-9 || got.Shadow < 279.999 || got.Shadow > 280.001 || got.Az < 99.999 || got.Az > 100.001 {
			t.Errorf("facing %v: %+v, want %g", facing, got, want)
		}
	}
}

// A turn of RA is told with the way the telescope went.
func TestTurnJSONKeepsItsWay(t *testing.T) {
	h := &session.Handling{Turns: []session.Turn{{West: true, Asked: 20 * sphere.Degree}, {Asked: 20 * sphere.Degree}}}
	if got := turns(h); len(got) != 2 || got[0].Direction != "west" || got[1].Direction != "east" {
		t.Errorf("%+v", got)
	}
}
