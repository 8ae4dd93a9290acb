package terminal

import (
	"fmt"
	"strings"
	"time"

	"pintle/axis/compass"
	"pintle/cmd/pintle/rough"
	"pintle/cmd/pintle/words"
)

// Rough shows the set-up by day; plain is for paper, with boxes to tick.
func (t *Terminal) Rough(s *rough.Setup, plain bool) {
	box, strong := "  ", t.Bold
	if plain {
		box, strong = "[ ] ", func(s string) styled { return styled(words.Foreign(s)) }
	}
	_, bare := s.True.AzAlt()
	t.line("Setting up by day: %s, %s", words.Where(s.Name, s.Site), s.At.Format("2 January 2006"))
	t.line("")
	t.line("   face the polar axis    %s", strong(strings.ToUpper(s.Pole())))
	t.line("   compass bearing        %s", strong(words.RoughBearing(s)))
	t.line("   true bearing           %s", words.Bearing(s.Facing))
	t.line("   altitude scale         %s", strong(fmt.Sprintf("%.1f°", bare.Degrees())))
	for _, part := range [][]string{words.RoughSteps(s, box), words.RoughCompass(s), words.RoughSun(s), words.RoughEnd(s)} {
		t.line("")
		t.lines("", part)
	}
}

type pointerJSON struct {
	Name   string  `json:"name"`
	Time   string  `json:"time"`
	Az     float64 `json:"az_deg"`
	Alt    float64 `json:"alt_deg"`
	Shadow float64 `json:"shadow_az_deg"`
	ToPole float64 `json:"shadow_to_pole_deg"` // clockwise positive
}

func pointer(s *rough.Setup, p rough.Pointer) pointerJSON {
	return pointerJSON{p.Name, p.At.Format(time.RFC3339), p.Az.Degrees(), p.Alt.Degrees(), p.Shadow().Degrees(), (s.Facing - p.Shadow()).Wrap().Degrees()}
}

type roughJSON struct {
	Date        string        `json:"date"`
	Lat         float64       `json:"lat_deg"`
	Lon         float64       `json:"lon_deg"`
	Elev        float64       `json:"elev_m"`
	Facing      string        `json:"facing"`
	TrueBearing float64       `json:"true_bearing_deg"`
	Magnetic    float64       `json:"magnetic_bearing_deg"`
	Declination float64       `json:"declination_deg"`
	Sigma       float64       `json:"declination_sigma_deg"`
	Horizontal  float64       `json:"horizontal_field_nt"`
	Zone        string        `json:"compass"`
	Outside     float64       `json:"years_outside_model"`
	Scale       float64       `json:"altitude_scale_deg"`
	Refracted   float64       `json:"refracted_pole_alt_deg"`
	Sun         []pointerJSON `json:"sun"`
	Star        *pointerJSON  `json:"star"`
}

// RoughJSON prints the set-up by day as one object.
func (t *Terminal) RoughJSON(s *rough.Setup) error {
	_, bare := s.True.AzAlt()
	_, seen := s.Refracted.AzAlt()
	o := roughJSON{
		Date: s.At.Format(time.DateOnly), Lat: s.Site.Lat.Degrees(), Lon: s.Site.Lon.Degrees(), Elev: s.Site.Elev,
		Facing: s.Pole(), TrueBearing: s.Facing.Degrees(), Magnetic: s.Compass.Bearing(s.Facing).Degrees(),
		Declination: s.Compass.D.Degrees(), Sigma: s.Compass.Sigma().Degrees(), Horizontal: s.Compass.H,
		Zone: zoneName(s.Compass.Zone()), Outside: s.Compass.Outside, Scale: bare.Degrees(), Refracted: seen.Degrees(), Sun: []pointerJSON{},
	}
	for _, p := range s.Sun {
		o.Sun = append(o.Sun, pointer(s, p))
	}
	if s.Star != nil {
		o.Star = ref(pointer(s, *s.Star))
	}
	return t.JSON(o)
}

func zoneName(z compass.Zone) string {
	return [...]string{"good", "caution", "useless"}[z]
}
