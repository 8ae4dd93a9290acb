package main

import (
	"fmt"
	"math"
	"time"

	"pintle/axis/plan"
	"pintle/cmd/pintle/terminal"
	"pintle/index/sphere"
)

const textPlanLong = `Finds where to point, and how far to turn in RA, so that the axis comes out with
the smallest error: from the geometry, the stars there are, what blocks your
sky, how low the air can be trusted, and the Moon. The pole need not be visible.

What blocks the sky is told in a small text file, a line for each stretch: first
azimuth, last azimuth (north 0, east 90), lowest clear altitude, in degrees:

   60 130 35     # the house
  300  20 15     # hedge, through north`

const textPlanExample = `  pintle plan --field 2.1x1.4 --lat 52.1 --lon 13.2
  pintle plan --site garden --camera long --frames 2 --chart tonight.svg
  pintle plan --field 20x13 --blocks balcony.txt --at 2026-11-27T20:00:00Z`

// neverDark is the error for a night without darkness.
func neverDark(where string) error {
	return hint(fmt.Errorf("it does not get dark at %s tonight", where), "choose another night with --at")
}

// tooBright is the error for a time at which no stars show.
func tooBright(at time.Time, sun sphere.Angle) error {
	return hint(fmt.Errorf("at %s the Sun stands at %.0f°: too bright for stars, and dangerous to aim at", at.Format("2006-01-02 15:04 MST"), sun.Degrees()), "choose a time with --at at which it is dark")
}

// tellPlan prints a plan for people or machines.
func (a *app) tellPlan(pl *planning, asJSON bool) error {
	if asJSON {
		return a.planJSON(pl)
	}
	a.showPlan(pl)
	return nil
}

func (a *app) showPlan(pl *planning) {
	p := func(format string, args ...any) { fmt.Fprintf(a.out, format+"\n", args...) }
	p("Where to point: %s, %s", pl.where(), pl.at.Format("2 January 2006 15:04 MST"))
	p("field %.3g° x %.3g°, %d frames, never below %.0f°%s", pl.camera.Width.Degrees(), pl.camera.Height.Degrees(), pl.frames, pl.sky.MinAlt.Degrees(), pl.moonWords())
	p("")
	if len(pl.suggestions) == 0 {
		p("  %s  nowhere in the clear sky %d frames with stars enough fit on one turn.", a.bold("NO ANSWER"), pl.frames)
		p("  try: fewer frames, a lower --min-alt, a larger --max-turn, or another time")
		return
	}
	for i, s := range pl.suggestions {
		a.showSuggestion(pl, i, s, p)
	}
	az, alt := pl.night.Pole.AzAlt()
	seen := "It need not be in sight."
	if !pl.sky.Skyline.Clear(pl.night.Pole) {
		seen = "It is blocked here, which does not matter."
	}
	p("The pole stands %.1f° up in the %s. %s", alt.Degrees(), wind(az), seen)
	p("Declination, camera and focus stay as they are; turn RA only, by hand or motor.")
	if pl.chart != "" {
		p("Chart: %s", pl.chart)
	}
}

func (pl *planning) moonWords() string {
	if pl.sky.MoonAlt < 0 {
		return "; no Moon"
	}
	az, alt := pl.sky.Moon.Seen.AzAlt()
	return fmt.Sprintf("; Moon %.0f%% lit, %.0f° up in the %s", 100*pl.sky.Moon.Lit, alt.Degrees(), wind(az))
}

func (a *app) showSuggestion(pl *planning, i int, s plan.Suggestion, p func(string, ...any)) {
	first, last := s.Frames[0], s.Frames[len(s.Frames)-1]
	az, alt := first.Dir.AzAlt()
	laz, lalt := last.Dir.AzAlt()
	ra, dec := pl.sky.Place.Catalogue(first.Dir).RADec()
	each := s.Span().Degrees() / float64(len(s.HA)-1)
	times := [...]string{"", "once", "twice", "three times", "four times", "five times"}[len(s.HA)-1]
	p("  %s  start in the %s, %s up (azimuth %s)", a.bold(fmt.Sprint(i+1)), wind(az), height(alt), bearing(az))
	p("     RA %s  Dec %+.0f°   %d stars expected in the frame", hours(ra), dec.Degrees(), int(first.Stars))
	p("     then turn RA westward by %.0f°, %s; the last frame is in the %s, %s up", each, times, wind(laz), height(lalt))
	p("     %s", sideWords(s.HA[0], s.HA[len(s.HA)-1]))
	p("     expected error %s  (altitude %s, azimuth %s)", a.bold(size(s.Expected.Total())), size(s.Expected.Alt()), size(s.Expected.Az()))
	p("")
}

// sideWords says on which side of the meridian the frames lie.
func sideWords(from, to sphere.Angle) string {
	const slack = 1e-6
	switch {
	case to <= slack:
		return "all east of the meridian"
	case from >= -slack && to <= halfTurn+slack:
		return "all west of the meridian"
	}
	return "across the meridian: the mount must reach both sides without being turned over"
}

// height writes an altitude.
func height(a sphere.Angle) string { return fmt.Sprintf("%.0f°", a.Degrees()) }

// hours writes a right ascension to the minute.
func hours(ra sphere.Angle) string {
	m := int(math.Round(ra.Turn().Degrees()*4)) % 1440
	return fmt.Sprintf("%dh%02dm", m/60, m%60)
}

// size writes an expected error.
func size(a sphere.Angle) string {
	if a < 99*sphere.Arcsecond {
		return fmt.Sprintf("%.0f\"", math.Max(1, a.Arcseconds()))
	}
	return fmt.Sprintf("%.1f'", a.Arcminutes())
}

type planFrameJSON struct {
	Az    float64 `json:"az_deg"`
	Alt   float64 `json:"alt_deg"`
	HA    float64 `json:"hour_angle_deg"`
	RA    float64 `json:"ra_deg"`
	Dec   float64 `json:"dec_deg"`
	Stars int     `json:"stars_expected"`
}

type suggestionJSON struct {
	Frames []planFrameJSON `json:"frames"`
	Turn   float64         `json:"turn_each_deg"`
	Total  float64         `json:"sigma_total_arcsec"`
	Alt    float64         `json:"sigma_alt_arcsec"`
	Az     float64         `json:"sigma_az_sky_arcsec"`
}

func (a *app) planJSON(pl *planning) error {
	type out struct {
		Time        string                 `json:"time"`
		Pole        terminal.DirectionJSON `json:"pole"`
		PoleBlocked bool                   `json:"pole_blocked"`
		Suggestions []suggestionJSON       `json:"suggestions"`
		Chart       string                 `json:"chart,omitempty"`
	}
	o := out{pl.at.UTC().Format(time.RFC3339), terminal.DirectionOf(pl.night.Pole), !pl.sky.Skyline.Clear(pl.night.Pole), []suggestionJSON{}, pl.chart}
	for _, s := range pl.suggestions {
		j := suggestionJSON{Turn: s.Span().Degrees() / float64(len(s.HA)-1), Total: s.Expected.Total().Arcseconds(),
			Alt: s.Expected.Alt().Arcseconds(), Az: s.Expected.Az().Arcseconds()}
		for i, f := range s.Frames {
			az, alt := f.Dir.AzAlt()
			ra, dec := pl.sky.Place.Catalogue(f.Dir).RADec()
			j.Frames = append(j.Frames, planFrameJSON{az.Degrees(), alt.Degrees(), s.HA[i].Degrees(), ra.Degrees(), dec.Degrees(), int(f.Stars)})
		}
		o.Suggestions = append(o.Suggestions, j)
	}
	return a.print(o)
}
