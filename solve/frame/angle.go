package frame

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"pintle/index/sphere"
)

// ParseAngle reads an angle in degrees, decimal or sexagesimal, for headers
// and for flags of the command line: "-31.4", "-31 24 00", "31:24:00 S",
// "31d24m00s", "W 70°55'47.5\"". Parts after the first are minutes and seconds
// below 60; only the last may have a fraction. N and E are positive, S and W
// negative, and exclude a sign.
func ParseAngle(s string) (sphere.Angle, error) {
	a, _, err := parseAngle(s)
	return a, err
}

// ParseLat reads a geodetic latitude as ParseAngle does, -90 to 90 degrees,
// north positive.
func ParseLat(s string) (sphere.Angle, error) {
	a, letter, err := parseAngle(s)
	if err != nil {
		return 0, err
	}
	if letter == 'E' || letter == 'W' {
		return 0, fmt.Errorf("latitude %q names east or west; are latitude and longitude swapped?", s)
	}
	return a, checkLat(a)
}

// ParseLon reads a longitude as ParseAngle does, east positive. From -180 to
// 360 degrees are accepted; the result is in (-180, 180].
func ParseLon(s string) (sphere.Angle, error) {
	a, letter, err := parseAngle(s)
	if err != nil {
		return 0, err
	}
	if letter == 'N' || letter == 'S' {
		return 0, fmt.Errorf("longitude %q names north or south; are latitude and longitude swapped?", s)
	}
	if err := checkLon(a); err != nil {
		return 0, err
	}
	return a.Wrap(), nil
}

func checkLat(a sphere.Angle) error {
	if !(a.Abs() <= 90*sphere.Degree*(1+1e-12)) {
		return fmt.Errorf("latitude %.6g is outside -90 to 90 degrees", a.Degrees())
	}
	return nil
}

func checkLon(a sphere.Angle) error {
	if !(a >= -180*sphere.Degree*(1+1e-12) && a <= 360*sphere.Degree*(1+1e-12)) {
		return fmt.Errorf("longitude %.6g is outside -180 to 360 degrees", a.Degrees())
	}
	return nil
}

// parseAngle also returns the letter of the compass that s names, or 0.
func parseAngle(s string) (sphere.Angle, byte, error) {
	bad := func(why string) (sphere.Angle, byte, error) {
		return 0, 0, fmt.Errorf("angle %q %s; write it like -31.4, -31 24 00 or 31:24:00 S", s, why)
	}
	t := strings.ToUpper(strings.TrimSpace(s))
	t, letter := compass(t)
	t = strings.ReplaceAll(t, "−", "-")
	sign := 1.0
	if letter == 'S' || letter == 'W' {
		sign = -1
	}
	if t != "" && (t[0] == '-' || t[0] == '+') {
		if letter != 0 {
			return bad("has both a sign and a letter")
		}
		if t[0] == '-' {
			sign = -1
		}
		t = t[1:]
	}
	parts := strings.FieldsFunc(t, func(r rune) bool { return strings.ContainsRune(" \t:DMS°º'\"′″", r) })
	if len(parts) < 1 || len(parts) > 3 {
		return bad("is no angle")
	}
	sum, unit := 0.0, 1.0
	for i, p := range parts {
		v, err := plainNumber(p)
		switch {
		case err != nil:
			return bad("is no angle")
		case i > 0 && v >= 60:
			return bad("has minutes or seconds of 60 or more")
		case i < len(parts)-1 && strings.Contains(p, "."):
			return bad("has a fraction before its last part")
		}
		sum += v * unit
		unit /= 60
	}
	if sum > 360 {
		return bad("is beyond 360 degrees")
	}
	return sphere.Angle(sign*sum) * sphere.Degree, letter, nil
}

// compass splits off a letter N, S, E or W at either end of t.
func compass(t string) (string, byte) {
	if t == "" {
		return t, 0
	}
	if c := t[0]; strings.IndexByte("NSEW", c) >= 0 {
		return strings.TrimSpace(t[1:]), c
	}
	c, rest := t[len(t)-1], t[:len(t)-1]
	if strings.IndexByte("NEW", c) >= 0 {
		return strings.TrimSpace(rest), c
	}
	// An S may be the unit of seconds: in "31D24M00S" it is.
	if c == 'S' && !(strings.ContainsAny(rest, "M'′") && !strings.ContainsAny(rest, "S\"″") && !strings.HasSuffix(rest, " ")) {
		return strings.TrimSpace(rest), c
	}
	return t, 0
}

// plainNumber reads digits with at most one point.
func plainNumber(s string) (float64, error) {
	for _, r := range s {
		if (r < '0' || r > '9') && r != '.' {
			return 0, strconv.ErrSyntax
		}
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(v, 0) {
		return 0, strconv.ErrSyntax
	}
	return v, nil
}
