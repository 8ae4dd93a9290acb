package frame

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"time"
)

// Years outside these are refused: the clock was not set.
const (
	firstYear = 1900
	lastYear  = 2100
)

// isoForm is a date, with or without a time of day, with or without a zone.
// Dates of EXIF have colons.
var isoForm = sync.OnceValue(func() *regexp.Regexp {
	return regexp.MustCompile(`^(\d{4})[-:/](\d{1,2})[-:/](\d{1,2})(?:[T ]+(\d{1,2}):(\d{1,2})(?::(\d{1,2}(?:[.,]\d*)?))?)?\s*(Z|UTC|UT|[+-]\d{1,2}(?::?\d{2})?)?$`)
})

// oldForm is the date of FITS files before 1998: day, month, year of the 20th
// century.
var oldForm = sync.OnceValue(func() *regexp.Regexp {
	return regexp.MustCompile(`^(\d{1,2})/(\d{1,2})/(\d{2})$`)
})

// moment is a parsed date and what it states besides.
type moment struct {
	t     time.Time     // the clock's reading, as if UTC unless zoned
	clock bool          // a time of day is stated
	zoned bool          // a zone is stated; t is UTC
	ahead time.Duration // of UTC, where a zone is stated
}

// ParseTime reads a date and time of day such as "2026-11-27T10:30:00.5Z" or
// "2026-11-27 23:30:00+13:00". Without a zone it is a clock in zone, or UTC
// when zone is nil. Dates that cannot be, leap seconds and years outside 1900
// to 2100 are refused.
func ParseTime(s string, zone *time.Location) (time.Time, error) {
	m, err := parseMoment(s)
	if err != nil {
		return time.Time{}, err
	}
	if !m.clock {
		return time.Time{}, fmt.Errorf("time %q has no time of day; write it like 2026-11-27T10:30:00Z", s)
	}
	return m.in(zone), nil
}

// in returns the moment as UTC, reading a clock without zone in zone.
func (m moment) in(zone *time.Location) time.Time {
	if m.zoned || zone == nil {
		return m.t
	}
	y, mo, d := m.t.Date()
	h, mi, s := m.t.Clock()
	return time.Date(y, mo, d, h, mi, s, m.t.Nanosecond(), zone).UTC()
}

func parseMoment(s string) (moment, error) {
	s = strings.TrimSpace(s)
	if p := oldForm().FindStringSubmatch(s); p != nil {
		t, err := makeTime("19"+p[3], p[2], p[1], "", "", "")
		return moment{t: t}, err
	}
	p := isoForm().FindStringSubmatch(s)
	if p == nil {
		return moment{}, fmt.Errorf("time %q is not understood; write it like 2026-11-27T10:30:00Z", s)
	}
	t, err := makeTime(p[1], p[2], p[3], p[4], p[5], p[6])
	if err != nil {
		return moment{}, err
	}
	m := moment{t: t, clock: p[4] != "", zoned: p[7] != ""}
	if m.zoned {
		off, err := parseZone(p[7])
		if err != nil {
			return moment{}, err
		}
		m.t, m.ahead = t.Add(-off), off
	}
	return m, nil
}

// parseZone reads "Z", "+13:00", "-0330" or "+2" as an offset from UTC.
func parseZone(s string) (time.Duration, error) {
	s = strings.TrimSpace(s)
	if s == "Z" || s == "UT" || s == "UTC" {
		return 0, nil
	}
	digits := strings.ReplaceAll(strings.TrimLeft(s, "+-"), ":", "")
	if len(digits) <= 2 {
		digits += "00"
	}
	v, err := strconv.Atoi(digits)
	if err != nil || s == "" || s[0] != '+' && s[0] != '-' || v%100 > 59 || v > 1500 {
		return 0, fmt.Errorf("time zone %q is not between -15:00 and +15:00", s)
	}
	off := time.Duration(v/100)*time.Hour + time.Duration(v%100)*time.Minute
	if s[0] == '-' {
		off = -off
	}
	return off, nil
}

// makeTime checks every part of a date and time; empty ones are zero.
func makeTime(year, month, day, hour, minute, second string) (time.Time, error) {
	stated := strings.TrimRight(fmt.Sprintf("%s-%s-%s %s:%s:%s", year, month, day, hour, minute, second), " :")
	part := func(name, s string, lo, hi int) (int, error) {
		if s == "" {
			s = "0"
		}
		v, err := strconv.Atoi(s)
		if err != nil || v < lo || v > hi {
			return 0, fmt.Errorf("%s %s in %q is outside %d to %d; give the time", name, s, stated, lo, hi)
		}
		return v, nil
	}
	whole, frac, _ := strings.Cut(strings.ReplaceAll(second, ",", "."), ".")
	if whole == "60" {
		return time.Time{}, fmt.Errorf("second 60 in %q is a leap second, which is not handled; give the time", stated)
	}
	var v [6]int
	for i, p := range []struct {
		name, s string
		lo, hi  int
	}{
		{"year", year, firstYear, lastYear}, {"month", month, 1, 12}, {"day", day, 1, 31},
		{"hour", hour, 0, 23}, {"minute", minute, 0, 59}, {"second", whole, 0, 59},
	} {
		var err error
		if v[i], err = part(p.name, p.s, p.lo, p.hi); err != nil {
			return time.Time{}, err
		}
	}
	ns := 0.0
	if frac != "" {
		f, err := strconv.ParseFloat("0."+frac, 64)
		if err != nil {
			return time.Time{}, fmt.Errorf("second %s in %q is no number", second, stated)
		}
		ns = math.Min(math.Round(f*1e9), 999_999_999)
	}
	t := time.Date(v[0], time.Month(v[1]), v[2], v[3], v[4], v[5], int(ns), time.UTC)
	if t.Day() != v[2] {
		return time.Time{}, fmt.Errorf("day %d in %q is not in that month; give the time", v[2], stated)
	}
	return t, nil
}

// mjdZero is the zero of the modified Julian date.
var mjdZero = time.Date(1858, 11, 17, 0, 0, 0, 0, time.UTC)

// fromMJD turns a modified Julian date into a time.
func fromMJD(mjd float64) (time.Time, error) {
	day, frac := math.Modf(mjd)
	if !(day >= 15020 && day <= 88433) { // 1900 to 2100
		return time.Time{}, fmt.Errorf("modified Julian date %.6g is outside %d to %d; give the time", mjd, firstYear, lastYear)
	}
	ns := math.Round(frac*86400e6) * 1e3 // a float64 holds a date to about a microsecond
	return mjdZero.AddDate(0, 0, int(day)).Add(time.Duration(ns)), nil
}

// leaps are the days on which TAI-UTC became 11, 12, ... seconds (IERS
// Bulletin C; none since).
var leaps = []string{
	"1972-07-01", "1973-01-01", "1974-01-01", "1975-01-01", "1976-01-01", "1977-01-01", "1978-01-01", "1979-01-01",
	"1980-01-01", "1981-07-01", "1982-07-01", "1983-07-01", "1985-07-01", "1988-01-01", "1990-01-01", "1991-01-01",
	"1992-07-01", "1993-07-01", "1994-07-01", "1996-01-01", "1997-07-01", "1999-01-01", "2006-01-01", "2009-01-01",
	"2012-07-01", "2015-07-01", "2017-01-01",
}

// taiMinusUTC returns TAI-UTC at a UTC time, in whole seconds; 10 s before
// 1972, where it was not a whole number.
func taiMinusUTC(t time.Time) time.Duration {
	n := 10
	day := t.Format("2006-01-02")
	for _, l := range leaps {
		if day >= l {
			n++
		}
	}
	return time.Duration(n) * time.Second
}

// toUTC takes a reading of the time scale named by TIMESYS (FITS standard 4.0,
// section 9.2.1) to UTC. UT1 is within 0.9 s of UTC and taken as UTC.
func toUTC(t time.Time, system string) (time.Time, error) {
	var tai time.Time
	switch strings.ToUpper(system) {
	case "", "UTC", "UT", "UT1", "GMT", "Z":
		return t, nil
	case "TAI", "IAT":
		tai = t
	case "TT", "TDT", "ET", "TDB": // TDB is within 2 ms of TT
		tai = t.Add(-32184 * time.Millisecond)
	case "GPS":
		tai = t.Add(19 * time.Second)
	default:
		return t, fmt.Errorf("TIMESYS %q is not a known time scale; give the time", system)
	}
	utc := tai.Add(-taiMinusUTC(tai))
	return tai.Add(-taiMinusUTC(utc)), nil
}
