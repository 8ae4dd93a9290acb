package words

import (
	"fmt"
	"math"
	"strings"
	"time"

	"pintle/axis/compass"
	"pintle/axis/drive"
	"pintle/axis/place"
	"pintle/axis/plan"
	"pintle/cmd/pintle/rough"
	"pintle/index/sphere"
)

const EveningLong = `Opens the whole evening in a browser: the set-up by day, where to point, the
photographs, the adjusters, whether that is enough, and the report. Nothing is
typed in the dark. It runs on this computer alone; with --phone also on a phone
in the same network. All of it is kept in a folder: closing page, lid or program
loses nothing, and starting again goes on where the evening was.

A camera that the gear file has an address of (INDI or Alpaca) photographs when the
page asks it to. A mount with an address turns RA between photographs when it is
asked to, within the limits of "pintle axis --turn" and after a question each time:
stay beside it. STOP stands on every step.`

const EveningExample = `  pintle evening
  pintle evening --phone
  pintle evening --watch ~/captures`

// LeftUndone says what a camera was at when the program ended.
func LeftUndone(turned bool) string {
	if turned {
		return "The program ended while it photographed and the mount turned RA. Nothing turns by itself now: begin anew when you stand beside the mount."
	}
	return "The camera was photographing on and on when the program ended. Go on?"
}

// PlaceBack reads a place back to the person who said it, so that a wrong sign is
// noticed before it is dark: sentences.
func PlaceBack(s place.Site, now time.Time) []string {
	half, pole := "Northern", "NORTH"
	if s.Lat < 0 {
		half, pole = "Southern", "SOUTH"
	}
	up := math.Abs(s.Lat.Degrees())
	out := []string{fmt.Sprintf("%s hemisphere: the axis will point %s, %.0f degrees up.", half, pole, up)}
	switch {
	case up > 80:
		out = append(out, "So near to the Earth's pole azimuth loses its meaning: go by the total.")
	case up < 10:
		out = append(out, "So near to the equator the axis lies almost flat: mind that nothing hits the tripod.")
	}
	y, m, d := now.Date()
	noon := time.Date(y, m, d, 12, 0, 0, 0, time.UTC).Add(-time.Duration(s.Lon.Wrap().Degrees() / 15 * float64(time.Hour))).In(now.Location())
	line := fmt.Sprintf("The Sun stands highest there at about %s by this computer's clock.", noon.Format("15:04"))
	if h := float64(noon.Hour()) + float64(noon.Minute())/60; h < 9.5 || h > 15 {
		line += " That is far from the middle of the day: the sign of the longitude, or the zone of this computer's clock, may be wrong."
	}
	return append(out, line)
}

// Recognised says what a photograph shows: stars, middle and field.
func Recognised(stars int, ra, dec, across, down sphere.Angle) string {
	return fmt.Sprintf("%s recognised; its middle is at RA %s, Dec %s; the field is %.3g° x %.3g°", Count(stars, "star"), HM(ra), DM(dec), across.Degrees(), down.Degrees())
}

// WhyUnsolved says what a photograph that was not recognised looks like, and what
// to try: spots found, their elongation and width in pixels.
func WhyUnsolved(spots int, elongation, fwhm float64, hollow, flat bool) string {
	switch {
	case flat:
		return "The picture is blank: is the cap off?"
	case hollow:
		return "The stars are rings: the picture is far out of focus. Focus on a bright star and photograph again."
	case spots < 6:
		return fmt.Sprintf("Only %s found: cloud, dew, a cap, or too short an exposure. Expose longer, or wait for a clear patch.", Count(spots, "star"))
	case elongation > 2:
		return fmt.Sprintf("The stars are drawn out, %.1f times as long as wide: the mount moved, or the exposure is too long without a drive. Expose shorter, and hold still.", elongation)
	case fwhm > 12:
		return fmt.Sprintf("The stars are %.0f pixels wide: out of focus or dewed over. Focus, and photograph again.", fwhm)
	case spots < 12:
		return fmt.Sprintf("Only %d spots found, not all of them stars perhaps: a dozen stars make it easy. Expose longer, or point where the sky is darker.", spots)
	}
	return "There are spots enough, but they are like no stars known: trees, lights or hot pixels perhaps, or a field narrower than the stars built in serve."
}

// DaySteps tell what to do by day, for a page: one sentence or two each.
func DaySteps(s *rough.Setup) []string {
	_, alt := s.Refracted.AzAlt()
	out := []string{
		"Level the tripod, and turn the azimuth adjuster to the middle of its travel.",
		fmt.Sprintf("Set the altitude scale to %.1f°. Scales are often off by a degree; the night will tell.", alt.Degrees()),
		fmt.Sprintf("Face the axis %s. By compass: %s. Read it from a few steps behind, without keys, phone or car nearby.", strings.ToUpper(s.Pole()), RoughBearing(s)),
		"Or go by the shadow of a plumb line, below. Turn the whole tripod, not the adjuster.",
		"Level again, and look at the altitude scale once more.",
	}
	if ok, known := s.Reachable(); known && !ok {
		out = append(out, fmt.Sprintf("The altitude adjuster of %s goes from %g° to %g° and does not reach the pole: shorten or lengthen a leg, or use a wedge.", s.MountName, s.Mount.AltMin, s.Mount.AltMax))
	}
	return out
}

// TurnFromAbove says a turn the short way round, seen from above.
func TurnFromAbove(d sphere.Angle) string { return turnFromAbove(d) }

// Twilight names how dark it is with the Sun at an altitude.
func Twilight(sun sphere.Angle) string {
	switch d := sun.Degrees(); {
	case d > -0.8:
		return "day: the Sun is up"
	case d > -6:
		return "bright twilight: no stars can be photographed yet"
	case d > -12:
		return "twilight: bright stars can be photographed"
	case d > -18:
		return "late twilight: dark enough to measure"
	}
	return "night"
}

// NightBelow is the altitude of the Sun below which its light is gone: the end of
// astronomical twilight, by its usual definition.
const NightBelow = -18 * sphere.Degree

// GrowsLight says that it is morning.
const GrowsLight = "It grows lighter: the night is over."

// UntilDark says how long it takes until it is dark enough to measure, and until night;
// a time that is zero does not come.
func UntilDark(now, enough, night time.Time) string {
	in := func(t time.Time) string {
		m := int(t.Sub(now).Minutes() + 0.5)
		if m < 60 {
			return fmt.Sprintf("in %d min, at %s", m, t.Format("15:04"))
		}
		return fmt.Sprintf("in %d h %d min, at %s", m/60, m%60, t.Format("15:04"))
	}
	switch {
	case enough.IsZero():
		return "It does not get dark enough to measure."
	case night.IsZero() && enough.After(now):
		return "Dark enough to measure " + in(enough) + "; the last of the twilight stays."
	case night.IsZero():
		return "The last of the twilight stays."
	case enough.After(now):
		return "Dark enough to measure " + in(enough) + "; night " + in(night) + "."
	}
	return "Night " + in(night) + "."
}

// MoonNow says where the Moon stands.
func MoonNow(az, alt sphere.Angle, lit float64) string {
	if alt < 0 {
		return "The Moon is not up."
	}
	return fmt.Sprintf("The Moon is %.0f%% lit and stands %.0f° up in the %s.", 100*lit, alt.Degrees(), Wind(az))
}

// Pointing is a suggestion where to point, for people.
type Pointing struct {
	Az, Alt, LastAz, LastAlt sphere.Angle
	Each                     sphere.Angle // turn from frame to frame
	Frames, Stars            int
	Near                     string // a bright star near the first frame, "" none
	Apart                    sphere.Angle
	Error                    sphere.Angle
}

// Point says a suggestion.
func Point(p Pointing) string {
	near := ""
	if p.Near != "" {
		near = fmt.Sprintf(", %.0f° from %s", p.Apart.Degrees(), p.Near)
		if p.Apart < 2*sphere.Degree {
			near = ", at " + p.Near
		}
	}
	return fmt.Sprintf("Start in the %s, %.0f° up%s. Then turn RA westward by %.0f°, %s: the last one is in the %s, %.0f° up. %d stars expected; the axis will be known to %s.",
		Wind(p.Az), p.Alt.Degrees(), near, p.Each.Degrees(), repeated(p.Frames-1), Wind(p.LastAz), p.LastAlt.Degrees(), p.Stars, ExpectedError(p.Error))
}

// NeverSun is the caution that stands wherever the Sun is spoken of.
const NeverSun = "Never look at the Sun, and never point telescope, finder or camera at it."

// DayCompass says what a needle is worth at the place, for a page.
func DayCompass(s *rough.Setup) []string {
	c := s.Compass
	out := []string{fmt.Sprintf("The needle's declination there is %s; the model is good to ±%.1f°, but beside a mount or a car a needle is off by %.0f° to %.0f°.",
		EastWest(c.D), c.Sigma().Degrees(), rough.Steel.Degrees(), rough.NearSteel.Degrees())}
	switch c.Zone() {
	case compass.NoCompass:
		out = append(out, "WARNING: no needle can be trusted here, so near to the magnetic pole. Use the shadow, or the stars.")
	case compass.Caution:
		out = append(out, "WARNING: a needle is sluggish and easily led astray here. Check it by the shadow.")
	}
	if y := c.Outside; y != 0 {
		out = append(out, fmt.Sprintf("WARNING: the model holds from 2025 to 2030; this day lies %.1f years outside.", math.Abs(y)))
	}
	return out
}

// TargetAllows says what a target allows tonight.
func TargetAllows(name string, a drive.Allowance, from, to time.Time, lowest sphere.Angle) []string {
	return []string{
		fmt.Sprintf("%s tonight: the axis may be off by %s.", name, AtMost(a.Any)),
		fmt.Sprintf("If only the altitude is off, by %s; if only the azimuth, by %s on the sky.", AtMost(a.Alt), AtMost(a.Az)),
		fmt.Sprintf("It can be photographed from %s to %s, never below %.0f°.", from.Format("2 January 15:04"), to.Format("15:04 MST"), lowest.Degrees()),
	}
}

// EffectOn says what an error of the axis does to an exposure at its worst, of a
// target or, "", of any star.
func EffectOn(target string, e drive.Exposure, f drive.Effect, px float64, ha sphere.Angle) []string {
	what := "any star"
	if target != "" {
		what = target
	}
	verdict := "within"
	if px > e.Trail {
		verdict = "MORE THAN"
	}
	out := []string{fmt.Sprintf("The longest trail of %s in one exposure is %.2f px, %s the %g px you accept (at its worst, %s).", what, px, verdict, e.Trail, HourAngle(ha))}
	if e.Guided {
		return append(out, fmt.Sprintf("The guide star stands still; the field turns about it by %.1f\".", f.Guided.Abs().Arcseconds()))
	}
	return append(out, fmt.Sprintf("It drifts by %+.2f\" in declination and %+.2f\" in right ascension; the field turns by %.1f\".",
		f.Drift.Arcseconds(), f.Along.Arcseconds(), f.Rotated.Abs().Arcseconds()))
}

// BlockedSeen says what a photograph shows of what blocks the sky, stretch by stretch.
func BlockedSeen(name string, blocks plan.Skyline) string {
	var parts []string
	for i := 0; i < len(blocks); {
		j, alt := i, blocks[i].Alt
		joins := func(b plan.Block) bool {
			return (b.From-blocks[j].To).Wrap().Abs() < sphere.Arcminute && (b.Alt-alt).Abs() < 6*sphere.Degree
		}
		for ; j+1 < len(blocks) && joins(blocks[j+1]); j++ {
			alt = max(alt, blocks[j+1].Alt)
		}
		from, to := blocks[i].From.Degrees(), blocks[j].To.Degrees()
		middle := (blocks[i].From + (blocks[j].To-blocks[i].From).Turn()/2).Turn()
		parts = append(parts, fmt.Sprintf("up to %.0f° in the %s (azimuth %.0f° to %.0f°)", alt.Degrees(), Wind(middle), from, to))
		i = j + 1
	}
	return fmt.Sprintf("Seen in photograph %s: blocked %s. Take it over?", Short(name, 60), strings.Join(parts, ", "))
}
