package axis

import (
	"math"
	"sort"
	"time"

	"pintle/axis/place"
	"pintle/index/sphere"
)

// ContradictionKind is a way in which what was typed, what files state and what
// frames show cannot all be true.
type ContradictionKind int

// Kinds of contradictions, and what their Angle and Gap hold.
const (
	BelowHorizon ContradictionKind = iota // the frame's middle stands at altitude Angle, below the horizon
	InDaylight                            // the frame shows stars while the Sun's altitude is Angle
	ClockJumped                           // Gap lies between two frames of one measurement
	ClockStood                            // the mount turned by Angle between two frames, in no more than Gap
	SitesDiffer                           // two frames state sites Angle apart, as seen from the Earth's centre
	SiteDiffers                           // the site taken lies Angle from the one that a frame states
	ZoneFar                               // the zone of a frame's clock is Gap from the longitude's own time
)

// Contradiction is one of them, with the frames it shows in.
type Contradiction struct {
	Kind   ContradictionKind
	Frames []int    // indices into what was given
	Names  []string // the frames' names
	Angle  sphere.Angle
	Gap    time.Duration
}

// Refuses reports whether an answer must not be given: nothing seen below the
// horizon or by day was seen from that site at that time. The other kinds may be
// true, and are for the user to judge.
func (c Contradiction) Refuses() bool {
	return c.Kind == BelowHorizon || c.Kind == InDaylight && c.Angle > 0
}

// Limits of what is said about times and sites. Common practice, no source,
// except where noted.
const (
	lowestMiddle = -0.5 * sphere.Degree // of a frame: a hill or a clock some minutes off can lower it so far
	darkEnough   = -3 * sphere.Degree   // the Sun's altitude: brighter than the middle of civil twilight
	clockGap     = 3 * time.Hour        // between two frames of one measurement
	clockSame    = 200 * time.Millisecond
	turnedFor    = 1 * sphere.Degree    // hardly to be turned in clockSame
	sameSite     = 0.01 * sphere.Degree // a kilometre: receivers of phones are better than that
	nearSite     = 0.1 * sphere.Degree  // a site given for several frames, or read off a map
	zoneFar      = 3 * time.Hour        // no land keeps a clock further from its Sun, but for the west of China
)

// Unseeable returns what cannot have been seen from the site and at the times
// of the sightings' places: frames whose middle lies below the horizon, and
// frames that show stars while the Sun is up or hardly down. One entry a frame
// and kind, in the order of the frames. Sightings without a place are passed
// over.
func Unseeable(ss []Sighting) (out []Contradiction) {
	for i := range ss {
		s := &ss[i]
		if s.Place == nil {
			continue
		}
		one := func(k ContradictionKind, a sphere.Angle) {
			out = append(out, Contradiction{Kind: k, Frames: []int{i}, Names: []string{s.Name}, Angle: a})
		}
		if _, alt := s.Place.Observed(s.middle()).AzAlt(); alt < lowestMiddle {
			one(BelowHorizon, alt)
		}
		if _, sun := s.Place.Sun().Seen.AzAlt(); sun > darkEnough {
			one(InDaylight, sun)
		}
	}
	return out
}

// middle returns the direction of the middle of the picture.
func (s *Sighting) middle() sphere.Sky {
	return sphere.SkyVec(s.SkyFromCam.Apply(s.Lens.Cam(float64(s.W-1)/2, float64(s.H-1)/2).Vec()))
}

// ClockSteps names pairs of frames that follow each other, of those used in a
// fit (the Frames of its Result), between which the clock stood still while the
// mount turned, or jumped. The fit cannot see it: a wrong clock turns the whole
// sky about the pole, axis and all. With oneTime the user gave one time for all
// frames, and no clock stood still.
func ClockSteps(frames []FrameFit, oneTime bool) (out []Contradiction) {
	var order []int
	for i := range frames {
		if frames[i].Used {
			order = append(order, i)
		}
	}
	sort.SliceStable(order, func(i, k int) bool { return frames[order[i]].Time.Before(frames[order[k]].Time) })
	for k := 1; k < len(order); k++ {
		a, b := &frames[order[k-1]], &frames[order[k]]
		c := Contradiction{Frames: []int{order[k-1], order[k]}, Names: []string{a.Name, b.Name}, Gap: b.Time.Sub(a.Time)}
		turn := (b.Turn - a.Turn).Wrap().Abs()
		switch {
		case c.Gap > clockGap:
			c.Kind = ClockJumped
		case c.Gap < clockSame && turn > turnedFor && !oneTime:
			c.Kind, c.Angle = ClockStood, turn
		default:
			continue
		}
		out = append(out, c)
	}
	return out
}

// StatedSite is the site that a frame's file states.
type StatedSite struct {
	Name string // of the frame
	Site place.Site
}

// SitesAgainst holds the stated sites against each other and against the site
// taken from elsewhere (a flag, the gear file), which may be nil. It returns at
// most one contradiction of each kind, for the frames farthest apart: sites more
// than 0.01 degrees from each other (a mount stands on one spot), and sites more
// than 0.1 degrees from the one taken. Heights are not compared.
func SitesAgainst(taken *place.Site, stated []StatedSite) (out []Contradiction) {
	apart := Contradiction{Kind: SitesDiffer, Angle: sameSite}
	away := Contradiction{Kind: SiteDiffers, Angle: nearSite}
	for i := range stated {
		a := &stated[i]
		for k := range i {
			if d := between(stated[k].Site, a.Site); d > apart.Angle {
				apart.Angle, apart.Frames, apart.Names = d, []int{k, i}, []string{stated[k].Name, a.Name}
			}
		}
		if taken == nil {
			continue
		}
		if d := between(*taken, a.Site); d > away.Angle {
			away.Angle, away.Frames, away.Names = d, []int{i}, []string{a.Name}
		}
	}
	for _, c := range []Contradiction{apart, away} {
		if c.Names != nil {
			out = append(out, c)
		}
	}
	return out
}

// between returns the angle between two sites at the Earth's centre, taken as a
// sphere.
func between(a, b place.Site) sphere.Angle {
	return sphere.SkyAt(a.Lon, a.Lat).Sep(sphere.SkyAt(b.Lon, b.Lat))
}

// ZoneAgainst holds the offset from UTC that a frame's clock states (east
// positive, summer time included) against the Sun's own time at a longitude (east
// positive). ok is true when they lie more than 3 hours apart; Gap is then
// the offset less the longitude's, between -12 and 12 hours, so that the two
// sides of the date line agree.
func ZoneAgainst(name string, offset time.Duration, lon sphere.Angle) (c Contradiction, ok bool) {
	hours := math.Remainder(offset.Hours()-lon.Degrees()/15, 24)
	gap := time.Duration(hours * float64(time.Hour))
	if gap.Abs() <= zoneFar {
		return c, false
	}
	return Contradiction{Kind: ZoneFar, Frames: []int{0}, Names: []string{name}, Gap: gap}, true
}
