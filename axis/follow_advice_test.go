package axis

import (
	"fmt"
	"testing"

	"pintle/index/sphere"
)

// What is said of a thing that must not be touched follows the odds of what it
// was: a name where one is at least three times as likely as the other, both
// where they are nearer, nothing as long as all together are unlikely. A moved
// tripod and a moved camera ask for different things of the user, so neither is
// named without need.
func TestAdviceNamesWhatIsLikely(t *testing.T) {
	for _, c := range []struct {
		dec, tripod, camera float64
		want                Advice
	}{
		{0, 0.8, 0.1, TripodMoved}, {0, 0.1, 0.8, CameraMoved},
		{0, 0.5, 0.25, TripodOrCamera}, {0, 0.25, 0.5, TripodOrCamera}, {0, 0.4, 0.4, TripodOrCamera},
		{0, 0.62, 0.2, TripodMoved}, {0, 0.58, 0.2, TripodOrCamera},
		{0, 0.2, 0.62, CameraMoved}, {0, 0.2, 0.58, TripodOrCamera},
		{0.6, 0.3, 0, DecTurned}, {0.4, 0.3, 0.2, TripodOrCamera}, {0.3, 0.5, 0.05, TripodMoved},
		{0.1, 0.1, 0.05, NoNeed}, {0.35, 0, 0, DecTurned}, {0, 0.35, 0, TripodMoved}, {0, 0, 0.35, CameraMoved},
	} {
		f := &Follower{Tolerance: sphere.Arcminute, branches: []branch{
			{weight: 1 - c.dec - c.tripod - c.camera}, {weight: c.dec, touched: TouchDec | TouchRA},
			{weight: c.tripod / 2, touched: TouchTripod}, {weight: c.tripod / 2, touched: TouchTripod | TouchRA}, {weight: c.camera, touched: TouchCamera},
		}}
		s := &State{}
		s.Offset.Total = sphere.Degree // far off: no reason to measure better
		if got := f.advise(s); got != c.want {
			t.Errorf("declination %g, tripod %g, camera %g: %s, want %s", c.dec, c.tripod, c.camera, fmt.Sprintf("%d (%v)", got, got), c.want)
		}
	}
}
