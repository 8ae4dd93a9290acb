package axis

import (
	"math"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis/place"
	"pintle/index/sphere"
)

// Mistake is a common way of telling a site or a time wrongly.
type Mistake int

// Mistakes.
const (
	AsTold        Mistake = iota
	LatitudeSign          // south for north, or the other way
	LongitudeSign         // west for east, or the other way
	BothSigns             // of latitude and longitude
	ClockZone             // the time of the longitude's zone, summer time or not, for UTC, or the other way
	ClockOff              // by another number of half hours
)

// Alternative is what site and clock would be without the mistake.
type Alternative struct {
	Mistake Mistake
	Site    place.Site
	Shift   time.Duration // to be added to the times told
	// Least and Most bound the shifts that fit no worse than the frames can tell;
	// equal to Shift but for ClockOff.
	Least, Most time.Duration
	// LogOdds is the natural logarithm of the odds for this against what was told,
	// by the stars alone.
	LogOdds float64
}

// Clocks are taken to be wrong by up to this, in steps of this: no zone is
// further from UTC, and few are not on the half hour.
const (
	mostShift = 14 * time.Hour
	shiftStep = 30 * time.Minute
)

// alternatives lists what else the site and the clock may be. Signs that change
// nothing worth speaking of are left out.
func alternatives(s place.Site) (as []Alternative) {
	lat, lon := s, s
	lat.Lat, lon.Lon = -s.Lat, -s.Lon.Wrap()
	both := lon
	both.Lat = lat.Lat
	flipLat := s.Lat.Abs() > sphere.Degree
	flipLon := (2 * s.Lon).Wrap().Abs() > 2*sphere.Degree
	if flipLat {
		as = append(as, Alternative{Mistake: LatitudeSign, Site: lat})
	}
	if flipLon {
		as = append(as, Alternative{Mistake: LongitudeSign, Site: lon})
	}
	if flipLat && flipLon {
		as = append(as, Alternative{Mistake: BothSigns, Site: both})
	}
	for d := -mostShift; d <= mostShift; d += shiftStep {
		switch {
		case d == 0:
		case ofZone(d, s.Lon):
			as = append(as, Alternative{Mistake: ClockZone, Site: s, Shift: d})
		default:
			as = append(as, Alternative{Mistake: ClockOff, Site: s, Shift: d})
		}
	}
	for i := range as {
		as[i].Least, as[i].Most = as[i].Shift, as[i].Shift
	}
	return as
}

// ofZone reports whether a clock wrong by d is explained by the zone of a
// longitude, with or without an hour of summer time.
func ofZone(d time.Duration, lon sphere.Angle) bool {
	zone := time.Duration(math.Round(lon.Wrap().Degrees()/15)) * time.Hour
	return d == zone || d == -zone || d == zone+time.Hour || d == -zone-time.Hour
}

// stance is how an observer stands under the stars: everything that site and
// clock do to a picture, but for what no picture shows.
type stance struct {
	lat  sphere.Angle
	late sphere.Angle // sidereal time less that of the place told
}

// siderealRate is the turn of the sky in a unit of time over that of the mean
// Sun (IERS Conventions 2010, equation 5.15).
const siderealRate = 1.00273781191135448

// stance of the alternative to a told site.
func (a *Alternative) stance(told place.Site) stance {
	return stance{a.Site.Lat, sphere.Angle(a.Shift.Hours()*siderealRate)*15*sphere.Degree + a.Site.Lon - told.Lon}
}

// underSun is the stance toward the Sun, which moves among the stars.
func (a *Alternative) underSun(told place.Site) stance {
	s := a.stance(told)
	s.late -= sphere.Angle(a.Shift.Hours()*(siderealRate-1)) * 15 * sphere.Degree
	return s
}

// fromTold takes directions (east, north, up) under the told latitude to those
// under the stance: by way of the meridian, east and the north celestial pole,
// about which the sky turns.
func (s stance) fromTold(lat sphere.Angle) sphere.Rot {
	return equator(s.lat).Inv().Mul(sphere.Turn(unitZ, -s.late)).Mul(equator(lat))
}

// equator takes east, north, up to meridian, east, north pole.
func equator(lat sphere.Angle) sphere.Rot {
	sin, cos := lat.Sin(), lat.Cos()
	return sphere.RotFromRows(r3.Vec{Y: -sin, Z: cos}, unitX, r3.Vec{Y: cos, Z: sin})
}
