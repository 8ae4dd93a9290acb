package verb

import (
	"testing"

	"pintle/cmd/night"
	"pintle/index/sphere"
)

// By hand RA turns to the west in either hemisphere: which way round the axis that is
// differs (night.Pose).
func TestHandPose(t *testing.T) {
	for line, want := range map[string]night.Pose{"alt 5": {Alt: 5 * sphere.Arcminute}, "AZ -10": {Az: -10 * sphere.Arcminute}, "ra 20": {Turn: 20 * sphere.Degree}} {
		if got, ok := handPose(line, true); !ok || got != want {
			t.Errorf("%s: %+v, %v", line, got, ok)
		}
	}
	if got, ok := handPose("ra 20", false); !ok || got.Turn != -20*sphere.Degree {
		t.Errorf("in the north: %+v, %v", got, ok)
	}
	for _, bad := range []string{"", "ra", "ra x", "ra 61", "alt NaN", "az 601", "dec 5"} {
		if got, ok := handPose(bad, false); ok {
			t.Errorf("%q: %+v", bad, got)
		}
	}
}
