package hands

import (
	"testing"

	"pintle/cmd/pintle/device"
)

// What is refused before anything moves leaves RA to the person; what a new photograph
// mends is tried again; all else, after which the mount may not be where it was or may
// not obey, halts the hands.
func TestWhatFollowsAFault(t *testing.T) {
	for k, want := range map[device.Kind][2]bool{
		device.NotSeen: {true, false}, device.Moved: {true, false},
		device.Low: {false, true}, device.Meridian: {false, true}, device.NearPole: {false, true}, device.Daylight: {false, true}, device.TooMuch: {false, true},
		device.Parked: {false, true}, device.Contrary: {false, true}, device.NoConsent: {false, true}, device.Unfit: {false, true},
		device.LinkLost: {}, device.Runaway: {}, device.Stuck: {}, device.WrongWay: {}, device.DecMoved: {}, device.Silent: {}, device.TooFast: {}, device.Refused: {}, device.Gone: {},
	} {
		err := device.NewFault(k, "do something", "invented")
		if a, h := again(err), harmless(err); a != want[0] || h != want[1] {
			t.Errorf("%s: tried again %v, left to the person %v", k, a, h)
		}
	}
}
