package words

import (
	"strings"
	"testing"
	"time"

	"pintle/axis"
	"pintle/axis/drive"
	"pintle/axis/place"
	"pintle/axis/plan"
	"pintle/cmd/pintle/planning"
	"pintle/cmd/pintle/rough"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/targets"
	"pintle/index/sphere"
)

const degree, minuteOfArc = sphere.Degree, sphere.Arcminute

// ways holds what was said against what must be said.
func ways(t *testing.T, said map[string]string) {
	t.Helper()
	for want, got := range said {
		if got != want {
			t.Errorf("said %q, want %q", got, want)
		}
	}
}

func hasAll(t *testing.T, text string, parts ...string) {
	t.Helper()
	for _, p := range parts {
		if !strings.Contains(text, p) {
			t.Errorf("no %q in:\n%s", p, text)
		}
	}
}

// Arrows point where the words say: up, down, and for who stands behind the mount and
// faces the pole clockwise from above is to the right, as on a dial seen from above.
func TestSignsAndWays(t *testing.T) {
	for d, want := range map[axis.Direction]string{axis.Raise: "▲ up", axis.Lower: "▼ down", axis.Clockwise: "▶ right", axis.CounterClockwise: "◀ left"} {
		if got := Sign(d) + " " + Way(d); got != want {
			t.Errorf("%v: %q, want %q", d, got, want)
		}
	}
	ways(t, map[string]string{
		"altitude went up 10.0'; azimuth went left 5.00'; RA turned 3.0°": touched(&axis.Seen{Turns: axis.Turns{Alt: 10 * minuteOfArc, Az: -5 * minuteOfArc, RA: -3 * degree}}),
		"altitude went down 10.0'; azimuth went right 5.00'":              touched(&axis.Seen{Turns: axis.Turns{Alt: -10 * minuteOfArc, Az: 5 * minuteOfArc}}),
	})
}

// Places, bearings and coordinates keep their side of the sky and of the Earth. The
// points of the compass go from north through east, 22.5 degrees each.
func TestSidesOfNumbers(t *testing.T) {
	at := func(lat, lon float64) string {
		return LatLon(place.Site{Lat: sphere.Angle(lat) * degree, Lon: sphere.Angle(lon) * degree, Elev: 430})
	}
	ways(t, map[string]string{
		"31.400° S 121.900° E, 430 m": at(-31.4, 121.9),
		"31.400° N 121.900° W, 430 m": at(31.4, -121.9),
		"31.400° S 70.900° W, 430 m":  at(-31.4, 289.1),
		"0.200° S 0.100° W, 430 m":    at(-0.2, -0.1),
		"31.40° S":                    Latitude(-31.4 * degree),
		"31.40° N":                    Latitude(31.4 * degree),
		"70.90° W":                    longitude(289.1 * degree),
		"121.90° E":                   longitude(121.9 * degree),
		"12.3° west":                  EastWest(-12.3 * degree),
		"12.3° east":                  EastWest(12.3 * degree),
		"N E S W":                     strings.Join([]string{Wind(359 * degree), Wind(90 * degree), Wind(-180 * degree), Wind(270 * degree)}, " "),
		"NE SSE WSW":                  strings.Join([]string{Wind(45 * degree), Wind(157.5 * degree), Wind(-112.5 * degree)}, " "),
		"350.0°":                      Bearing(-10 * degree),
		"0.0°":                        Bearing(359.97 * degree),
		"-00°30'":                     DM(-0.5 * degree),
		"+07°18'":                     DM(7.3 * degree),
		"-00°30'36\"":                 DMS(-0.51 * degree),
		"+07°18'00\"":                 DMS(7.3 * degree),
		"23h20m":                      HM(-10 * degree),
		"23h20m00.0s":                 HMS(-10 * degree),
		"-1.50' ± 3.0\"":              PlusMinus(-1.5*minuteOfArc, 3*sphere.Arcsecond),
		"+1.50' ± 0.20'":              PlusMinus(1.5*minuteOfArc, 12*sphere.Arcsecond),
		"2.0°":                        SmallAngle(2 * degree),
		"12'":                         SmallAngle(12 * minuteOfArc),
		"0.50' (30\")":                SmallAngle(minuteOfArc / 2),
	})
}

// Drifts, hour angles and turns of RA keep their direction: hour angles grow westward, so
// a star before the meridian has a negative one and stands east of it.
func TestSidesOfTheSky(t *testing.T) {
	rate := func(x sphere.Angle) axis.Rate {
		return axis.Rate{PerHour: x * sphere.Arcsecond, Err: sphere.Arcsecond}
	}
	ways(t, map[string]string{
		"20.0\" ± 1.0\" an hour north": Drift(rate(20)),
		"20.0\" ± 1.0\" an hour south": Drift(rate(-20)),
		"20\" an hour west":            DriftRA(rate(20)),
		"20\" an hour east":            DriftRA(rate(-20)),
		"2.0 h before the meridian":    HourAngle(-30 * degree),
		"2.0 h after the meridian":     HourAngle(30 * degree),
		"on the meridian":              HourAngle(0),
		"west":                         Side(true),
		"east":                         Side(false),
		"all east of the meridian":     side(-60*degree, -10*degree),
		"all west of the meridian":     side(10*degree, 60*degree),
		"across the meridian: the mount must reach both sides without being turned over": side(-30*degree, 30*degree),
		"1.0 sigma: they agree":           Agreement(1),
		"2.5 sigma: they barely agree":    Agreement(2.5),
		"3.1 sigma: THEY DISAGREE":        Agreement(3.1),
		"10.0° counter-clockwise":         turnFromAbove(350 * degree),
		"10.0° clockwise":                 turnFromAbove(-350 * degree),
		"; no Moon":                       moon(&plan.Sky{MoonAlt: -degree}),
		"; Moon 25% lit, 40° up in the W": moon(&plan.Sky{MoonAlt: 40 * degree, Moon: place.Moon{Lit: 0.25, Body: place.Body{Seen: sphere.LocalAt(270*degree, 40*degree)}}}),
	})
	var told session.Turn
	told.West, told.Reported, told.Time, told.StoppedBy = true, 20*degree, 7*time.Second, "angle"
	hasAll(t, Turned(told), "RA turned by 20.0° to the west in 7 s.")
	hasAll(t, TurnQuestion("fork", &session.Question{Angle: 20 * degree, Rate: 3 * degree, Time: 7 * time.Second}), "Turn RA of fork by 20° to the east, at 3° a second, for 7 s?")
}

// By day, in both hemispheres: the turn that is said, from the shadow or from the star,
// ends at the pole, and the compass shows the bearing of the pole less the declination
// of its needle.
func TestRoughWaysEndAtThePole(t *testing.T) {
	zone := time.FixedZone("", 8*3600)
	for _, c := range []struct {
		lat   sphere.Angle
		faces sphere.Angle
	}{{-31.4 * degree, 180 * degree}, {40 * degree, 0}} {
		p := func(az float64) rough.Pointer {
			return rough.Pointer{Name: "Canopus", At: time.Date(2026, 11, 25, 9, 0, 0, 0, zone), Az: sphere.Angle(az) * degree, Alt: 30 * degree}
		}
		star := p(150)
		s := &rough.Setup{Facing: c.faces, South: c.lat < 0, Sun: []rough.Pointer{p(100)}, Star: &star,
			True: sphere.LocalAt(c.faces, c.lat.Abs()), Refracted: sphere.LocalAt(c.faces, c.lat.Abs()+1.5*minuteOfArc)}
		s.Site.Lat = c.lat
		s.Compass.D, s.Compass.H, s.Compass.PerYear.D = -5*degree, 20000, -0.1*degree
		text := strings.Join(RoughSun(s), "\n")
		// The Sun stands at 100 degrees, its shadow falls to 280; the star is at 150.
		if c.faces == 0 {
			hasAll(t, text, "280.0°   80.0° clockwise", "150.0° counter-clockwise from the star's")
		} else {
			hasAll(t, text, "280.0°   100.0° counter-clockwise", "30.0° clockwise from the star's")
		}
		// A needle that points 5 degrees west of north reads true bearings 5 degrees too large.
		hasAll(t, RoughBearing(s), Bearing(c.faces+5*degree)+" magnetic")
		hasAll(t, strings.Join(RoughCompass(s), "\n"), "declination 5.0° west, changing by -0.10° a year")
		hasAll(t, strings.Join(RoughEnd(s), "\n"), ", 1.5' above the latitude")
	}
}

// What stands on every screen: which pole, in which hemisphere, and whether the axis is
// within the tolerance.
func TestStandingLines(t *testing.T) {
	site := func(lat sphere.Angle) session.Setting {
		return session.Setting{Settled: true, Site: place.Site{Lat: lat * degree, Lon: 121.9 * degree}, Pole: axis.Refracted, Tolerance: minuteOfArc, Zone: time.FixedZone("AWST", 8*3600)}
	}
	south, north, bare := site(-31.4), site(31.4), site(-31.4)
	bare.Pole = axis.True
	king := site(-31.4)
	king.King = &session.King{Target: targets.Target{Name: "X"}}
	noon := time.Date(2026, 11, 25, 12, 40, 1, 0, time.UTC)
	ways(t, map[string]string{
		"SOUTH, refracted": Pole(&south),
		"NORTH, refracted": Pole(&north),
		"SOUTH, true":      Pole(&bare),
		"20:40:01 AWST":    Clock(noon, south.Zone),
		"12:40:01 UTC":     Clock(noon, nil),
	})
	hasAll(t, Pole(&king), "SOUTH, King's for ")
	st := session.State{Setting: south, Answer: &session.Answer{From: "a.fits"}}
	st.Answer.Offset.Total, st.Answer.Offset.Err.Total = 65.4*minuteOfArc, 2*sphere.Arcsecond
	hasAll(t, OffBy(&st), "off by 65.4' ± 2.0\"", "NOT YET within the tolerance of 1'")
	st.Within = true
	if s := OffBy(&st); strings.Contains(s, "NOT YET") || !strings.Contains(s, "WITHIN the tolerance") {
		t.Error(s)
	}
	ways(t, map[string]string{"": Old(&st, time.Second), "OLD: no frame for 50 s": Old(&st, 50*time.Second)})
	st.Old = true
	ways(t, map[string]string{"OLD: of a.fits": Old(&st, time.Second)})
}

// What frames contradict is said with the side it lies on.
func TestContradictionsHaveTheirSide(t *testing.T) {
	say := func(k axis.ContradictionKind, a sphere.Angle) string {
		return contradiction(&axis.Contradiction{Kind: k, Names: []string{"a", "b"}, Angle: a * degree}, session.Source{})
	}
	hasAll(t, say(axis.BelowHorizon, -36), "would have looked 36° below the horizon")
	hasAll(t, say(axis.StarsBelow, -5), "stood 5° below the horizon")
	hasAll(t, say(axis.InDaylight, 13), "the Sun at altitude 13°")
	hasAll(t, say(axis.InDaylight, -2), "the Sun at altitude -2°")
	for want, n := range map[string]session.Note{"but for the sign of its latitude:": {Lat: true}, "but for the sign of its longitude:": {Lon: true}, "but for the sign of its latitude and longitude:": {Lat: true, Lon: true}} {
		n.Kind, n.Other = session.SiteMirrored, "yard"
		hasAll(t, Note(n), "that of yard in the gear file "+want)
	}
}

// A known error is told in its parts, and a longer trail than accepted as such.
func TestKnownErrorKeepsItsParts(t *testing.T) {
	l := &planning.Limits{Exposure: drive.Exposure{Focal: 400, Pixel: 3.76, Time: time.Minute, Trail: 1}, Known: &planning.Known{Alt: 3 * minuteOfArc, AzKnob: -5 * minuteOfArc, Sep: 6 * minuteOfArc, HA: -15 * degree}}
	hasAll(t, strings.Join(Effect(l), "\n"), "altitude +3.00', azimuth adjuster -5.00'", "1.0 h before the meridian")
	hasAll(t, strings.Join(Effect(l), "\n"), "field rotation          left out")
	hasAll(t, strings.Join(LimitNotes(l.Exposure), "\n"), "rotation is left out")
	l.Exposure.Corner, l.Known.Effect.Rotated = degree, -3*sphere.Arcsecond
	hasAll(t, strings.Join(Effect(l), "\n"), "field rotation          3.0\" unguided")
	if notes := LimitNotes(l.Exposure); len(notes) > 0 {
		t.Errorf("the size is known: %q", notes)
	}
	for trail, want := range map[float64]string{0.5: "within the 1 px you accept", 2: "MORE THAN the 1 px you accept"} {
		l.Known.Trail = trail
		ways(t, map[string]string{want: TrailVerdict(l)})
	}
}
