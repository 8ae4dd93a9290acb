package shoot

import (
	"time"

	"pintle/cmd/pintle/device"
)

// Shown is what a frame shows, as far as its exposure matters.
type Shown struct {
	Stars int // found
	Burnt int // of them, with pixels at the top of the range
	// Sky is the background as a share of the range, 0 to 1.
	Sky float64
}

// Bounds of what a frame should show. No source; chosen on the program's
// simulated nights: 30 stars make a frame sure to be recognised, and a
// background at half of the range leaves stars too little.
const (
	fewStars   = 30
	burntShare = 0.5
	brightSky  = 0.5
	step       = 2
)

// Change says why an exposure is changed.
type Change string

// The reasons.
const (
	NoChange  Change = ""
	FewStars  Change = "few stars"
	BurntOut  Change = "burnt out"
	BrightSky Change = "bright sky"
)

// Next returns the exposure for the next frame, within the camera's limits: the
// time is doubled when too few stars show, and halved when the sky fills half of
// the range or most stars are burnt. NoChange when there is no need or no room.
func Next(now device.Exposure, s Shown, cam device.CameraInfo, longest time.Duration) (device.Exposure, Change) {
	next, why := now, NoChange
	switch {
	case s.Sky > brightSky:
		next.Time, why = now.Time/step, BrightSky
	case s.Stars >= fewStars && float64(s.Burnt) > burntShare*float64(s.Stars):
		next.Time, why = now.Time/step, BurntOut
	case s.Stars < fewStars && s.Sky < brightSky/step:
		next.Time, why = now.Time*step, FewStars
	}
	if cam.Longest > 0 {
		longest = min(longest, cam.Longest)
	}
	next.Time = max(min(next.Time, longest), cam.Shortest, time.Millisecond)
	if next.Time == now.Time {
		return now, NoChange
	}
	return next, why
}
