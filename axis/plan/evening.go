package plan

import (
	"time"

	"pintle/axis/drive"
	"pintle/axis/place"
	"pintle/index/sphere"
)

// Evening is a site and a time there, and with them a night: the one that is
// on at that time, or else the coming one.
type Evening struct {
	Site place.Site
	Air  place.Air
	At   time.Time
}

// Darkness is the altitude of the Sun below which long exposures are taken: the
// end of nautical twilight.
const Darkness = -12 * sphere.Degree

// eveningStep is how finely a night is gone through (no source: a target moves by
// 2.5 degrees in it).
const eveningStep = 10 * time.Minute

// noonBefore returns the last local noon, by the mean Sun, before t.
func noonBefore(t time.Time, lon sphere.Angle) time.Time {
	ahead := time.Duration((lon.Wrap().Degrees()/15 - 12) * float64(time.Hour))
	return t.UTC().Add(ahead).Truncate(24 * time.Hour).Add(-ahead)
}

// sunBelow is true when the Sun is below an altitude.
func sunBelow(p *place.Place, alt sphere.Angle) bool {
	_, sun := p.Sun().Seen.AzAlt()
	return sun < alt
}

// dark is true when the Sun is below Darkness.
func dark(p *place.Place) bool { return sunBelow(p, Darkness) }

// Noon returns the local noon, by the mean Sun, before the night.
func (e Evening) Noon() (time.Time, error) {
	noon := noonBefore(e.At, e.Site.Lon)
	p, err := place.At(e.At, e.Site, e.Air)
	if err != nil {
		return noon, err
	}
	if !dark(p) && e.At.Sub(noon) > 12*time.Hour {
		noon = noon.Add(24 * time.Hour) // a morning: last night is over
	}
	return noon, nil
}

// Dark returns the first dark moment of the night that is not before the
// evening's own time, to the minute; ok is false when there is none.
func (e Evening) Dark() (t time.Time, ok bool, err error) {
	p, err := place.At(e.At, e.Site, e.Air)
	if err != nil {
		return e.At, false, err
	}
	if dark(p) {
		return e.At, true, nil
	}
	noon, err := e.Noon()
	if err != nil {
		return e.At, false, err
	}
	for at := noon; at.Before(noon.Add(24 * time.Hour)); at = at.Add(eveningStep) {
		p, err := place.At(at, e.Site, e.Air)
		if err != nil {
			return e.At, false, err
		}
		if dark(p) && !at.Before(e.At) {
			return at.Truncate(time.Minute), true, nil
		}
	}
	return e.At, false, nil
}

// Sinks returns the first moment from the evening's time on at which the Sun is below
// an altitude, to the minute; ok is false when it is not within a day.
func (e Evening) Sinks(below sphere.Angle) (t time.Time, ok bool, err error) {
	under := func(at time.Time) bool {
		p, e := place.At(at, e.Site, e.Air)
		if e != nil {
			err = e
			return false
		}
		return sunBelow(p, below)
	}
	at := e.At
	for ; !under(at); at = at.Add(eveningStep) {
		if err != nil || at.Sub(e.At) > 24*time.Hour {
			return e.At, false, err
		}
	}
	for at.After(e.At) && under(at.Add(-time.Minute)) {
		at = at.Add(-time.Minute)
	}
	return at, true, err
}

// Stretch is a time in which a target stands high in a dark sky.
type Stretch struct {
	From, To time.Time
	Window   drive.Window
	Lowest   sphere.Angle // altitude
}

// Longest returns the longest stretch of the night in which a target stands
// no lower than minAlt, to ten minutes; ok is false when there is none.
func (e Evening) Longest(target sphere.Sky, minAlt sphere.Angle) (best Stretch, ok bool, err error) {
	noon, err := e.Noon()
	if err != nil {
		return best, false, err
	}
	var s *Stretch
	for at := noon; !at.After(noon.Add(24 * time.Hour)); at = at.Add(eveningStep) {
		p, err := place.At(at, e.Site, e.Air)
		if err != nil {
			return best, false, err
		}
		seen := p.Observed(target)
		if _, alt := seen.AzAlt(); alt < minAlt || !dark(p) {
			s = nil
			continue
		}
		if s == nil {
			s = begin(at, p, seen)
		}
		s.reach(at, p, seen)
		if s.To.Sub(s.From) > best.To.Sub(best.From) {
			best, ok = *s, true
		}
	}
	return best, ok, nil
}

// begin returns the stretch that starts with a target seen at l.
func begin(at time.Time, p *place.Place, l sphere.Local) *Stretch {
	ha, dec := drive.NewFrame(p.RefractedPole(), p.South()).Read(l)
	_, alt := l.AzAlt()
	return &Stretch{From: at, Window: drive.Window{Dec: dec, From: ha}, Lowest: alt}
}

// reach lets the stretch end at a later time.
func (s *Stretch) reach(at time.Time, p *place.Place, l sphere.Local) {
	ha, _ := drive.NewFrame(p.RefractedPole(), p.South()).Read(l)
	_, alt := l.AzAlt()
	s.To, s.Lowest = at, min(s.Lowest, alt)
	// The hour angle may pass 180 degrees below the pole: count on.
	s.Window.To = s.Window.From + (ha - s.Window.From).Turn()
}
