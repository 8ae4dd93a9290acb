package axis

import (
	"math"
	"sort"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis/place"
	"pintle/index/sphere"
)

// ContradictionKind is a way in which what was typed, what files state and what
// frames show cannot all be true.
type ContradictionKind int

// Kinds of contradictions, and what their Angle and Gap hold.
const (
	BelowHorizon ContradictionKind = iota // the frame's middle stands at altitude Angle, below the horizon
	StarsBelow                            // stars of the frame stand below the horizon, down to altitude Angle
	InDaylight                            // the frame shows stars while the Sun's altitude is Angle
	ClockJumped                           // Gap lies between two frames of one measurement
	ClockStood                            // the mount turned by Angle between two frames, in no more than Gap
	OneTimeTold                           // the same of frames for which the user told one time
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
// horizon or by day is seen from that site at that time. The other kinds may be
// true, and are for the user to judge.
func (c Contradiction) Refuses() bool {
	return c.Kind == BelowHorizon || c.Kind == StarsBelow || c.Kind == InDaylight && c.Angle > 0
}

// Limits of what is said about times and sites. Common practice, no source,
// except where noted.
const (
	lowestMiddle = -0.5 * sphere.Degree // of a frame: a hill or a clock some minutes off can lower it so far
	lowestStar   = -3.5 * sphere.Degree // without air: the same, and from a mountain of 3000 m the horizon lies 1.6 degrees lower
	fewSunk      = 0.05                 // of a frame's matches may be so low, and be wrong
	darkEnough   = -3 * sphere.Degree   // the Sun's altitude: brighter than the middle of civil twilight
	clockGap     = 3 * time.Hour        // between two frames of one measurement
	clockSame    = 200 * time.Millisecond
	turnedFor    = 1 * sphere.Degree    // hardly to be turned in clockSame
	sameSite     = 0.01 * sphere.Degree // a kilometre: receivers of phones are better than that
	nearSite     = 0.1 * sphere.Degree  // a site given for several frames, or read off a map
	zoneFar      = 3 * time.Hour        // no land keeps a clock further from its Sun, but for the west of China
)

// Unseeable returns what cannot have been seen from the site and at the times
// of the sightings' places: frames whose middle, or whose stars in number, lie
// below the horizon, and frames that show stars while the Sun is up or hardly
// down. The frames come in order. Sightings without a place are passed over.
func Unseeable(ss []Sighting) (out []Contradiction) {
	for i := range ss {
		if ss[i].Place == nil {
			continue
		}
		v := ss[i].outlook()
		for _, c := range v.unseeable(sphere.Identity(), sphere.Identity()) {
			c.Frames, c.Names = []int{i}, []string{ss[i].Name}
			out = append(out, c)
		}
	}
	return out
}

// outlook is what a sighting shows, in local directions without air, and the Sun.
type outlook struct {
	place  *place.Place
	middle r3.Vec
	stars  []r3.Vec
	sun    r3.Vec
}

func (s *Sighting) outlook() outlook {
	middle := s.SkyFromCam.Apply(s.Lens.Cam(float64(s.W-1)/2, float64(s.H-1)/2).Vec())
	v := outlook{place: s.Place, middle: s.Place.Unrefracted(sphere.SkyVec(middle)).Vec(), sun: s.Place.Sun().Seen.Vec()}
	for _, m := range s.thinned().Matches {
		v.stars = append(v.stars, s.Place.Unrefracted(m.Sky).Vec())
	}
	return v
}

// unseeable returns what of the outlook cannot be seen when the local sky and the
// Sun are turned.
func (v *outlook) unseeable(sky, sun sphere.Rot) (out []Contradiction) {
	_, alt := v.place.Lifted(sphere.LocalVec(sky.Apply(v.middle))).AzAlt()
	if alt < lowestMiddle {
		out = append(out, Contradiction{Kind: BelowHorizon, Angle: alt})
	} else if low, n := v.sunk(sky); n > 1 && float64(n) > fewSunk*float64(len(v.stars)) {
		out = append(out, Contradiction{Kind: StarsBelow, Angle: low})
	}
	if _, alt := sphere.LocalVec(sun.Apply(v.sun)).AzAlt(); alt > darkEnough {
		out = append(out, Contradiction{Kind: InDaylight, Angle: alt})
	}
	return out
}

// sunk returns the altitude of the lowest star and how many stand far below the
// horizon when the local sky is turned.
func (v *outlook) sunk(sky sphere.Rot) (low sphere.Angle, n int) {
	_, _, up := sky.Rows()
	least, limit := 0.0, lowestStar.Sin()
	for _, s := range v.stars {
		if z := r3.Dot(up, s); z < limit {
			n++
			least = min(least, z)
		}
	}
	return sphere.Angle(math.Asin(least)), n
}

// ClockSteps names pairs of frames that follow each other, of those used in a
// fit (the Frames of its Result), between which the clock stood still while the
// mount turned, or jumped. The fit cannot see it: a wrong clock turns the whole
// sky about the pole, axis and all. With oneTime the user told one time for all
// frames: no clock stood still, and the first pair speaks for all.
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
		case c.Gap < clockSame && turn > turnedFor && oneTime:
			c.Kind, c.Angle = OneTimeTold, turn
			return append(out, c)
		case c.Gap < clockSame && turn > turnedFor:
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
