package evening

import (
	"errors"
	"math"
	"sync"
	"time"

	"pintle/axis/place"
	"pintle/axis/plan"
	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/planning"
	"pintle/cmd/pintle/targets"
	"pintle/cmd/pintle/words"
	"pintle/index/sphere"
	"pintle/index/stars"
)

// Sky is the sky over the place, to be drawn. Directions are azimuth from north
// through east and altitude, degrees.
type Sky struct {
	Time     time.Time  `json:"time"`
	Clock    string     `json:"clock"`
	SunAlt   float64    `json:"sun_alt_deg"`
	Twilight string     `json:"twilight"`
	Dark     bool       `json:"dark"` // stars can be photographed
	Sun      [2]float64 `json:"sun"`
	// UntilDark is how long it takes until it is dark, or that it grows lighter; "" in
	// the night.
	UntilDark string       `json:"until_dark"`
	Moon      [2]float64   `json:"moon"`
	MoonLit   float64      `json:"moon_lit"` // 0 to 1
	MoonNow   string       `json:"moon_now"`
	Pole      [2]float64   `json:"pole"`
	South     bool         `json:"south"`
	Stars     [][3]float64 `json:"stars"` // azimuth, altitude, magnitude
	Named     []Named      `json:"named"`
	Figures   []Drawn      `json:"figures"`
	Blocked   []Stretch    `json:"blocked"`
}

// Named is a bright star with its name.
type Named struct {
	Name string  `json:"name"`
	Az   float64 `json:"az_deg"`
	Alt  float64 `json:"alt_deg"`
}

// Drawn is a constellation's lines, those parts of it that are up.
type Drawn struct {
	Name  string         `json:"name"`
	Lines [][][2]float64 `json:"lines"`
}

// Stretch is what blocks the sky between two azimuths.
type Stretch struct {
	From float64 `json:"from_deg"`
	To   float64 `json:"to_deg"`
	Alt  float64 `json:"alt_deg"`
}

// faintest is the magnitude to which stars are drawn (no source, chosen for a
// drawing that a phone's glass can hold).
const faintest = 4.3

// bright are the stars that are drawn, at the epoch of the first time asked: none
// moves as much as the drawing shows.
var bright = sync.OnceValue(func() (out []stars.Star) {
	stars.Embedded().Each(faintest, 2026, func(s stars.Star) bool {
		if float64(s.V) <= faintest {
			out = append(out, s)
		}
		return true
	})
	return out
})

// when reads a time: 20:30 is of tonight, 2026-11-27T20:30 in the computer's zone,
// or with its own; "" is now.
func (e *Evening) when(text string) (time.Time, error) {
	now := e.c.Now()
	if text == "" {
		return now, nil
	}
	if t, err := time.Parse(time.RFC3339, text); err == nil {
		return t.In(now.Location()), nil
	}
	if t, err := time.Parse("15:04", text); err == nil {
		y, m, d := now.Date()
		t = time.Date(y, m, d, t.Hour(), t.Minute(), 0, 0, now.Location())
		if now.Sub(t) > 6*time.Hour { // past: of the night to come
			t = t.AddDate(0, 0, 1)
		}
		return t, nil
	}
	t, err := time.ParseInLocation("2006-01-02T15:04", text, now.Location())
	if err != nil {
		return t, advice.With(errors.New(quote(text)+" is not a time"), "write it like 20:30, which is tonight, or 2026-11-27T20:30")
	}
	return t, nil
}

// Sky returns the sky at a time; see when.
func (e *Evening) Sky(at string) (*Sky, error) {
	t, err := e.when(at)
	if err != nil {
		return nil, err
	}
	home, err := e.here()
	if err != nil {
		return nil, err
	}
	h := home.when(t, true)
	p, err := h.Place(t)
	if err != nil {
		return nil, err
	}
	over, err := plan.At(p)
	if err != nil {
		return nil, err
	}
	pole := p.RefractedPole()
	az, alt := over.Moon.Seen.AzAlt()
	s := &Sky{Time: t, Clock: t.Format("2 January 15:04 MST"), SunAlt: degrees(over.SunAlt), Twilight: words.Twilight(over.SunAlt), Dark: !over.TooBright(),
		Moon: spot(over.Moon.Seen), MoonLit: math.Round(100*over.Moon.Lit) / 100, MoonNow: words.MoonNow(az, alt, over.Moon.Lit),
		Pole: spot(pole), South: p.South(), Stars: [][3]float64{}, Named: []Named{}, Figures: []Drawn{}, Blocked: []Stretch{}}
	s.Sun = spot(p.Sun().Seen)
	if s.UntilDark, err = untilDark(h, t, over.SunAlt); err != nil {
		return nil, err
	}
	s.fill(p)
	line, err := e.skyline()
	if err != nil {
		return nil, err
	}
	for _, b := range line {
		s.Blocked = append(s.Blocked, Stretch{degrees(b.From), degrees(b.To), degrees(b.Alt)})
	}
	return s, nil
}

// untilDark says how long it takes until it is dark, while the Sun is above night.
func untilDark(h planning.Home, t time.Time, sun sphere.Angle) (string, error) {
	if sun < words.NightBelow {
		return "", nil
	}
	soon, err := place.At(t.Add(time.Minute), h.Site, h.Air)
	if err != nil {
		return "", err
	}
	if _, then := soon.Sun().Seen.AzAlt(); then > sun && sun < 0 {
		return words.GrowsLight, nil
	}
	ev := plan.Evening{Site: h.Site, Air: h.Air, At: t}
	enough, ok, err := ev.Sinks(plan.Darkness)
	if err != nil {
		return "", err
	}
	if !ok {
		enough = time.Time{}
	}
	night, ok, err := ev.Sinks(words.NightBelow)
	if !ok {
		night = time.Time{}
	}
	return words.UntilDark(t, enough, night), err
}

// fill puts the stars on the sky.
func (s *Sky) fill(p *place.Place) {
	for _, x := range bright() {
		l := p.Observed(x.Pos)
		if _, alt := l.AzAlt(); alt > 0 {
			at := spot(l)
			s.Stars = append(s.Stars, [3]float64{at[0], at[1], math.Round(float64(x.V)*10) / 10})
		}
	}
	for _, t := range namedStars() {
		l := p.Observed(t.Pos)
		if az, alt := l.AzAlt(); alt > 5*sphere.Degree {
			s.Named = append(s.Named, Named{t.Name, degrees(az), degrees(alt)})
		}
	}
	for _, f := range figures() {
		if d := f.over(p); len(d.Lines) > 0 {
			s.Figures = append(s.Figures, d)
		}
	}
}

// spot is a direction for drawings.
func spot(l sphere.Local) [2]float64 {
	az, alt := l.AzAlt()
	return [2]float64{degrees(az.Turn()), degrees(alt)}
}

// mostNamed is how many stars are named, the brightest (no source, chosen so that
// each part of the sky has some).
const mostNamed = 45

// namedStars are the brightest stars that have names.
var namedStars = sync.OnceValue(func() (out []targets.Target) {
	for _, t := range targets.All() {
		if t.Type == "star" && len(out) < mostNamed {
			out = append(out, t)
		}
	}
	return out
})
