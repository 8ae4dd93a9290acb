package plan

import (
	"math"

	"pintle/axis/drive"
	"pintle/axis/place"
	"pintle/index/sphere"
)

// Sky is what a site shows at one instant.
type Sky struct {
	Place           *place.Place
	Moon            place.Moon
	MoonAlt, SunAlt sphere.Angle
	Stars           *Density     // that the camera can show
	Skyline         Skyline      // what blocks the sky
	MinAlt          sphere.Angle // how low the middle of a frame may be
}

// At returns the sky over a place, with nothing in the way and no stars yet.
func At(p *place.Place) (*Sky, error) {
	moon, err := p.Moon()
	if err != nil {
		return nil, err
	}
	s := &Sky{Place: p, Moon: moon}
	_, s.MoonAlt = moon.Seen.AzAlt()
	_, s.SunAlt = p.Sun().Seen.AzAlt()
	return s, nil
}

// TooBright is true when no stars can be photographed: in civil twilight and by
// day.
func (s *Sky) TooBright() bool { return s.SunAlt > -6*sphere.Degree }

// mostStars is how many stars of a frame are counted on at most: with more it is
// the frame's own wobble that decides (no source, chosen below what detection
// lists).
const mostStars = 300

// Night returns the sky as the camera sees it.
func (s *Sky) Night(c Camera) Night {
	area := c.Width.Degrees() * c.Height.Degrees()
	return Night{
		Pole: s.Place.RefractedPole(), South: s.Place.South(), Refraction: s.Place.Refraction, AirErr: s.Place.Air().Err,
		Stars: func(l sphere.Local) float64 {
			return math.Min(mostStars, s.Stars.At(s.Place.Catalogue(l))*area*s.moonlight(l))
		},
		Clear: func(l sphere.Local) bool { return s.clear(c, l) },
	}
}

// Limits of where a frame is planned (no source, chosen: near the zenith
// azimuth says little and tubes meet tripods, and near the horizon nobody knows
// the air).
const (
	highest    = 85 * sphere.Degree // of the middle of a frame
	lowestEdge = 5 * sphere.Degree  // of its edges
	// A wide frame may have ground in it, farther than this from its middle.
	ground = 45 * sphere.Degree
)

// clear is true when the whole frame at l can be seen, or of a wide one the middle:
// its centre, and eight points of the circle around it.
func (s *Sky) clear(c Camera, l sphere.Local) bool {
	_, alt := l.AzAlt()
	if alt < s.MinAlt || alt > highest {
		return false
	}
	half := min(ground, sphere.Angle(math.Hypot(float64(c.Width), float64(c.Height)))/2)
	for i := range 8 {
		edge := drive.Beside(l, half, sphere.Angle(i)*math.Pi/4)
		if _, ealt := edge.AzAlt(); ealt < lowestEdge || !s.Skyline.Clear(edge) {
			return false
		}
	}
	return s.Skyline.Clear(l)
}

// moonlight is the share of the stars that the Moon leaves: none within 10
// degrees of it, and up to 2.5 magnitudes fewer near a full one (a rough rule,
// common practice, no source).
func (s *Sky) moonlight(l sphere.Local) float64 {
	if s.MoonAlt < 0 {
		return 1
	}
	sep := l.Sep(s.Moon.Seen)
	if sep < 10*sphere.Degree {
		return 0
	}
	loss := 2.5 * s.Moon.Lit * math.Exp(-sep.Degrees()/40)
	return math.Pow(10, -0.4*loss)
}
