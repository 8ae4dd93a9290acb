package written

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"pintle/index/sphere"
)

// Latitude reads a geodetic latitude, -90 to 90 degrees, north positive:
// decimal degrees or degrees, minutes and seconds with any of the usual marks,
// with a sign or with N or S before or behind.
func Latitude(s string) (sphere.Angle, error) { return upright(s, "latitude") }

// Declination reads a declination as Latitude reads a latitude.
func Declination(s string) (sphere.Angle, error) { return upright(s, "declination") }

func upright(s, what string) (sphere.Angle, error) {
	r, err := read(s, what)
	if err != nil {
		return 0, err
	}
	if r.point == 'E' || r.point == 'W' {
		return 0, fault(what, s, "names east or west; are latitude and longitude swapped?")
	}
	if err := CheckLatitude(r.angle); err != nil {
		return 0, fault(what, s, "is outside -90 to 90 degrees")
	}
	return r.angle, nil
}

// Longitude reads a longitude as Latitude reads a latitude, with E or W. From
// -180 to 360 degrees are accepted, east positive; the result is in (-180, 180].
func Longitude(s string) (sphere.Angle, error) {
	r, err := read(s, "longitude")
	if err != nil {
		return 0, err
	}
	if r.point == 'N' || r.point == 'S' {
		return 0, fault("longitude", s, "names north or south; are latitude and longitude swapped?")
	}
	if err := CheckLongitude(r.angle); err != nil {
		return 0, fault("longitude", s, "is outside -180 to 360 degrees")
	}
	return r.angle.Wrap(), nil
}

// RightAscension reads hours marked by an h (5h35m17s, 5.588h) or decimal
// degrees; parts without an h are refused, since they may be either.
func RightAscension(s string) (sphere.Angle, error) {
	const what, advice = "right ascension", "write hours as 5h35m17s, or degrees as 83.82"
	tokens, why := scan(s)
	r := reader{time: true}
	if why == "" {
		why = r.run(tokens)
	}
	switch {
	case why != "":
		return 0, fault(what, s, why+"; "+advice)
	case r.parts > 1 && !r.marked:
		return 0, fault(what, s, "may be hours or degrees; "+advice)
	case r.negative:
		return 0, fault(what, s, "is negative; "+advice)
	case r.hours:
		r.sum *= 15
	}
	if r.sum > 360 {
		return 0, fault(what, s, "is beyond 24 hours; "+advice)
	}
	return sphere.Angle(r.sum) * sphere.Degree, nil
}

// Slack of the limits: the parts of exactly 90 degrees may add up to a last digit
// more.
const slack = 1 + 1e-12

// CheckLatitude refuses latitudes outside -90 to 90 degrees.
func CheckLatitude(a sphere.Angle) error {
	if !(a.Abs() <= 90*sphere.Degree*slack) {
		return fmt.Errorf("latitude %.6g is outside -90 to 90 degrees", a.Degrees())
	}
	return nil
}

// CheckLongitude refuses longitudes outside -180 to 360 degrees.
func CheckLongitude(a sphere.Angle) error {
	if !(a >= -180*sphere.Degree*slack && a <= 360*sphere.Degree*slack) {
		return fmt.Errorf("longitude %.6g is outside -180 to 360 degrees", a.Degrees())
	}
	return nil
}

// fault words what is wrong with something written.
func fault(what, s, why string) error { return fmt.Errorf("%s %s %s", what, quote(s), why) }

// quote shows what was written, cut and escaped.
func quote(s string) string {
	if len(s) > 60 {
		cut := 57
		for cut > 0 && !utf8.RuneStart(s[cut]) {
			cut--
		}
		s = s[:cut] + "..."
	}
	return strconv.Quote(s)
}

// reading is an angle with the compass point that it names, or 0.
type reading struct {
	angle sphere.Angle
	point byte
}

// read reads an angle of up to 360 degrees, with or without a compass point.
func read(s, what string) (reading, error) {
	const advice = "; write it like -31.4, -31 24 00 or 31:24:00 S"
	tokens, why := scan(s)
	var r reader
	if why == "" {
		why = r.run(tokens)
	}
	switch {
	case why != "":
		return reading{}, fault(what, s, why+advice)
	case r.hours:
		return reading{}, fault(what, s, "is in hours"+advice)
	case r.first != degrees:
		return reading{}, fault(what, s, "has no degrees"+advice)
	case r.sum > 360:
		return reading{}, fault(what, s, "is beyond 360 degrees"+advice)
	}
	if r.negative || r.point == 'S' || r.point == 'W' {
		r.sum = -r.sum
	}
	return reading{sphere.Angle(r.sum) * sphere.Degree, r.point}, nil
}

// reader goes through the tokens of one angle.
type reader struct {
	time     bool // a right ascension: no compass point, an s is always seconds
	left     []token
	sum      float64 // degrees or hours, without sign
	parts    int
	first    level // of the first part
	last     level // of the part before
	before   token // mark of the part before
	hours    bool
	fraction bool // the part before had one
	marked   bool // the first part has a mark
	negative bool // a minus stands before it
	positive bool // a plus does
	point    byte
}

// run reads all tokens; what it returns says why it cannot.
func (r *reader) run(tokens []token) (why string) {
	r.left = tokens
	if why = r.head(); why != "" {
		return why
	}
	for len(r.left) > 0 && r.left[0].kind != compass {
		if why = r.part(); why != "" {
			return why
		}
	}
	if why = r.tail(); why != "" {
		return why
	}
	if r.parts == 0 {
		return "is no angle"
	}
	return ""
}

// head reads a compass point or a sign before the first number.
func (r *reader) head() string {
	if len(r.left) == 0 {
		return "is no angle"
	}
	if t := r.left[0]; t.kind == compass && !r.time {
		r.point, r.left = t.text[0], r.left[1:]
	}
	if len(r.left) > 0 && r.left[0].kind == sign {
		if r.point != 0 {
			return signAndPoint(r.left[0].text, r.point)
		}
		r.negative, r.positive = r.left[0].text == "-", r.left[0].text == "+"
		r.left = r.left[1:]
	}
	return ""
}

func signAndPoint(sign string, point byte) string {
	return fmt.Sprintf("has both the sign %s and the letter %c", sign, point)
}

// part reads a number with its mark, or with the colon behind it.
func (r *reader) part() string {
	t := r.left[0]
	if t.kind != number {
		return "is no angle"
	}
	r.left = r.left[1:]
	v, fraction, why := plain(t.text)
	if why != "" {
		return why
	}
	at := level(0)
	if r.parts > 0 {
		at = r.last + 1
	}
	m, why := r.mark(at)
	switch {
	case why != "":
		return why
	case m.kind == mark && r.parts > 0 && m.level > at && r.before.kind != mark:
		return "leaves out the minutes"
	case m.kind == mark:
		if r.parts > 0 && m.level <= r.last {
			return "has its marks in the wrong order"
		}
		at = m.level
	}
	switch {
	case at > seconds:
		return "has more than degrees, minutes and seconds"
	case r.fraction:
		return "has a fraction before its last part"
	case at > degrees && (t.text[0] == '.' || t.text[0] == ','):
		return "has a blank or a mark before a decimal point or comma"
	case at > degrees && v >= 60:
		return "has minutes or seconds of 60 or more"
	}
	if r.parts == 0 {
		r.first, r.marked = at, m.kind == mark
	}
	r.hours = r.hours || m.hour
	r.sum += v / [...]float64{1, 60, 3600}[at]
	r.last, r.fraction, r.before = at, fraction, m
	r.parts++
	return ""
}

// mark takes the mark behind a number whose place is at, or a colon.
func (r *reader) mark(at level) (token, string) {
	if len(r.left) == 0 {
		return token{}, ""
	}
	t := r.left[0]
	switch {
	case t.kind == mark:
		r.left = r.left[1:]
		if r.hours && !t.letter {
			return t, "mixes hours with marks of arcminutes"
		}
		return t, ""
	case t.kind == colon:
		if len(r.left) == 1 {
			return t, "ends with a colon"
		}
		r.left = r.left[1:]
		return t, ""
	case t.kind == compass && t.south:
		is, why := r.isSeconds(at, t)
		if is && why == "" {
			r.left = r.left[1:]
			t.kind, t.level = mark, seconds
			return t, ""
		}
		return token{}, why
	}
	return token{}, ""
}

// isSeconds decides whether an s behind a number without a mark, whose place is
// at, means seconds; otherwise it means south. It does when the marks before are
// letters written alike, as in 31d24m10s, or when a compass point follows.
func (r *reader) isSeconds(at level, s token) (bool, string) {
	const twoWays = "can be read two ways: its s may be seconds or south; write \" for seconds, or put S for south first"
	alike := r.before.kind == mark && r.before.letter && r.before.upper == s.upper && r.before.gap == s.gap
	switch {
	case r.time, len(r.left) > 1 && r.left[1].kind == compass:
		return true, ""
	case len(r.left) > 1:
		return false, "has a letter in its middle"
	case at == seconds && alike:
		return true, ""
	case r.point != 0 || at == seconds && r.before.kind == mark:
		return false, twoWays
	case at > degrees && !s.upper:
		return false, twoWays
	case at > degrees && alike:
		return false, twoWays
	}
	return false, ""
}

// tail reads the compass point behind the last number.
func (r *reader) tail() string {
	if len(r.left) == 0 {
		return ""
	}
	t := r.left[0]
	switch {
	case r.time:
		return "holds the letter " + t.text
	case len(r.left) > 1:
		return "has a letter in its middle"
	case r.point != 0:
		return fmt.Sprintf("names both %c and %s", r.point, t.text)
	case r.negative:
		return signAndPoint("-", t.text[0])
	case r.positive && (t.text == "S" || t.text == "W"):
		return signAndPoint("+", t.text[0])
	}
	r.point, r.left = t.text[0], nil
	return ""
}

// plain reads digits with at most one point or comma, which is a decimal one: no
// angle needs a thousands separator.
func plain(s string) (v float64, fraction bool, why string) {
	switch strings.Count(s, ".") + strings.Count(s, ",") {
	case 0:
	case 1:
		fraction = true
		if strings.HasSuffix(s, ",") {
			return 0, false, "has a comma without digits behind it"
		}
		s = strings.Replace(s, ",", ".", 1)
	default:
		return 0, false, "has more than one point or comma in a number; give latitude and longitude apart"
	}
	whole, _, _ := strings.Cut(s, ".")
	if len(whole) > 3 {
		return 0, false, "has more than three digits of degrees; put spaces between degrees and minutes"
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(v, 0) {
		return 0, false, "is no angle"
	}
	return v, fraction, ""
}
