package written

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"
)

// Quantity is something that people state as a number with or without a unit.
type Quantity struct {
	Name string
	// Unit is that of bare numbers, of the limits and of what Parse returns. ""
	// is a plain number.
	Unit string
	// Lo and Hi are the limits.
	Lo, Hi float64
	// OrZero allows zero too where it lies outside the limits and means "not
	// told".
	OrZero bool
	// Like shows how it may be written, for hints.
	Like string
	kind dimension
}

// dimension is what units can be exchanged within: name to factor of a base
// unit.
type dimension map[string]float64

// The units that are understood, in small letters. Those that mean different
// things for different quantities (m, s, ' and ") are why each has its own table.
var (
	lengths = dimension{ // metres; the foot is 0.3048 m exactly (international yard, 1959)
		"m": 1, "metre": 1, "metres": 1, "meter": 1, "meters": 1, "km": 1000, "cm": 0.01, "mm": 1e-3,
		"um": 1e-6, "µm": 1e-6, "μm": 1e-6, "micron": 1e-6, "microns": 1e-6, "nm": 1e-9,
		"ft": 0.3048, "foot": 0.3048, "feet": 0.3048, "'": 0.3048, "in": 0.0254, "inch": 0.0254, "inches": 0.0254, "\"": 0.0254,
	}
	angles = dimension{ // arcminutes
		"arcmin": 1, "arcminute": 1, "arcminutes": 1, "amin": 1, "min": 1, "minute": 1, "minutes": 1, "m": 1, "'": 1,
		"arcsec": 1 / 60., "arcsecond": 1 / 60., "arcseconds": 1 / 60., "asec": 1 / 60., "sec": 1 / 60., "second": 1 / 60., "seconds": 1 / 60., "s": 1 / 60., "\"": 1 / 60.,
		"deg": 60, "degree": 60, "degrees": 60, "d": 60, "°": 60, "mas": 1 / 60e3, "rad": 60 * 180 / math.Pi, "mrad": 0.06 * 180 / math.Pi,
	}
	pressures = dimension{ // hPa; torr and inches of mercury by their definition at 0 C
		"hpa": 1, "mbar": 1, "mb": 1, "millibar": 1, "millibars": 1, "pa": 0.01, "kpa": 10, "bar": 1000,
		"mmhg": 1.33322387, "torr": 1.33322368, "inhg": 33.86389, "atm": 1013.25,
	}
	times = dimension{ // seconds
		"s": 1, "sec": 1, "secs": 1, "second": 1, "seconds": 1, "\"": 1, "ms": 1e-3, "min": 60, "mins": 60, "minute": 60, "minutes": 60, "m": 60, "'": 60,
		"h": 3600, "hr": 3600, "hrs": 3600, "hour": 3600, "hours": 3600, "us": 1e-6, "µs": 1e-6,
	}
	temperatures = dimension{ // sizes of a degree; see celsius
		"c": 1, "°c": 1, "celsius": 1, "degc": 1, "f": 5 / 9., "°f": 5 / 9., "fahrenheit": 5 / 9., "degf": 5 / 9., "k": 1, "kelvin": 1,
	}
	shares = dimension{"%": 1, "percent": 1}
	pixels = dimension{"px": 1, "pixel": 1, "pixels": 1}
	turns  = dimension{"": 1, "turn": 1, "turns": 1, "rev": 1}
	bare   = dimension{"": 1}
)

// The quantities that flags and gear files state.
var (
	Elevation   = Quantity{"elevation", "m", -500, 9000, false, "430, 430m or 1400ft", lengths}
	Focal       = Quantity{"focal length", "mm", 1, 1e5, true, "400, 0.4m or 16in", lengths}
	Pixel       = Quantity{"pixel size", "um", 0.1, 100, true, "3.76 or 3.76um", lengths}
	Tolerance   = Quantity{"tolerance", "arcmin", 0.01, 600, false, "1.5, 1.5', 90\" or 0.02deg", angles}
	PerTurn     = Quantity{"angle for one turn", "arcmin", 0.01, 7200, true, "38, 38' or 0.6deg", angles}
	Pressure    = Quantity{"pressure", "hPa", 250, 1100, true, "1013, 1013hPa, 760mmHg or 29.9inHg", pressures}
	Temperature = Quantity{"temperature", "C", -90, 60, false, "10, 10C or 50F", temperatures}
	Humidity    = Quantity{"humidity", "%", 0, 100, false, "50 or 50%", shares}
	Exposure    = Quantity{"exposure", "s", 0.001, 86400, true, "30, 30s, 1/60, 2min or 1m30s", times}
)

// Plain is a plain number within limits, such as a magnitude.
func Plain(name string, lo, hi float64, like string) Quantity {
	return Quantity{Name: name, Lo: lo, Hi: hi, Like: like, kind: bare}
}

// Span is an angle in degrees within limits.
func Span(name string, lo, hi float64, orZero bool) Quantity {
	return Quantity{name, "deg", lo, hi, orZero, "30, 30deg or 90'", angles}
}

// Small is an angle in arcminutes within limits.
func Small(name string, lo, hi float64) Quantity {
	return Quantity{name, "arcmin", lo, hi, false, "2, 2', 30\" or 0.5deg", angles}
}

// Tiny is an angle in arcseconds within limits.
func Tiny(name string, lo, hi float64) Quantity {
	return Quantity{name, "arcsec", lo, hi, false, "2, 2\" or 0.5'", angles}
}

// Pixels is a number of pixels within limits.
func Pixels(name string, lo, hi float64, orZero bool) Quantity {
	return Quantity{name, "px", lo, hi, orZero, "1 or 1.5px", pixels}
}

// Turns is a number of turns of an adjuster within limits.
func Turns(name string, lo, hi float64) Quantity {
	return Quantity{name, "", lo, hi, false, "1, -0.5 or 2 turns", turns}
}

// Convert returns what s says, in q.Unit, whatever the limits: a number alone,
// or one with a unit, or several with ever smaller units ("1m30s", "2'30\"").
func (q Quantity) Convert(s string) (float64, error) {
	v, why := q.value(strings.TrimSpace(s))
	if why != "" {
		return 0, fmt.Errorf("%s %s %s; write it like %s", q.Name, quote(s), why, q.Like)
	}
	return v, nil
}

// Parse returns what s says as Convert does, and refuses what lies outside the
// limits.
func (q Quantity) Parse(s string) (float64, error) {
	v, err := q.Convert(s)
	if err != nil {
		return 0, err
	}
	if err := q.check(v); err != "" {
		return 0, fmt.Errorf("%s %s %s", q.Name, quote(s), err)
	}
	return v, nil
}

// check says why a value, in q.Unit, lies outside the limits, "" when it does not.
func (q Quantity) check(v float64) string {
	if q.OrZero && v == 0 || v >= q.Lo && v <= q.Hi {
		return ""
	}
	return strings.TrimSpace(fmt.Sprintf("is %.6g, outside %g to %g %s", v, q.Lo, q.Hi, q.Unit))
}

// value reads all of s; why says why it cannot.
func (q Quantity) value(s string) (sum float64, why string) {
	if s == "" {
		return 0, "is empty"
	}
	negative := false
	for _, m := range minusSigns {
		if rest, ok := strings.CutPrefix(s, string(m)); ok {
			s, negative = rest, true
			break
		}
	}
	if !negative {
		s = strings.TrimPrefix(s, "+")
	}
	last := math.Inf(1)
	for n := 0; s != "" || n == 0; n++ {
		v, rest, why := q.number(s)
		if why != "" {
			return 0, why
		}
		unit, rest := cutUnit(rest)
		if unit == "" && n > 0 {
			return 0, "holds two numbers"
		}
		factor, ok := q.factor(unit)
		switch {
		case !ok:
			return 0, "is in " + quote(unit) + ", which is no unit of it"
		case factor >= last:
			return 0, "has its units in the wrong order"
		case n > 0 && q.isTemperature():
			return 0, "holds two numbers"
		case q.isTemperature():
			if negative {
				v = -v
			}
			sum, negative, last, s = celsius(v, unit), false, factor, rest
			continue
		}
		sum, last, s = sum+v*factor/q.own(), factor, rest
	}
	if negative {
		sum = -sum
	}
	return sum, ""
}

var bareNumber = Quantity{kind: bare}

// number cuts a number off the start of s.
func (q Quantity) number(s string) (v float64, rest, why string) {
	n := len(s) - len(strings.TrimLeft(s, "0123456789.,"))
	digits := s[:n]
	if strings.Trim(digits, ".,") == "" {
		return 0, "", "is no number"
	}
	if n < len(s) && (s[n] == 'e' || s[n] == 'E') { // 1e3
		m := n + 1
		if m < len(s) && (s[m] == '-' || s[m] == '+') {
			m++
		}
		if e := len(s[m:]) - len(strings.TrimLeft(s[m:], "0123456789")); e > 0 {
			n = m + e
		}
	}
	whole, after, comma := strings.Cut(digits, ",")
	switch {
	case strings.Count(digits, ".")+strings.Count(digits, ",") > 1:
		return 0, "", "has more than one point or comma"
	case comma && len(after) == 3 && strings.Trim(whole, "0") != "":
		return 0, "", "can be read two ways: its comma may part thousands or decimals; leave it out or write a point"
	}
	v, err := strconv.ParseFloat(strings.Replace(s[:n], ",", ".", 1), 64)
	if err != nil || math.IsInf(v, 0) {
		return 0, "", "is no number"
	}
	rest = s[n:]
	if under, ok := strings.CutPrefix(rest, "/"); ok && q.Unit == "s" { // 1/60
		d, rest, why := bareNumber.number(under)
		if why != "" || d == 0 {
			return 0, "", "is no number"
		}
		return v / d, rest, ""
	}
	return v, rest, ""
}

// cutUnit cuts a unit off the start of s, up to the next digit.
func cutUnit(s string) (unit, rest string) {
	n := strings.IndexFunc(s, func(r rune) bool { return r >= '0' && r <= '9' || r == '.' || r == ',' })
	if n < 0 {
		n = len(s)
	}
	return plainUnit(s[:n]), s[n:]
}

// plainUnit writes a unit as the tables have it.
func plainUnit(s string) string {
	s = strings.ToLower(strings.TrimSpace(s))
	var b strings.Builder
	for _, r := range s {
		switch {
		case unicode.IsSpace(r):
		case strings.ContainsRune(degreeSigns, r):
			b.WriteRune('°')
		case strings.ContainsRune(minuteSigns, r):
			b.WriteByte('\'')
		case strings.ContainsRune(secondSigns, r):
			b.WriteByte('"')
		default:
			b.WriteRune(r)
		}
	}
	return strings.ReplaceAll(b.String(), "''", "\"")
}

// factor returns the size of a unit, the usual one when it is "".
func (q Quantity) factor(unit string) (float64, bool) {
	if unit == "" {
		return q.own(), true
	}
	f, ok := q.kind[unit]
	return f, ok
}

// own is the size of the quantity's own unit.
func (q Quantity) own() float64 { return q.kind[strings.ToLower(q.Unit)] }

func (q Quantity) isTemperature() bool { _, ok := q.kind["kelvin"]; return ok }

// celsius takes a temperature in a unit to degrees Celsius, which it is in when
// the unit is "".
func celsius(v float64, unit string) float64 {
	switch strings.TrimPrefix(strings.TrimPrefix(unit, "°"), "deg") {
	case "f", "fahrenheit":
		return (v - 32) * 5 / 9
	case "k", "kelvin":
		return math.Round((v-273.15)*1e9) / 1e9
	}
	return v
}

// Flag returns a flag of the command line that keeps a quantity, in its unit, in
// *p, and sets it to the default. The limits are left to the verb, which knows
// what to say about them.
func (q Quantity) Flag(p *float64, usual float64) *Value {
	*p = usual
	return &Value{q, p}
}

// Value is a flag of the command line; it satisfies the interface of the flag
// packages.
type Value struct {
	q Quantity
	p *float64
}

// String is the value in the quantity's unit.
func (v *Value) String() string {
	if v.p == nil {
		return ""
	}
	return strconv.FormatFloat(*v.p, 'g', -1, 64)
}

// Set takes what was written on the command line.
func (v *Value) Set(s string) error {
	x, err := v.q.Convert(s)
	if err == nil {
		*v.p = x
	}
	return err
}

// Type names the unit.
func (v *Value) Type() string {
	if v.q.Unit == "" {
		return "number"
	}
	return v.q.Unit
}
