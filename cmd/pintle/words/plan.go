package words

import (
	"fmt"
	"math"
	"time"

	"pintle/axis/plan"
	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/planning"
	"pintle/cmd/pintle/session"
	"pintle/index/sphere"
)

const PlanLong = `Finds where to point, and how far to turn in RA, so that the axis comes out with
the smallest error: from the geometry, the stars there are, what blocks your
sky, how low the air can be trusted, and the Moon. The pole need not be visible.

What blocks the sky is told in a small text file, a line for each stretch: first
azimuth, last azimuth (north 0, east 90), lowest clear altitude, in degrees:

   60 130 35     # the house
  300  20 15     # hedge, through north`

const PlanExample = `  pintle plan --field 2.1x1.4 --lat 31.4S --lon 121.9E
  pintle plan --site garden --camera long --frames 2 --chart tonight.svg
  pintle plan --field 20x13 --blocks balcony.txt --at 2026-11-27T20:00:00Z`

// minute is a moment as it is written for people, in the zone of its time.
const minute = "2 January 2006 15:04 MST"

// Moment writes a moment for people, in the zone of its time.
func Moment(t time.Time) string { return t.Format(minute) }

// impossible words why there is no answer at a place and time.
func impossible(x *planning.Impossible) error {
	h := &x.Home
	switch x.Kind {
	case planning.NeverDark:
		return advice.With(fmt.Errorf("it does not get dark at %s tonight", Where(h.Name, h.Site)), "choose another night with --at")
	case planning.TooBright:
		return advice.With(fmt.Errorf("at %s the Sun stands at %.0f°: too bright for stars, and dangerous to aim at", h.At.Format("2006-01-02 15:04 MST"), x.Sun.Degrees()), "choose a time with --at at which it is dark")
	case planning.NeverUp:
		return unsettled(&session.Unsettled{Kind: session.NeverUp, Name: x.Target, Limit: x.MinAlt.Degrees()})
	}
	return advice.With(fmt.Errorf("the journal has no measurement at %s", Where(h.Name, h.Site)), "measure with \"pintle axis\" first, or give --off-alt and --off-az")
}

// PlanHead says what was asked.
func PlanHead(pl *planning.Plan) []string {
	var l lines
	l.add("Where to point: %s, %s", Where(pl.Name, pl.Site), Moment(pl.At))
	l.add("field %.3g° x %.3g°, %d frames, never below %.0f°%s", pl.Camera.Width.Degrees(), pl.Camera.Height.Degrees(), pl.Frames, pl.MinAlt.Degrees(), moon(pl.Sky))
	return l
}

func moon(s *plan.Sky) string {
	if s.MoonAlt < 0 {
		return "; no Moon"
	}
	az, alt := s.Moon.Seen.AzAlt()
	return fmt.Sprintf("; Moon %.0f%% lit, %.0f° up in the %s", 100*s.Moon.Lit, alt.Degrees(), Wind(az))
}

// NoPlan says that nothing fits, and what to try.
func NoPlan(pl *planning.Plan) (reason, try string) {
	return fmt.Sprintf("nowhere in the clear sky %d frames with stars enough fit on one turn.", pl.Frames),
		"fewer frames, a lower --min-alt, a larger --max-turn, or another time"
}

// Start says where the first frame of a suggestion is.
func Start(s *plan.Suggestion) string {
	az, alt := s.Frames[0].Dir.AzAlt()
	return fmt.Sprintf("start in the %s, %.0f° up (azimuth %s)", Wind(az), alt.Degrees(), Bearing(az))
}

// Course says how a suggestion goes on: its place in the catalogues, the turns,
// and the side of the meridian.
func Course(pl *planning.Plan, s *plan.Suggestion) []string {
	first, last := s.Frames[0], s.Frames[len(s.Frames)-1]
	az, alt := last.Dir.AzAlt()
	ra, dec := pl.Sky.Place.Catalogue(first.Dir).RADec()
	turns := len(s.HA) - 1
	var l lines
	l.add("RA %s  Dec %s   %d stars expected in the frame", HM(ra), DM(dec), int(first.Stars))
	l.add("then turn RA westward by %.0f°, %s; the last frame is in the %s, %.0f° up", s.Span().Degrees()/float64(turns), repeated(turns), Wind(az), alt.Degrees())
	l.add("%s", side(s.HA[0], s.HA[turns]))
	return l
}

// repeated says how often something is done, five times at most.
func repeated(n int) string {
	return [...]string{"", "once", "twice", "three times", "four times", "five times"}[n]
}

// side says on which side of the meridian the frames lie.
func side(from, to sphere.Angle) string {
	const slack = 1e-6
	switch {
	case to <= slack:
		return "all east of the meridian"
	case from >= -slack && to <= 180*sphere.Degree+slack:
		return "all west of the meridian"
	}
	return "across the meridian: the mount must reach both sides without being turned over"
}

// ExpectedError writes an expected error.
func ExpectedError(a sphere.Angle) string {
	if a < 99*sphere.Arcsecond {
		return fmt.Sprintf("%.0f\"", math.Max(1, a.Arcseconds()))
	}
	return fmt.Sprintf("%.1f'", a.Arcminutes())
}

// PlanEnd says where the pole is, and what to leave alone.
func PlanEnd(pl *planning.Plan) []string {
	az, alt := pl.Night.Pole.AzAlt()
	seen := "It need not be in sight."
	if !pl.Sky.Skyline.Clear(pl.Night.Pole) {
		seen = "It is blocked here, which does not matter."
	}
	var l lines
	l.add("The pole stands %.1f° up in the %s. %s", alt.Degrees(), Wind(az), seen)
	l.add("Declination, camera and focus stay as they are; turn RA only, by hand or motor.")
	if k := Steadiness(pl.Steady.Mount, pl.Steady.Manner); k != "" {
		l.add("The errors are reckoned for your mount: %s.", k)
	}
	return l
}
