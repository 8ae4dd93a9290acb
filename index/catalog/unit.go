package catalog

import (
	"strings"

	"pintle/index/sphere"
)

const mas = sphere.Arcsecond / 1000

// angleUnits are the units of angle as files write them, in lower case.
var angleUnits = map[string]sphere.Angle{
	"deg": sphere.Degree, "degree": sphere.Degree, "degrees": sphere.Degree, "°": sphere.Degree,
	"rad": sphere.Radian, "radian": sphere.Radian, "radians": sphere.Radian,
	"h": sphere.Hour, "hr": sphere.Hour, "hour": sphere.Hour, "hours": sphere.Hour, "hourangle": sphere.Hour,
	"arcmin": sphere.Arcminute, "arcsec": sphere.Arcsecond, "arcs": sphere.Arcsecond, "asec": sphere.Arcsecond, "arcsecond": sphere.Arcsecond,
	"mas": mas, "marcsec": mas, "milliarcsec": mas, "milliarcsecond": mas, "uas": mas / 1000, "µas": mas / 1000,
}

// sexagesimalUnits are what archives write for text in hours or degrees,
// minutes and seconds.
var sexagesimalUnits = map[string]sphere.Angle{
	"h:m:s": sphere.Hour, "hms": sphere.Hour, "hh:mm:ss": sphere.Hour,
	"d:m:s": sphere.Degree, "dms": sphere.Degree, "dd:mm:ss": sphere.Degree,
}

// quantity is a kind of number and the unit it is brought to.
type quantity int

const (
	place      quantity = iota // radians
	placeError                 // mas
	motion                     // mas/yr
	year                       // Julian year
	magnitude
)

// usual are the units of columns that state none.
var usual = [...]string{place: "deg", placeError: "mas", motion: "mas/yr", year: "yr", magnitude: "mag"}

// known are the units that can be read, for people.
var known = [...]string{
	place:      "deg, rad, h or arcsec",
	placeError: "mas, arcsec, deg or rad",
	motion:     "mas/yr, arcsec/yr, deg/yr or rad/yr",
	year:       "yr",
	magnitude:  "mag",
}

// factor returns what a number in a unit is multiplied by; ok is false when
// the unit is none of the quantity.
func (q quantity) factor(unit string) (f float64, ok bool) {
	unit = strings.Trim(strings.ToLower(strings.TrimSpace(unit)), `"'`)
	if unit == "" {
		unit = usual[q]
	}
	switch q {
	case place:
		if a, ok := sexagesimalUnits[unit]; ok {
			return float64(a), true
		}
		a, ok := angleUnits[unit]
		return float64(a), ok
	case placeError:
		a, ok := angleUnits[unit]
		return float64(a / mas), ok
	case motion:
		angle, ok := perYear(unit)
		a, known := angleUnits[angle]
		return float64(a / mas), ok && known
	case year:
		return 1, unit == "yr" || unit == "a" || unit == "year" || unit == "jyear" || strings.Contains(unit, "julian year")
	}
	return 1, unit == "mag" || strings.HasPrefix(unit, "mag(")
}

// perYear returns the unit of angle of one of angle by time: "mas/yr",
// "mas.yr-1", "mas yr**-1".
func perYear(unit string) (angle string, ok bool) {
	i := strings.IndexAny(unit, "/.* ")
	if i < 0 {
		return "", false
	}
	angle, per := unit[:i], strings.Trim(unit[i:], " .*()")
	if rest, ok := strings.CutPrefix(per, "/"); ok {
		per = rest
	} else if per, ok = strings.CutSuffix(per, "-1"); !ok {
		return "", false
	}
	per = strings.Trim(per, " *^(")
	return angle, per == "yr" || per == "a" || per == "year" || per == "jyr"
}
