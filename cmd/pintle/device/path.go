package device

import (
	"math"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis/place"
	"pintle/index/sphere"
)

// Pointing is where a frame that was recognised looks: the only thing that the
// limits of a path are worked out from.
type Pointing struct {
	Camera string     // whose frame it was
	Sky    sphere.Sky // ICRS, middle of the frame
	At     time.Time  // middle of the exposure
	Site   place.Site
	Air    place.Air
}

// equatorial is a direction by hour angle, west positive, and declination, both
// about the true pole of the site and with refraction left in: it is off by less
// than 0.1 degrees above 10 degrees of altitude.
type equatorial struct{ ha, dec, lat sphere.Angle }

// towards returns a local direction by hour angle and declination.
func towards(l sphere.Local, lat sphere.Angle) equatorial {
	v := l.Vec()
	up := r3.Vec{Y: -lat.Sin(), Z: lat.Cos()} // where the equator meets the meridian
	pole := r3.Vec{Y: lat.Cos(), Z: lat.Sin()}
	return equatorial{
		ha:  sphere.Angle(math.Atan2(-v.X, r3.Dot(v, up))),
		dec: sphere.Angle(math.Asin(max(-1, min(1, r3.Dot(v, pole))))),
		lat: lat,
	}
}

// altitude returns the altitude after a turn toward west.
func (e equatorial) altitude(west sphere.Angle) sphere.Angle {
	s := e.dec.Sin()*e.lat.Sin() + e.dec.Cos()*e.lat.Cos()*(e.ha+west).Cos()
	return sphere.Angle(math.Asin(max(-1, min(1, s))))
}

// equatorial returns where the frame's direction lies for the site: what a mount
// that does not track goes on pointing at.
func (p Pointing) equatorial() (equatorial, error) {
	pl, err := place.At(p.At, p.Site, p.Air)
	if err != nil {
		return equatorial{}, err
	}
	return towards(pl.Observed(p.Sky), p.Site.Lat), nil
}

// Turned returns by how much the hour angle grew from the frame of p to that of
// q, toward west: what the mount did, its polar error included.
func (p Pointing) Turned(q Pointing) (sphere.Angle, error) {
	a, err := p.equatorial()
	if err != nil {
		return 0, err
	}
	b, err := q.equatorial()
	return (b.ha - a.ha).Wrap(), err
}

// away returns the direction away from the nearer half of the meridian.
func (e equatorial) away() Direction {
	// Toward east of the upper half, or toward the lower half from west of it.
	if (e.ha > 0) == (e.ha.Abs() < math.Pi/2) {
		return West
	}
	return East
}

// check refuses a turn in a direction whose path, reach long, leaves the limits.
func (l Limits) check(e equatorial, d Direction, angle, reach sphere.Angle) error {
	polar := math.Pi/2 - e.dec.Abs()
	if polar < l.Pole {
		return NewFault(NearPole, "aim the camera at least 10 degrees from the pole",
			"the frame is %.1f degrees from the pole, where its hour angle says little; %.0f are asked for", polar.Degrees(), l.Pole.Degrees())
	}
	if free := l.free(e, d); reach > free {
		return NewFault(Meridian, "turn less, or aim farther from the meridian; nothing is turned across it",
			"a turn of %.0f degrees %s may come within %.0f degrees of the meridian", angle.Degrees(), d, l.Meridian.Degrees())
	}
	const step = 0.25 * sphere.Degree
	lowest := sphere.Angle(math.Pi)
	for a := sphere.Angle(0); a < reach+step; a += step {
		lowest = min(lowest, e.altitude(sphere.Angle(d)*min(a, reach)))
	}
	if lowest < l.Lowest {
		return NewFault(Low, "turn less, aim higher, or allow it with --lowest",
			"a turn of %.0f degrees %s may come down to an altitude of %.0f degrees; the limit is %.0f", angle.Degrees(), d, lowest.Degrees(), l.Lowest.Degrees())
	}
	return nil
}

// free returns how far e can be turned before it is as near to the meridian,
// upper or lower, as it may come. A start within that distance may be left in
// the other direction.
func (l Limits) free(e equatorial, d Direction) sphere.Angle {
	h := e.ha * sphere.Angle(d) // grows along the path, in (-pi, pi]
	if h < 0 {
		return -l.Meridian - h
	}
	return math.Pi - l.Meridian - h
}

// choose returns the direction of a turn: the one asked for, or away from the
// meridian if that is within the limits, or toward it.
func (l Limits) choose(e equatorial, want Direction, angle, reach sphere.Angle) (Direction, error) {
	if want != 0 {
		return want, l.check(e, want, angle, reach)
	}
	d := e.away()
	err := l.check(e, d, angle, reach)
	if err != nil && l.check(e, -d, angle, reach) == nil {
		return -d, nil
	}
	return d, err
}

// sun returns the altitude of the Sun at the site.
func (p Pointing) sun(t time.Time) (sphere.Angle, error) {
	pl, err := place.At(t, p.Site, p.Air)
	if err != nil {
		return 0, err
	}
	_, alt := pl.Sun().Seen.AzAlt()
	return alt, nil
}
