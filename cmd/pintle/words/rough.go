package words

import (
	"fmt"
	"math"
	"strings"

	"pintle/axis/compass"
	"pintle/cmd/pintle/rough"
	"pintle/index/sphere"
)

const RoughLong = `Sets the mount up by day, so that the night begins close to the pole: which way
to face it by compass, what the altitude scale must show, and the way without
a compass, by the shadow of a plumb line.

The compass bearing comes from the World Magnetic Model 2025, good until 2030.
Never look at the Sun, and never point optics at it.`

const RoughExample = `  pintle rough --lat 31.4S --lon 121.9E
  pintle rough --site garden --date 2026-11-27 --print
  pintle rough --star Vega --at 2026-11-27T18:00:00Z`

// RoughBearing is what the compass must show.
func RoughBearing(s *rough.Setup) string {
	if s.Compass.Zone() == compass.NoCompass {
		return "none: a compass is useless here"
	}
	return Bearing(s.Compass.Bearing(s.Facing)) + " magnetic"
}

// RoughSteps tell what to do, box standing before each step.
func RoughSteps(s *rough.Setup, box string) []string {
	var l lines
	l.add("%s1  Level the tripod, and turn the azimuth adjuster to the middle of its travel.", box)
	l.add("%s2  Set the altitude scale to the number above; scales are often off by a degree.", box)
	l.add("%s3  Read the bearing from a few steps behind, sighting along the axis, without", box)
	l.add("%s   keys, phone or car nearby. Turn the whole tripod, not the adjuster.", strings.Repeat(" ", len(box)))
	l.add("%s4  Level again, and check the altitude scale once more.", box)
	if ok, known := s.Reachable(); known && !ok {
		l.add("    The altitude adjuster of %s goes from %g° to %g° and does not reach the", s.MountName, s.Mount.AltMin, s.Mount.AltMax)
		l.add("    pole: shorten or lengthen a leg, or use a wedge.")
	}
	if s.Site.Lat.Abs() < 10*sphere.Degree {
		l.add("    Near the equator the axis lies almost flat: mind that weights and tube clear")
		l.add("    the tripod all round before you let go.")
	}
	return l
}

// RoughCompass says what a needle is worth here, and whether the mount makes
// good what it is off.
func RoughCompass(s *rough.Setup) []string {
	var l lines
	c := s.Compass
	l.add("The compass: declination %s, changing by %+.2f° a year; the model is good to", EastWest(c.D), c.PerYear.D.Degrees())
	l.add("±%.1f°, but beside a mount or a car a needle is off by %.0f° to %.0f°.", c.Sigma().Degrees(), rough.Steel.Degrees(), rough.NearSteel.Degrees())
	switch c.Zone() {
	case compass.NoCompass:
		l.add("WARNING: the horizontal field is only %.0f nT (below 2000): no needle can be", c.H)
		l.add("trusted here. Use the shadow, or the stars.")
	case compass.Caution:
		l.add("WARNING: the horizontal field is only %.0f nT (below 6000): a needle is sluggish", c.H)
		l.add("and easily led astray here. Check it by the shadow.")
	}
	if y := c.Outside; y != 0 {
		l.add("WARNING: the model holds from 2025 to 2030; this day lies %.1f years outside, and", math.Abs(y))
		l.add("the declination may be off by some tenths of a degree more.")
	}
	switch covered, known := s.Covers(); {
	case covered:
		l.add("The azimuth adjuster of %s reaches %g° to either side: that covers it.", s.MountName, s.Mount.AzRange/2)
	case known:
		l.add("The azimuth adjuster of %s reaches only %g° to either side: the tripod may", s.MountName, s.Mount.AzRange/2)
		l.add("have to be turned once more after the first measurement.")
	default:
		l.add("Check that your azimuth adjuster reaches that far to either side (tell it with")
		l.add("\"pintle gear add mount\").")
	}
	return l
}

// RoughSun tells the way without a compass, by the Sun's shadow and a star.
func RoughSun(s *rough.Setup) []string {
	var l lines
	switch {
	case len(s.Sun) == 0:
		l.add("The Sun does not help on this day: it stays low, or overhead.")
	case s.Moment && s.Sun[0].Alt < rough.LowSun:
		l.add("The Sun is too low at %s for a shadow.", s.Sun[0].At.Format("15:04 MST"))
	default:
		l.add("Without a compass: hang a plumb line and look along its shadow, away from the")
		l.add("Sun. Turned by the angle in the last column, seen from above, you face the pole.")
		l.add("")
		l.add("   %-12s %9s %9s %9s   %s", "time", "Sun at", "up", "shadow", "turn to the pole")
		for _, p := range s.Sun {
			l.add("   %-12s %9s %8.1f° %9s   %s", p.At.Format("15:04 MST"), Bearing(p.Az), p.Alt.Degrees(), Bearing(p.Shadow()), turnFromAbove(s.Facing-p.Shadow()))
		}
	}
	if p := s.Star; p != nil {
		l.add("")
		l.add("%s at %s: true bearing %s, %.1f° up; the pole's bearing is", p.Name, p.At.Format("15:04 MST"), Bearing(p.Az), p.Alt.Degrees())
		l.add("%s from the star's.", turnFromAbove(s.Facing-p.Az))
	}
	return l
}

// turnFromAbove says a turn the short way round, seen from above.
func turnFromAbove(d sphere.Angle) string {
	if d = d.Wrap(); d < 0 {
		return fmt.Sprintf("%.1f° counter-clockwise", -d.Degrees())
	}
	return fmt.Sprintf("%.1f° clockwise", d.Degrees())
}

// RoughEnd says what the set-up by day is not for.
func RoughEnd(s *rough.Setup) []string {
	_, bare := s.True.AzAlt()
	_, seen := s.Refracted.AzAlt()
	var l lines
	l.add("Through the air the pole stands at %.3f°, %.1f' above the latitude; \"pintle axis\"", seen.Degrees(), (seen - bare).Arcminutes())
	l.add("measures against it tonight. This set-up only has to bring the pole into reach.")
	l.add("NEVER LOOK AT THE SUN, AND NEVER POINT THE TELESCOPE, FINDER OR CAMERA AT IT.")
	return l
}
