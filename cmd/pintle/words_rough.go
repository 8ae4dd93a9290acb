package main

import (
	"fmt"
	"math"
	"strings"

	"pintle/axis/compass"
	"pintle/axis/place"
	"pintle/index/sphere"
)

const textRoughLong = `Sets the mount up by day, so that the night begins close to the pole: which way
to face it by compass, what the altitude scale must show, and the way without
a compass, by the shadow of a plumb line.

The compass bearing comes from the World Magnetic Model 2025, good until 2030.
Never look at the Sun, and never point optics at it.`

const textRoughExample = `  pintle rough --lat 52.1 --lon 13.2
  pintle rough --site garden --date 2026-11-27 --print
  pintle rough --star Vega --at 2026-11-27T18:00:00Z`

// latLon writes a place for people.
func latLon(s place.Site) string {
	ns, ew := "N", "E"
	if s.Lat < 0 {
		ns = "S"
	}
	lon := s.Lon.Wrap()
	if lon < 0 {
		ew = "W"
	}
	return fmt.Sprintf("%.3f° %s %.3f° %s, %.0f m", math.Abs(s.Lat.Degrees()), ns, math.Abs(lon.Degrees()), ew, s.Elev)
}

// where names the site.
func (h home) where() string {
	if h.name == "" {
		return latLon(h.site)
	}
	return h.name + " (" + latLon(h.site) + ")"
}

// eastWest writes a declination of the compass.
func eastWest(d sphere.Angle) string {
	if d < 0 {
		return fmt.Sprintf("%.1f° west", -d.Degrees())
	}
	return fmt.Sprintf("%.1f° east", d.Degrees())
}

// bearing writes an azimuth to the tenth, never as 360.0.
func bearing(a sphere.Angle) string {
	return fmt.Sprintf("%.1f°", math.Mod(math.Round(a.Turn().Degrees()*10)/10, 360))
}

// winds are the sixteen points of the compass.
var winds = strings.Fields("N NNE NE ENE E ESE SE SSE S SSW SW WSW W WNW NW NNW")

func wind(az sphere.Angle) string {
	return winds[int(math.Round(az.Turn().Degrees()/22.5))%16]
}

// showRough prints the set-up by day.
func (a *app) showRough(r *rough, plain bool) {
	box, strong := "  ", a.bold
	if plain {
		box, strong = "[ ] ", func(s string) string { return s }
	}
	p := func(format string, args ...any) { fmt.Fprintf(a.out, format+"\n", args...) }
	_, trueAlt := r.true_.AzAlt()
	_, seenAlt := r.refracted.AzAlt()
	p("Setting up by day: %s, %s", r.where(), r.date.Format("2 January 2006"))
	p("")
	p("   face the polar axis    %s", strong(strings.ToUpper(r.facingName())))
	if r.compass.Zone() == compass.NoCompass {
		p("   compass bearing        %s", strong("none: a compass is useless here"))
	} else {
		p("   compass bearing        %s", strong(bearing(r.compass.Bearing(r.facing))+" magnetic"))
	}
	p("   true bearing           %s", bearing(r.facing))
	p("   altitude scale         %s", strong(fmt.Sprintf("%.1f°", trueAlt.Degrees())))
	p("")
	a.roughSteps(r, box, p)
	a.roughCompass(r, p)
	a.roughSun(r, p)
	p("")
	p("Through the air the pole stands at %.3f°, %.1f' above the latitude; \"pintle axis\"", seenAlt.Degrees(), (seenAlt - trueAlt).Arcminutes())
	p("measures against it tonight. This set-up only has to bring the pole into reach.")
	p("NEVER LOOK AT THE SUN, AND NEVER POINT THE TELESCOPE, FINDER OR CAMERA AT IT.")
}

func (a *app) roughSteps(r *rough, box string, p func(string, ...any)) {
	p("%s1  Level the tripod, and turn the azimuth adjuster to the middle of its travel.", box)
	p("%s2  Set the altitude scale to the number above; scales are often off by a degree.", box)
	p("%s3  Read the bearing from a few steps behind, sighting along the axis, without", box)
	p("%s   keys, phone or car nearby. Turn the whole tripod, not the adjuster.", strings.Repeat(" ", len(box)))
	p("%s4  Level again, and check the altitude scale once more.", box)
	if ok, known := r.reachable(); known && !ok {
		p("    The altitude adjuster of %s goes from %g° to %g° and does not reach the", r.mountName, r.mount.AltMin, r.mount.AltMax)
		p("    pole: shorten or lengthen a leg, or use a wedge.")
	}
	if trueAlt := r.site.Lat.Abs(); trueAlt < 10*sphere.Degree {
		p("    Near the equator the axis lies almost flat: mind that weights and tube clear")
		p("    the tripod all round before you let go.")
	}
}

func (a *app) roughCompass(r *rough, p func(string, ...any)) {
	p("")
	p("The compass: declination %s, changing by %+.2f° a year; the model is good to", eastWest(r.compass.D), r.compass.PerYear.D.Degrees())
	p("±%.1f°, but beside a mount or a car a needle is off by %.0f° to %.0f°.", r.compass.Sigma().Degrees(), steel.Degrees(), nearSteel.Degrees())
	switch r.compass.Zone() {
	case compass.NoCompass:
		p("WARNING: the horizontal field is only %.0f nT (below 2000): no needle can be", r.compass.H)
		p("trusted here. Use the shadow, or the stars.")
	case compass.Caution:
		p("WARNING: the horizontal field is only %.0f nT (below 6000): a needle is sluggish", r.compass.H)
		p("and easily led astray here. Check it by the shadow.")
	}
	if y := r.compass.Outside; y != 0 {
		p("WARNING: the model holds from 2025 to 2030; this day lies %.1f years outside, and", math.Abs(y))
		p("the declination may be off by some tenths of a degree more.")
	}
	switch covered, known := r.covers(); {
	case covered:
		p("The azimuth adjuster of %s reaches %g° to either side: that covers it.", r.mountName, r.mount.AzRange/2)
	case known:
		p("The azimuth adjuster of %s reaches only %g° to either side: the tripod may", r.mountName, r.mount.AzRange/2)
		p("have to be turned once more after the first measurement.")
	default:
		p("Check that your azimuth adjuster reaches that far to either side (tell it with")
		p("\"pintle gear add mount\").")
	}
}

func (a *app) roughSun(r *rough, p func(string, ...any)) {
	p("")
	switch {
	case len(r.sun) == 0:
		p("The Sun does not help on this day: it stays low, or overhead.")
	case r.asked && r.sun[0].alt < lowSun:
		p("The Sun is too low at %s for a shadow.", r.sun[0].at.Format("15:04 MST"))
	default:
		p("Without a compass: hang a plumb line and look along its shadow, away from the")
		p("Sun. Turned by the angle in the last column, seen from above, you face the pole.")
		p("")
		p("   %-12s %9s %9s %9s   %s", "time", "Sun at", "up", "shadow", "turn to the pole")
		for _, s := range r.sun {
			p("   %-12s %9s %8.1f° %9s   %s", s.at.Format("15:04 MST"), bearing(s.az), s.alt.Degrees(), bearing(s.shadow()), turnWords((r.facing - s.shadow()).Wrap()))
		}
	}
	if r.star != nil {
		p("")
		p("%s at %s: true bearing %s, %.1f° up; the pole's bearing is", r.star.name, r.star.at.Format("15:04 MST"), bearing(r.star.az), r.star.alt.Degrees())
		p("%s from the star's.", turnWords((r.facing - r.star.az).Wrap()))
	}
}

// turnWords says a turn seen from above.
func turnWords(d sphere.Angle) string {
	if d < 0 {
		return fmt.Sprintf("%.1f° counter-clockwise", -d.Degrees())
	}
	return fmt.Sprintf("%.1f° clockwise", d.Degrees())
}
