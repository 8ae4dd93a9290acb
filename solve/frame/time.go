package frame

import (
	"fmt"
	"regexp"
	"strings"
	"sync"
	"time"
)

// when returns the middle of the exposure. The first of these that is stated
// is taken:
//
//  1. Options.At, one time for all frames;
//  2. the FITS header: DATE-AVG, MJD-AVG (middle), then DATE-OBS, DATE-OBS with
//     TIME-OBS or UT, DATE-BEG, MJD-OBS, MJD-BEG (start), in the time scale of
//     TIMESYS, UTC when there is none;
//  3. the EXIF block: DateTimeOriginal (start) with OffsetTimeOriginal or
//     OffsetTime, else in Options.TimeZone;
//  4. a stamp in the file name (start): in UTC when it ends in Z, such as
//     20261127T103000Z, else in Options.TimeZone;
//  5. EXIF, then file name, of a clock whose zone nobody states, read as UTC
//     and marked doubtful;
//  6. the time of the file itself (end of the exposure), marked doubtful.
//
// Half the exposure is added to a start, when it is known. A time that is
// stated but cannot be is refused and not replaced by a weaker one.
func when(f *file, what facts, exposure time.Duration, o Options) Time {
	if !o.At.IsZero() {
		return Time{Mid: o.At.UTC(), Source: "given"}
	}
	sources := []func() (Time, bool){
		func() (Time, bool) { return headerTime(what.cards, exposure, o.TimeZone) },
		func() (Time, bool) { return exifTime(what.exif, exposure, o.TimeZone, false) },
		func() (Time, bool) { return nameTime(f.name, exposure, o.TimeZone, false) },
		func() (Time, bool) { return exifTime(what.exif, exposure, o.TimeZone, true) },
		func() (Time, bool) { return nameTime(f.name, exposure, o.TimeZone, true) },
	}
	for _, s := range sources {
		if t, ok := s(); ok {
			if t.Err != nil {
				t.Mid = time.Time{}
			}
			return t
		}
	}
	if y := f.modified.Year(); y >= firstYear && y <= lastYear && !f.modified.IsZero() {
		return Time{Mid: f.modified.UTC().Add(-exposure / 2), Source: "time of the file, which a copy changes; give the time", Doubtful: true}
	}
	return Time{}
}

// exposure returns the exposure time, zero when unknown.
func exposure(what facts, o Options) time.Duration {
	if o.Exposure > 0 {
		return o.Exposure
	}
	v, _, ok := what.cards.Positive("EXPTIME", "EXPOSURE", "XPOSURE", "TELAPSE", "ITIME")
	if !ok {
		v, ok = what.exif.num(tagExposureTime)
	}
	if !ok || !(v > 0 && v <= 86400) {
		return 0
	}
	return time.Duration(v * float64(time.Second))
}

// start makes a Time of a start.
func start(t time.Time, exposure time.Duration, source string) Time {
	if exposure == 0 {
		return Time{Mid: t, Source: source + ", exposure unknown"}
	}
	return Time{Mid: t.Add(exposure / 2), Source: source + " + half the exposure"}
}

func headerTime(c cards, exposure time.Duration, zone *time.Location) (Time, bool) {
	system, _ := c.Text("TIMESYS")
	finish := func(t Time, err error) (Time, bool) {
		if err == nil && strings.EqualFold(system, "LOCAL") {
			if zone == nil {
				t.Source += ", local clock of unknown zone read as UTC; give the time zone"
				t.Doubtful = true
			} else {
				t.Mid = moment{t: t.Mid}.in(zone)
			}
		} else if err == nil {
			t.Mid, err = toUTC(t.Mid, system)
		}
		if err != nil {
			t.Err = fmt.Errorf("%s: %w", t.Source, err)
		}
		return t, true
	}
	if s, ok := c.Text("DATE-AVG"); ok {
		m, err := parseMoment(s)
		return finish(Time{Mid: m.t, Source: "DATE-AVG"}, err)
	}
	if v, ok := c.Number("MJD-AVG"); ok {
		t, err := fromMJD(v)
		return finish(Time{Mid: t, Source: "MJD-AVG"}, err)
	}
	for _, k := range []string{"DATE-OBS", "DATE-BEG"} {
		s, ok := c.Text(k)
		if !ok {
			continue
		}
		m, err := parseMoment(s)
		if err == nil && !m.clock {
			if m, k, err = splitTime(c, k, s); err == nil && !m.clock {
				continue // a date alone is no time
			}
		}
		return finish(start(m.t, exposure, k), err)
	}
	for _, k := range []string{"MJD-OBS", "MJD-BEG"} {
		if v, ok := c.Number(k); ok {
			t, err := fromMJD(v)
			return finish(start(t, exposure, k), err)
		}
	}
	return Time{}, false
}

// splitTime adds the time of day that stands in a keyword of its own.
func splitTime(c cards, key, date string) (moment, string, error) {
	for _, k := range []string{"TIME-OBS", "TIME-BEG", "UT", "UTC", "UTSTART", "UT-OBS", "UTC-OBS", "UT-START"} {
		clock, ok := c.Text(k)
		if !ok || !strings.Contains(clock, ":") {
			continue
		}
		if p := oldForm().FindStringSubmatch(date); p != nil {
			date = "19" + p[3] + "-" + p[2] + "-" + p[1]
		}
		m, err := parseMoment(date + "T" + clock)
		return m, key + " + " + k, err
	}
	return moment{}, key, nil
}

// exifTime reads the date of an EXIF block. With guess, a clock without zone is
// read as UTC; without, such a date does not count.
func exifTime(x *exif, exposure time.Duration, zone *time.Location, guess bool) (Time, bool) {
	for _, k := range []struct {
		name              string
		date, sub, offset uint16
	}{
		{"EXIF DateTimeOriginal", tagDateOriginal, tagSubOriginal, tagOffOriginal},
		{"EXIF DateTimeDigitized", tagDateDigital, tagSubDigital, tagOffDigital},
		{"EXIF DateTime", tagDateTime, tagSubSec, tagOffset},
	} {
		s := x.text(k.date)
		if strings.Trim(s, "0: ") == "" {
			continue // an unset clock is written as zeros or blanks
		}
		if sub := x.text(k.sub); sub != "" && strings.Trim(sub, "0123456789") == "" && !strings.Contains(s, ".") {
			s += "." + sub
		}
		offset := x.text(k.offset)
		if strings.Trim(offset, ": ") == "" {
			offset = x.text(tagOffset)
		}
		offset = strings.Trim(offset, ": ")
		name := k.name
		if offset != "" {
			s += offset
			name += " with its offset " + offset
		}
		t, ok := clockTime(s, name, exposure, zone, guess)
		if m, err := parseMoment(s); err == nil && m.zoned {
			t.Zone = &m.ahead
		}
		return t, ok
	}
	return Time{}, false
}

// clockTime makes a Time of a start by a clock that may not state its zone.
func clockTime(s, name string, exposure time.Duration, zone *time.Location, guess bool) (Time, bool) {
	m, err := parseMoment(s)
	if err != nil {
		return Time{Source: name, Err: fmt.Errorf("%s: %w", name, err)}, true
	}
	switch {
	case m.zoned:
	case zone != nil:
		name += " in time zone " + zone.String()
	case guess:
		name += " of unknown zone read as UTC"
	default:
		return Time{}, false
	}
	t := start(m.in(zone), exposure, name)
	if !m.zoned && zone == nil {
		t.Doubtful = true
		t.Source += "; give the time zone"
	}
	return t, true
}

// nameForm is a date and time of day in a file name.
var nameForm = sync.OnceValue(func() *regexp.Regexp {
	return regexp.MustCompile(`(?:^|[^0-9])(\d{4})([-_.]?)(\d\d)[-_.]?(\d\d)(T|[-_ .])?(\d\d)[-_:.h]?(\d\d)[-_:.m]?(\d\d)(?:[.,](\d{1,6}))?(Z?)(?:[^0-9Z]|$)`)
})

// nameTime reads a stamp in the file name. Digits that make no date are not
// taken for one unless they are written like one, with T and Z.
func nameTime(name string, exposure time.Duration, zone *time.Location, guess bool) (Time, bool) {
	for _, p := range nameForm().FindAllStringSubmatch(name, -1) {
		s := fmt.Sprintf("%s-%s-%sT%s:%s:%s", p[1], p[3], p[4], p[6], p[7], p[8])
		if p[9] != "" {
			s += "." + p[9]
		}
		if _, err := parseMoment(s); err != nil && !(p[5] == "T" && p[10] == "Z") {
			continue
		}
		return clockTime(s+p[10], "file name", exposure, zone, guess)
	}
	return Time{}, false
}
