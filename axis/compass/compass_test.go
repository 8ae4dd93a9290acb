package compass

import (
	"bufio"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"pintle/index/sphere"
)

// rows reads a table of numbers, leaving out lines that start with '#'.
func rows(t *testing.T, name string, columns, want int) [][]float64 {
	t.Helper()
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var out [][]float64
	for sc := bufio.NewScanner(f); sc.Scan(); {
		if strings.HasPrefix(sc.Text(), "#") {
			continue
		}
		var row []float64
		for _, w := range strings.Fields(sc.Text()) {
			x, err := strconv.ParseFloat(w, 64)
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			row = append(row, x)
		}
		if len(row) != columns {
			t.Fatalf("%s: %d columns, want %d", name, len(row), columns)
		}
		out = append(out, row)
	}
	if len(out) != want {
		t.Fatalf("%s: %d rows, want %d", name, len(out), want)
	}
	return out
}

func at(t *testing.T, lat, lon, km, year float64) Reading {
	t.Helper()
	r, err := At(sphere.Angle(lat)*sphere.Degree, sphere.Angle(lon)*sphere.Degree, km*1000, year)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// near reports a number outside its tolerance; NaN in the source means "not
// given there".
func near(t *testing.T, row []float64, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%v: %s = %.7g, want %.7g, difference %.2g, tolerance %.2g", row[:4], what, got, want, got-want, tol)
	}
}

func degrees(got sphere.Angle, want float64) float64 {
	return want + (got - sphere.Angle(want)*sphere.Degree).Wrap().Degrees()
}

// The 100 test points published with the model. X, H and F get 1e-3 nT: the
// published X differs by up to 7.2e-4 nT from an exact evaluation. The yearly
// changes are printed to 1e-6.
func TestPublishedPoints(t *testing.T) {
	for _, r := range rows(t, "testdata/test_values.txt", 18, 100) {
		f := at(t, r[2], r[3], r[1], r[0])
		near(t, r, "D", degrees(f.D, r[4]), r[4], 0.005+1e-9)
		near(t, r, "I", degrees(f.I, r[5]), r[5], 0.005+1e-9)
		near(t, r, "H", f.H, r[6], 1e-3)
		near(t, r, "X", f.X, r[7], 1e-3)
		near(t, r, "Y", f.Y, r[8], 1e-6)
		near(t, r, "Z", f.Z, r[9], 3e-6)
		near(t, r, "F", f.F, r[10], 1e-3)
		c := f.PerYear
		near(t, r, "dD", c.D.Degrees(), r[11], 2e-6)
		near(t, r, "dI", c.I.Degrees(), r[12], 2e-6)
		near(t, r, "dH", c.H, r[13], 2e-6)
		near(t, r, "dX", c.X, r[14], 2e-6)
		near(t, r, "dY", c.Y, r[15], 2e-6)
		near(t, r, "dZ", c.Z, r[16], 2e-6)
		near(t, r, "dF", c.F, r[17], 2e-6)
	}
}

// The 12 points of the technical report, Table 6, printed to 0.1 nT and 0.01
// degree.
func TestReportPoints(t *testing.T) {
	for _, r := range rows(t, "testdata/test_values_report_table6.txt", 19, 12) {
		f := at(t, r[2], r[3], r[1], r[0])
		for i, got := range []float64{f.X, f.Y, f.Z, f.H, f.F} {
			near(t, r, "XYZHF", got, r[4+i], 0.05+1e-6)
		}
		near(t, r, "I", degrees(f.I, r[9]), r[9], 0.005+1e-9)
		near(t, r, "D", degrees(f.D, r[10]), r[10], 0.005+1e-9)
		c := f.PerYear
		for i, got := range []float64{c.X, c.Y, c.Z, c.H, c.F} {
			near(t, r, "yearly XYZHF", got, r[12+i], 0.05+1e-6)
		}
		near(t, r, "yearly I", c.I.Degrees(), r[17], 0.005+1e-9)
		near(t, r, "yearly D", c.D.Degrees(), r[18], 0.005+1e-9)
	}
}

// The technical report's Table 3b as quoted in a public test suite.
func TestFullPrecisionPoint(t *testing.T) {
	row := []float64{2027.5, 100, -80, 240}
	f := at(t, -80, 240, 100, 2027.5)
	near(t, row, "X", f.X, 5983.9760496518, 1e-8)
	near(t, row, "Y", f.Y, 14760.1359757868, 1e-8)
	near(t, row, "Z", f.Z, -49317.6706154255, 1e-8)
	near(t, row, "H", f.H, 15927.0079860130, 1e-8)
	near(t, row, "F", f.F, 51825.6907172314, 1e-8)
	near(t, row, "D", f.D.Radians(), 1.1856308407, 1e-10)
	near(t, row, "I", f.I.Radians(), -1.2584221541, 1e-10)
}

// Six sites, evaluated from the same file by an independent program.
func TestSites(t *testing.T) {
	for _, c := range []struct{ lat, lon, km, d, i, h, perYear, sigma float64 }{
		{51.4779, 0, 0, 1.2737, 66.5323, 19566.3, 0.1700, 0.38},
		{40.015, -105.27, 1.6, 7.6519, 66.0113, 20759.3, -0.0806, 0.37},
		{-33.87, 151.21, 0, 12.8301, -64.3951, 24622.1, 0.0215, 0.34},
		{-0.18, -78.47, 2.85, -5.1178, 19.8854, 26477.7, -0.1888, 0.33},
		{69.65, 18.96, 0, 11.3015, 78.4382, 10806.9, 0.2677, 0.56},
		{-33.93, 18.42, 0, -26.8365, -64.5801, 10715.3, -0.2319, 0.57},
	} {
		row := []float64{2026.9, c.km, c.lat, c.lon}
		f := at(t, c.lat, c.lon, c.km, 2026.9)
		near(t, row, "D", f.D.Degrees(), c.d, 0.001)
		near(t, row, "I", f.I.Degrees(), c.i, 0.001)
		near(t, row, "H", f.H, c.h, 0.05+1e-6)
		near(t, row, "dD", f.PerYear.D.Degrees(), c.perYear, 0.00005+1e-9)
		near(t, row, "sigma", f.Sigma().Degrees(), c.sigma, 0.005+1e-9)
	}
}

// The field is one vector field: at a pole the horizontal part must not
// depend on the meridian it is written in, and it must be the limit of the
// places around.
func TestPoles(t *testing.T) {
	for _, pole := range []float64{90, -90} {
		var first vec
		for _, lon := range []float64{0, 45, 90, 180, -77} {
			f := at(t, pole, lon, 0, 2026)
			s, c := math.Sincos(lon * math.Pi / 180)
			// North along meridian lon, in the fixed axes of longitudes 0 and 90.
			up := math.Copysign(1, pole)
			fixed := vec{-up*f.X*c - f.Y*s, -up*f.X*s + f.Y*c, f.Z}
			if first == (vec{}) {
				first = fixed
			}
			if d := math.Hypot(math.Hypot(fixed.x-first.x, fixed.y-first.y), fixed.z-first.z); d > 1e-7 {
				t.Errorf("pole %v lon %v: field differs by %g nT", pole, lon, d)
			}
			g := at(t, pole*(1-1e-9), lon, 0, 2026)
			if d := math.Hypot(f.X-g.X, f.Y-g.Y); d > 1e-3 {
				t.Errorf("pole %v lon %v: jump of %g nT", pole, lon, d)
			}
		}
	}
}

func TestDateLine(t *testing.T) {
	for _, lat := range []float64{-80, -20, 0, 55, 89} {
		a, b := at(t, lat, 180, 0, 2026), at(t, lat, -180, 0, 2026)
		c, d := at(t, lat, 179.9999999, 0, 2026), at(t, lat, -179.9999999+720, 0, 2026)
		if math.Abs(a.X-b.X)+math.Abs(a.Y-b.Y) > 1e-8 || math.Abs(c.X-d.X)+math.Abs(c.Y-d.Y) > 1e-2 {
			t.Errorf("lat %v: %v, %v, %v, %v", lat, a, b, c, d)
		}
	}
}

// The yearly change is the derivative of the values: a plain difference.
func TestYearlyChangeTwin(t *testing.T) {
	for _, c := range [][2]float64{{52, 13}, {-34, 151}, {85, -120}, {2, 30}} {
		a, b, m := at(t, c[0], c[1], 0, 2026), at(t, c[0], c[1], 0, 2026.02), at(t, c[0], c[1], 0, 2026.01)
		row := []float64{2026, 0, c[0], c[1]}
		near(t, row, "dD", m.PerYear.D.Degrees(), (b.D-a.D).Degrees()/0.02, 1e-5)
		near(t, row, "dI", m.PerYear.I.Degrees(), (b.I-a.I).Degrees()/0.02, 1e-5)
		near(t, row, "dF", m.PerYear.F, (b.F-a.F)/0.02, 1e-4)
		near(t, row, "dH", m.PerYear.H, (b.H-a.H)/0.02, 1e-4)
	}
}

func TestZonesAndDates(t *testing.T) {
	// Table 6 and the published points give the horizontal fields.
	if z := at(t, 89, -121, 28, 2025).Zone(); z != NoCompass { // H 1504 nT
		t.Errorf("89 N 121 W: zone %v, want no compass", z)
	}
	if z := at(t, 80, -96, 48, 2025).Zone(); z != Caution { // H 2164 nT
		t.Errorf("80 N 96 W: zone %v, want caution", z)
	}
	if z := at(t, 80, 0, 0, 2025).Zone(); z != Good { // H 6523 nT
		t.Errorf("80 N 0 E: zone %v, want good", z)
	}
	// The limits themselves, as the model's makers set them: below 2000 nT a
	// compass is of no use, below 6000 it needs caution.
	for h, want := range map[float64]Zone{0: NoCompass, 1999: NoCompass, 2001: Caution, 5999: Caution, 6001: Good, 40000: Good} {
		if z := (Field{H: h}).Zone(); z != want {
			t.Errorf("horizontal field of %g nT: zone %v, want %v", h, z, want)
		}
	}
	for _, c := range []struct{ year, outside float64 }{{2024.5, -0.5}, {2025, 0}, {2030, 0}, {2031.25, 1.25}} {
		if got := at(t, 10, 10, 0, c.year).Outside; got != c.outside {
			t.Errorf("year %v: outside by %v, want %v", c.year, got, c.outside)
		}
	}
	for _, c := range [][4]float64{{91, 0, 0, 2026}, {math.NaN(), 0, 0, 2026}, {0, math.Inf(1), 0, 2026}, {0, 0, 900e3, 2026}, {0, 0, -2000, 2026}, {0, 0, 0, 2040}, {0, 0, 0, math.NaN()}} {
		if r, err := At(sphere.Angle(c[0])*sphere.Degree, sphere.Angle(c[1])*sphere.Degree, c[2], c[3]); err == nil {
			t.Errorf("%v: got %v, want an error", c, r)
		}
	}
}

func TestYearAndBearing(t *testing.T) {
	for _, c := range []struct {
		t    time.Time
		want float64
	}{
		{time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC), 2026},
		{time.Date(2026, 7, 2, 12, 0, 0, 0, time.UTC), 2026.5},
		{time.Date(2028, 7, 2, 0, 0, 0, 0, time.UTC), 2028.5}, // leap year
	} {
		if got := Year(c.t); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("Year(%v) = %v, want %v", c.t, got, c.want)
		}
	}
	// "Declination east, compass least": with 10 deg east, true north reads 350.
	if got := (Field{D: 10 * sphere.Degree}).Bearing(0).Degrees(); math.Abs(got-350) > 1e-9 {
		t.Errorf("bearing = %v, want 350", got)
	}
}

func TestParseRefuses(t *testing.T) {
	for _, text := range []string{"", "x", "2025.0 M\n 1 0 1 2 3\n", "2025.0 M\n 13 0 1 2 3 4\n", "2025.0 M\n 1 0 1 2 3 4\n9999\n"} {
		if _, err := parse(text); err == nil {
			t.Errorf("parse(%q): want an error", text)
		}
	}
}

func BenchmarkAt(b *testing.B) {
	for b.Loop() {
		At(0.9, 0.2, 100, 2026.9)
	}
}
