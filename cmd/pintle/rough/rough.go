// Package rough finds how to set a mount up by day: which way to face it by
// compass, what its altitude scale must show, and what shows the way without a
// compass. It brings the pole into reach; the stars do the rest at night.
package rough

import (
	"fmt"
	"slices"
	"time"

	"pintle/axis/compass"
	"pintle/axis/place"
	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/targets"
	"pintle/index/sphere"
)

// Steel is how far a compass is off near a mount, a car or a fence, and
// NearSteel by how much at worst (common practice, no source).
const (
	Steel     = 2 * sphere.Degree
	NearSteel = 3 * sphere.Degree
)

// Limits of the Sun's altitude between which a shadow is used: lower it is
// faint and long, higher the line is too short to sight along. A star as low
// as that is not sighted along either (no source, chosen on a plumb line of
// 2 m).
const (
	LowSun  = 4 * sphere.Degree
	highSun = 75 * sphere.Degree
)

// mostHours is how many lines the table of the Sun may have: a page is a page,
// also where the Sun does not set.
const mostHours = 16

const halfTurn = 180 * sphere.Degree

// Question is what is asked: where, when and for which mount.
type Question struct {
	Site      place.Site
	Name      string // of the site, "" when it has none
	Air       place.Air
	At        time.Time // a moment, or any time of the day, in the zone of the answer
	Moment    bool      // At is meant to the minute: no table of the day
	MountName string
	Mount     gear.Mount
	StarName  string // also show this star; "" for none
}

// Setup is the answer.
type Setup struct {
	Question
	South     bool         // it is the south pole
	True      sphere.Local // the elevated pole without air
	Refracted sphere.Local
	Compass   compass.Reading
	Facing    sphere.Angle // true azimuth to face
	Sun       []Pointer
	Star      *Pointer
}

// Pointer is a body that shows a direction without a compass.
type Pointer struct {
	Name    string
	At      time.Time
	Az, Alt sphere.Angle
}

// Shadow is the azimuth to which a plumb line's shadow falls.
func (p Pointer) Shadow() sphere.Angle { return (p.Az + halfTurn).Turn() }

// Find answers a question.
func Find(q Question) (*Setup, error) {
	s := &Setup{Question: q}
	p, err := s.place(q.At)
	if err != nil {
		return nil, err
	}
	s.South, s.True, s.Refracted = p.South(), p.TruePole(), p.RefractedPole()
	if s.South {
		s.Facing = halfTurn
	}
	if s.Compass, err = compass.At(q.Site.Lat, q.Site.Lon, q.Site.Elev, compass.Year(q.At)); err != nil {
		return nil, advice.With(err, "check --date, --at and the site")
	}
	if s.Sun, err = s.sun(p); err != nil {
		return nil, err
	}
	s.Star, err = s.star(p)
	return s, err
}

// place prepares the sky at a time.
func (s *Setup) place(t time.Time) (*place.Place, error) {
	p, err := place.At(t, s.Site, s.Air)
	return p, advice.With(err, "check --at and the site")
}

// sun lists the Sun at the full hours of the day, or at the moment asked for.
func (s *Setup) sun(now *place.Place) ([]Pointer, error) {
	if s.Moment {
		az, alt := now.Sun().Seen.AzAlt()
		return []Pointer{{"Sun", s.At, az, alt}}, nil
	}
	var out []Pointer
	y, m, d := s.At.Date()
	for hour := range 24 {
		at := time.Date(y, m, d, hour, 0, 0, 0, s.At.Location())
		p, err := s.place(at)
		if err != nil {
			return nil, err
		}
		if az, alt := p.Sun().Seen.AzAlt(); alt > LowSun && alt < highSun {
			out = append(out, Pointer{"Sun", at, az, alt})
		}
	}
	if len(out) > mostHours {
		out = slices.DeleteFunc(out, func(p Pointer) bool { return p.At.Hour()%2 == 1 })
	}
	return out, nil
}

// star finds the star asked for, nil when none was.
func (s *Setup) star(now *place.Place) (*Pointer, error) {
	if s.StarName == "" {
		return nil, nil
	}
	t, err := targets.Find(s.StarName)
	if err != nil {
		return nil, advice.With(err, "a bright star such as Vega")
	}
	az, alt := now.Observed(t.Pos).AzAlt()
	if alt < LowSun {
		return nil, advice.With(fmt.Errorf("%s stands at altitude %.0f° at %s", t.Name, alt.Degrees(), s.At.Format("2006-01-02 15:04 MST")), "choose another star, or another time with --at")
	}
	return &Pointer{t.Name, s.At, az, alt}, nil
}

// Pole names the pole.
func (s *Setup) Pole() string {
	if s.South {
		return "south"
	}
	return "north"
}

// Covers says whether half the azimuth adjuster's range makes good a compass
// near steel; known is false when the range is not in the gear file.
func (s *Setup) Covers() (covered, known bool) {
	if s.Mount.AzRange == 0 {
		return false, false
	}
	return s.Mount.AzRange/2 >= NearSteel.Degrees(), true
}

// Reachable says whether the altitude adjuster reaches the pole; known is false
// when its range is not in the gear file.
func (s *Setup) Reachable() (ok, known bool) {
	if s.Mount.AltMax == 0 {
		return false, false
	}
	_, alt := s.Refracted.AzAlt()
	d := alt.Degrees()
	return d >= s.Mount.AltMin && d <= s.Mount.AltMax, true
}
