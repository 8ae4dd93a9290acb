package terminal

import (
	"fmt"
	"time"

	"pintle/axis/plan"
	"pintle/cmd/pintle/planning"
	"pintle/cmd/pintle/words"
)

// Plan shows where to point; chart is the file that the sky was drawn into, ""
// for none.
func (t *Terminal) Plan(pl *planning.Plan, chart string) {
	t.lines("", words.PlanHead(pl))
	t.line("")
	if len(pl.Suggestions) == 0 {
		reason, try := words.NoPlan(pl)
		t.line("  %s  %s", t.Bold("NO ANSWER"), reason)
		t.line("  try: %s", try)
		return
	}
	for i := range pl.Suggestions {
		t.suggestion(pl, i, &pl.Suggestions[i])
	}
	t.lines("", words.PlanEnd(pl))
	if chart != "" {
		t.line("Chart: %s", chart)
	}
}

func (t *Terminal) suggestion(pl *planning.Plan, i int, s *plan.Suggestion) {
	e := s.Expected
	t.line("  %s  %s", t.Bold(fmt.Sprint(i+1)), words.Start(s))
	t.lines("     ", words.Course(pl, s))
	t.line("     expected error %s  (altitude %s, azimuth %s)", t.Bold(words.ExpectedError(e.Total())), words.ExpectedError(e.Alt()), words.ExpectedError(e.Az()))
	t.line("")
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

type planJSON struct {
	Time        string           `json:"time"`
	Pole        DirectionJSON    `json:"pole"`
	PoleBlocked bool             `json:"pole_blocked"`
	Suggestions []suggestionJSON `json:"suggestions"`
	Chart       string           `json:"chart,omitempty"`
}

// PlanJSON prints where to point as one object.
func (t *Terminal) PlanJSON(pl *planning.Plan, chart string) error {
	pole := pl.Night.Pole
	o := planJSON{pl.At.UTC().Format(time.RFC3339), DirectionOf(pole), !pl.Sky.Skyline.Clear(pole), []suggestionJSON{}, chart}
	for i := range pl.Suggestions {
		o.Suggestions = append(o.Suggestions, suggested(pl, &pl.Suggestions[i]))
	}
	return t.JSON(o)
}

func suggested(pl *planning.Plan, s *plan.Suggestion) suggestionJSON {
	j := suggestionJSON{Turn: s.Span().Degrees() / float64(len(s.HA)-1), Total: s.Expected.Total().Arcseconds(),
		Alt: s.Expected.Alt().Arcseconds(), Az: s.Expected.Az().Arcseconds()}
	for i, f := range s.Frames {
		az, alt := f.Dir.AzAlt()
		ra, dec := pl.Sky.Place.Catalogue(f.Dir).RADec()
		j.Frames = append(j.Frames, planFrameJSON{az.Degrees(), alt.Degrees(), s.HA[i].Degrees(), ra.Degrees(), dec.Degrees(), int(f.Stars)})
	}
	return j
}
