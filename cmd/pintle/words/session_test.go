package words

import (
	"strings"
	"testing"
	"time"

	"pintle/axis"
	"pintle/axis/place"
	"pintle/cmd/pintle/session"
	"pintle/index/sphere"
)

// What would fit instead, in the words of someone who must find the mistake. A clock of
// a place further east shows later times (the Earth turns by 15 degrees an hour), so
// times that are too early fit a site further east as well.
func TestWhatWouldFit(t *testing.T) {
	at := func(lat, lon float64) place.Site {
		return place.Site{Lat: sphere.Angle(lat) * sphere.Degree, Lon: sphere.Angle(lon) * sphere.Degree}
	}
	const half = 30 * time.Minute
	for want, a := range map[string]axis.Alternative{
		"the latitude were 31.40° S":                                       {Mistake: axis.LatitudeSign, Site: at(-31.4, 121.9)},
		"the latitude were 31.40° N":                                       {Mistake: axis.LatitudeSign, Site: at(31.4, 121.9)},
		"the longitude were 121.90° W":                                     {Mistake: axis.LongitudeSign, Site: at(-31.4, -121.9)},
		"the longitude were 121.90° E":                                     {Mistake: axis.LongitudeSign, Site: at(-31.4, 121.9)},
		"the site were 31.40° S 70.00° W":                                  {Mistake: axis.BothSigns, Site: at(-31.4, -70)},
		"the times were of the site's zone, 8 h earlier (see --time-zone)": {Mistake: axis.ClockZone, Shift: -16 * half},
		"the times were of the site's zone, 3.5 h later (see --time-zone)": {Mistake: axis.ClockZone, Shift: 7 * half},
		"the clock were wrong: the times 5.5 h later to 7 h later, or the site 82° to 105° further east":    {Mistake: axis.ClockOff, Shift: 6 * time.Hour, Least: 11 * half, Most: 14 * half},
		"the clock were wrong: the times 9 h earlier to 8 h earlier, or the site 120° to 135° further west": {Mistake: axis.ClockOff, Shift: -17 * half, Least: -18 * half, Most: -16 * half},
		"the clock were wrong: the times 1 h earlier, or the site 15° further west":                         {Mistake: axis.ClockOff, Shift: -2 * half, Least: -2 * half, Most: -2 * half},
	} {
		if got := mistake(&a); got != want {
			t.Errorf("%+v: %q, want %q", a, got, want)
		}
	}
}

// A clock that is ahead of the computer's and one that went back are told apart.
func TestClockFar(t *testing.T) {
	for want, gap := range map[string]time.Duration{
		"lies 3.0 hours ahead of now": 3 * time.Hour,
		"is 9490 days old":            -9490 * 24 * time.Hour,
	} {
		if got := Note(session.Note{Kind: session.ClockFar, Frame: "a.jpg", Gap: gap}); !strings.Contains(got, "a.jpg "+want) {
			t.Errorf("%v: %s", gap, got)
		}
	}
}
