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

// Seconds writes an exposure.
func Seconds(d time.Duration) string { return fmt.Sprintf("%g s", d.Seconds()) }

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
