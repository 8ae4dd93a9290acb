package evening

import (
	"errors"
	"math"
	"time"

	"pintle/axis/place"
	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/rough"
	"pintle/cmd/pintle/words"
	"pintle/index/sphere"
)

// Day is the set-up by day. Angles are degrees; azimuths from north through east.
type Day struct {
	Date     string   `json:"date"`
	Back     []string `json:"place_back"`
	South    bool     `json:"south"`
	Altitude float64  `json:"altitude_deg"` // what the altitude scale must show
	Facing   float64  `json:"facing_deg"`   // true azimuth
	Bearing  string   `json:"bearing"`      // what the compass must show, in words
	Magnetic float64  `json:"magnetic_deg"`
	Compass  []string `json:"compass"`
	Steps    []string `json:"steps"`
	Shadows  []Shadow `json:"shadows"`
	Cautions []string `json:"cautions"`
}

// Shadow is where a plumb line's shadow falls at a time.
type Shadow struct {
	Time   time.Time `json:"time"`
	Clock  string    `json:"clock"`
	SunAlt float64   `json:"sun_alt_deg"`
	Az     float64   `json:"shadow_az_deg"`
	Turn   float64   `json:"turn_deg"` // from along the shadow to the pole, clockwise from above positive
	Words  string    `json:"turn"`
}

// Day returns the set-up on a date such as 2026-11-27; "" is today.
func (e *Evening) Day(date string) (*Day, error) {
	p, err := e.here()
	if err != nil {
		return nil, err
	}
	q := rough.Question{Site: p.Site(), Name: p.Name, Air: place.StandardAir(p.Elev), At: e.c.Now()}
	if date != "" {
		t, err := time.ParseInLocation(time.DateOnly, date, q.At.Location())
		if err != nil {
			return nil, advice.With(errors.New(quote(date)+" is not a date"), "write it like 2026-11-27")
		}
		q.At = t.Add(12 * time.Hour)
	}
	_, mount := e.chosen()
	if g, err := gear.Load(e.c.Gear); err == nil {
		q.MountName, q.Mount, _ = gear.Pick(g.Gear.Mounts, mount, g.Gear.Default.Mount)
	}
	s, err := rough.Find(q)
	if err != nil {
		return nil, err
	}
	return dayOf(s), nil
}

func dayOf(s *rough.Setup) *Day {
	_, alt := s.Refracted.AzAlt()
	d := &Day{Date: s.At.Format(time.DateOnly), Back: words.PlaceBack(s.Site, s.At), South: s.South, Altitude: alt.Degrees(), Facing: s.Facing.Degrees(),
		Bearing: words.RoughBearing(s), Magnetic: s.Compass.Bearing(s.Facing).Degrees(), Compass: words.DayCompass(s), Steps: words.DaySteps(s),
		Shadows: []Shadow{}, Cautions: []string{words.NeverSun}}
	for _, p := range s.Sun {
		turn := (s.Facing - p.Shadow()).Wrap()
		d.Shadows = append(d.Shadows, Shadow{p.At, p.At.Format("15:04"), p.Alt.Degrees(), p.Shadow().Degrees(), turn.Degrees(), words.TurnFromAbove(turn)})
	}
	return d
}

// degrees is an angle to the tenth, for drawings.
func degrees(a sphere.Angle) float64 { return math.Round(a.Degrees()*10) / 10 }
