// Package words holds every sentence for people: pure functions from kinds and
// numbers to text, and the long texts of the verbs, found by verb. It prints
// nothing, reads nothing and asks no clock; each face (terminal, page, report)
// shows what it says.
package words

import (
	"fmt"
	"math"
	"strings"
	"time"

	"pintle/axis/place"
	"pintle/index/sphere"
)

// Sigma writes a standard error: never as nothing.
func Sigma(a sphere.Angle) string {
	if a < 0.095*sphere.Arcminute {
		return fmt.Sprintf("%.1f\"", math.Max(0.1, a.Arcseconds()))
	}
	return fmt.Sprintf("%.2f'", a.Arcminutes())
}

// PlusMinus writes an amount of the alignment with its standard error.
func PlusMinus(x, sigma sphere.Angle) string {
	return fmt.Sprintf("%+.2f' ± %s", x.Arcminutes(), Sigma(sigma))
}

// SmallAngle writes an angle of the alignment in a unit that suits it.
func SmallAngle(a sphere.Angle) string {
	switch m := math.Abs(a.Arcminutes()); {
	case m >= 90:
		return fmt.Sprintf("%.1f°", a.Degrees())
	case m >= 9.95:
		return fmt.Sprintf("%.0f'", a.Arcminutes())
	case m >= 0.995:
		return fmt.Sprintf("%.1f'", a.Arcminutes())
	}
	return fmt.Sprintf("%.2f' (%.0f\")", a.Arcminutes(), a.Arcseconds())
}

// Arcminutes writes an amount to turn with three digits or so, for large signs.
func Arcminutes(a sphere.Angle) string {
	switch x := a.Arcminutes(); {
	case x < 9.995:
		return fmt.Sprintf("%.2f'", x)
	case x < 99.95:
		return fmt.Sprintf("%.1f'", x)
	default:
		return fmt.Sprintf("%.0f'", x)
	}
}

// LatLon writes a place for people.
func LatLon(s place.Site) string {
	ns, ew := "N", "E"
	if s.Lat < 0 {
		ns = "S"
	}
	lon := s.Lon.Wrap()
	if lon < 0 {
		ew = "W"
	}
	return fmt.Sprintf("%.3f° %s %.3f° %s, %.0f m", math.Abs(s.Lat.Degrees()), ns, math.Abs(lon.Degrees()), ew, s.Elev)
}

// Where names a site, by its place alone when it has no name.
func Where(name string, s place.Site) string {
	if name == "" {
		return LatLon(s)
	}
	return name + " (" + LatLon(s) + ")"
}

// EastWest writes a declination of the compass.
func EastWest(d sphere.Angle) string {
	if d < 0 {
		return fmt.Sprintf("%.1f° west", -d.Degrees())
	}
	return fmt.Sprintf("%.1f° east", d.Degrees())
}

// Bearing writes an azimuth to the tenth, never as 360.0.
func Bearing(a sphere.Angle) string {
	return fmt.Sprintf("%.1f°", math.Mod(math.Round(a.Turn().Degrees()*10)/10, 360))
}

// winds are the sixteen points of the compass.
var winds = strings.Fields("N NNE NE ENE E ESE SE SSE S SSW SW WSW W WNW NW NNW")

// Wind names the point of the compass nearest to an azimuth.
func Wind(az sphere.Angle) string {
	return winds[int(math.Round(az.Turn().Degrees()/22.5))%16]
}

// seconds writes an exposure.
func seconds(d time.Duration) string { return fmt.Sprintf("%g s", d.Seconds()) }

// Count writes a number of things.
func Count(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}

// Known lists names for a hint, or says how to make the first one.
func Known(names []string, first string) string {
	if len(names) == 0 {
		return first
	}
	return "there is: " + strings.Join(names, ", ")
}

// Stars writes a number of stars in four places, for tables.
func Stars(n int) string {
	if n == 1 {
		return "   1 star "
	}
	return fmt.Sprintf("%4d stars", n)
}

// HM writes a right ascension in hours and minutes, DM a declination in degrees
// and minutes: enough to find the place, and short.
func HM(a sphere.Angle) string {
	n := int64(math.Round(a.Turn().Degrees()/15*60)) % (24 * 60)
	return fmt.Sprintf("%02dh%02dm", n/60, n%60)
}

// DM writes a declination in degrees and minutes.
func DM(a sphere.Angle) string {
	sign := '+'
	if a < 0 {
		sign = '-'
	}
	n := int64(math.Round(a.Abs().Arcminutes()))
	return fmt.Sprintf("%c%02d°%02d'", sign, n/60, n%60)
}

// HMS writes a right ascension in hours, minutes and seconds.
func HMS(a sphere.Angle) string {
	n := int64(math.Round(a.Turn().Degrees()/15*36000)) % (24 * 36000) // tenths of a second
	return fmt.Sprintf("%02dh%02dm%02d.%ds", n/36000, n/600%60, n/10%60, n%10)
}

// DMS writes a declination in degrees, minutes and seconds.
func DMS(a sphere.Angle) string {
	sign := '+'
	if a < 0 {
		sign = '-'
	}
	n := int64(math.Round(a.Abs().Arcseconds()))
	return fmt.Sprintf("%c%02d°%02d'%02d\"", sign, n/3600, n/60%60, n%60)
}

// Wrap breaks a text into rows of no more than width places, between words where
// it can. A text that is no wider stays as it is.
func Wrap(text string, width int) (rows []string) {
	text = Foreign(text)
	width = max(width, 1)
	line := ""
	for _, w := range strings.Fields(text) {
		for Places(w) > width && len(w) > 0 { // a word too long for any row
			room := width - Places(line)
			if line != "" {
				room--
			}
			if line != "" && room < min(width, 8) {
				rows, line = append(rows, line), ""
				continue
			}
			n := fitting(w, room)
			if line != "" {
				line += " "
			}
			rows, line, w = append(rows, line+w[:n]), "", w[n:]
		}
		if w == "" {
			continue
		}
		switch {
		case line == "":
			line = w
		case Places(line)+1+Places(w) <= width:
			line += " " + w
		default:
			rows, line = append(rows, line), w
		}
	}
	if line != "" || rows == nil {
		rows = append(rows, line)
	}
	return rows
}

// fitting is how many bytes of a word take no more than room places; one sign at
// least.
func fitting(w string, room int) (n int) {
	for i, r := range w {
		if room -= Places(string(r)); room < 0 && i > 0 {
			return i
		}
	}
	return len(w)
}

// Apart returns names for paths: their base names, with as many folders before
// them as tell those of one name apart.
func Apart(paths []string) []string {
	out := make([]string, len(paths))
	for i, p := range paths {
		for k := 1; ; k++ {
			out[i] = tail(p, k)
			twin := false
			for j, q := range paths {
				twin = twin || j != i && q != p && tail(q, k) == out[i]
			}
			if !twin || out[i] == p || k > 32 {
				break
			}
		}
	}
	return out
}

// tail returns the last k parts of a path.
func tail(p string, k int) string {
	for i := len(p) - 1; i > 0; i-- {
		if p[i] == '/' || p[i] == '\\' {
			if k--; k == 0 {
				return p[i+1:]
			}
		}
	}
	return p
}
