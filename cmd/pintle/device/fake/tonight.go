package fake

import (
	"time"

	"pintle/axis/place"
	"pintle/cmd/night"
	"pintle/index/sphere"
)

// Tonight returns the spec of an invented night that is now: at a longitude where
// it is an hour past midnight, with a camera that looks 15 degrees west of the
// meridian, so that a mount may be turned, and shows many stars in 2 s.
func Tonight(now time.Time, seed uint64, south bool) night.Spec {
	s := night.Random(seed, south)
	u := now.UTC()
	h := 1 - float64(u.Hour()) - float64(u.Minute())/60
	s.Site = place.Site{Lat: 48 * sphere.Degree, Lon: (sphere.Angle(h) * sphere.Hour).Wrap(), Elev: s.Site.Elev}
	s.Start, s.Setup.Dec, s.Setup.Tracking = u, 40*sphere.Degree, true
	west := -15 * sphere.Degree // about the axis, right-handed
	if south {
		s.Site.Lat, s.Setup.Dec, west = -35*sphere.Degree, -s.Setup.Dec, -west
	}
	s.Air = place.StandardAir(s.Site.Elev)
	s.Frames = []night.Frame{{Pose: night.Pose{Turn: west}}}
	s.Camera.Exposure = 2 * time.Second
	s.Camera.Aperture *= 2
	return s
}
