package written

import (
	"math"
	"strings"
	"testing"
)

// TestQuantities: the foot is 0.3048 m and the inch 25.4 mm exactly (international
// yard and pound agreement, 1959), 760 mmHg are 1013.25 hPa (the standard
// atmosphere, 10th CGPM 1954), 50 F are 10 C by definition.
func TestQuantities(t *testing.T) {
	for _, c := range []struct {
		q    Quantity
		s    string
		want float64
	}{
		{Elevation, "430", 430}, {Elevation, "300 m", 300}, {Elevation, "300m", 300}, {Elevation, "9000ft", 2743.2}, {Elevation, "9000'", 2743.2},
		{Elevation, "9000 feet", 2743.2}, {Elevation, "-20", -20}, {Elevation, "−20 m", -20}, {Elevation, "1.2km", 1200}, {Elevation, "0,5 km", 500},
		{Elevation, "+7", 7}, {Elevation, "5'6\"", 1.6764}, {Elevation, "1e3", 1000},
		{Focal, "400", 400}, {Focal, "400 mm", 400}, {Focal, "0.4m", 400}, {Focal, "16in", 406.4}, {Focal, "16\"", 406.4}, {Focal, "40 cm", 400}, {Focal, "0", 0},
		{Pixel, "3.76", 3.76}, {Pixel, "3.76um", 3.76}, {Pixel, "3.76 µm", 3.76}, {Pixel, "3,76 μm", 3.76}, {Pixel, "0.00376mm", 3.76}, {Pixel, "0,376", 0.376},
		{Tolerance, "2", 2}, {Tolerance, "2'", 2}, {Tolerance, "2′", 2}, {Tolerance, "12\"", 0.2}, {Tolerance, "12''", 0.2}, {Tolerance, "0.5deg", 30}, {Tolerance, "0.5°", 30},
		{Tolerance, "1.5 arcmin", 1.5}, {Tolerance, "30 arcsec", 0.5}, {Tolerance, "2'30\"", 2.5}, {Tolerance, "1,5", 1.5}, {Tolerance, "1,5 '", 1.5},
		{Pressure, "1013hPa", 1013}, {Pressure, "760 mmHg", 1013.25}, {Pressure, "1013 mbar", 1013}, {Pressure, "101.325kPa", 1013.25}, {Pressure, "29.92 inHg", 1013.207}, {Pressure, "0", 0},
		{Temperature, "10C", 10}, {Temperature, "10", 10}, {Temperature, "50F", 10}, {Temperature, "-40 F", -40}, {Temperature, "-5 °C", -5}, {Temperature, "283.15K", 10}, {Temperature, "32 deg F", 0},
		{Humidity, "50%", 50}, {Humidity, "50 percent", 50}, {Humidity, "50", 50},
		{Exposure, "30", 30}, {Exposure, "30s", 30}, {Exposure, "30 sec", 30}, {Exposure, "2min", 120}, {Exposure, "1m30s", 90}, {Exposure, "1/60", 1 / 60.}, {Exposure, "1/60 s", 1 / 60.}, {Exposure, "500ms", 0.5}, {Exposure, "1h", 3600},
		{Span("lowest altitude", 0, 90, false), "30deg", 30}, {Span("lowest altitude", 0, 90, false), "30", 30}, {Span("lowest altitude", 0, 90, false), "90'", 1.5},
		{Tiny("wobble", 0, 600), "1'", 60}, {Pixels("trail", 0.01, 1000, true), "1.5 px", 1.5}, {Turns("turns", -50, 50), "-1.5 turns", -1.5},
		{Plain("magnitude", -2, 30, "10.5"), "10.5", 10.5},
	} {
		v, err := c.q.Parse(c.s)
		if err != nil || math.Abs(v-c.want) > 1e-6*math.Abs(c.want)+1e-9 {
			t.Errorf("%s %q: %v, %v, want %g", c.q.Name, c.s, v, err, c.want)
		}
	}
}

func TestRefusedQuantities(t *testing.T) {
	for _, c := range []struct {
		q        Quantity
		s, words string
	}{
		{Elevation, "", "is empty"}, {Elevation, "high", "is no number"}, {Elevation, "9000 furlongs", `in "furlongs", which is no unit`}, {Elevation, "9,000ft", "two ways"},
		{Elevation, "40000ft", "12192, outside -500 to 9000 m"}, {Elevation, "NaN", "is no number"}, {Elevation, "inf", "is no number"}, {Elevation, "1e999", "is no number"},
		{Elevation, "--3", "is no number"}, {Elevation, "9 000", "two numbers"}, {Elevation, "1.2.3", "more than one"}, {Elevation, "0x10", "no unit of it"}, {Elevation, "10s", "no unit of it"},
		{Elevation, "6\"5'", "wrong order"}, {Elevation, "5'6", "two numbers"}, {Elevation, "m", "is no number"},
		{Tolerance, "0", "outside 0.01 to 600 arcmin"}, {Tolerance, "auto", "is no number"}, {Tolerance, "1m30hPa", "no unit of it"}, {Tolerance, "11deg", "is 660, outside"},
		{Pressure, "-1", "outside 250 to"}, {Pressure, "1,013hPa", "two ways"}, {Temperature, "500F", "is 260, outside"}, {Temperature, "10C5F", "two numbers"}, {Temperature, "10F5C", "wrong order"},
		{Exposure, "1/0", "is no number"}, {Exposure, "1/60/2", "no unit of it"}, {Exposure, "3,000", "two ways"}, {Plain("magnitude", -2, 30, "10.5"), "10 mag", "no unit of it"},
	} {
		v, err := c.q.Parse(c.s)
		if err == nil || !strings.Contains(err.Error(), c.words) || strings.Contains(err.Error(), "strconv") {
			t.Errorf("%s %q was read as %v, %v; want %q", c.q.Name, c.s, v, err, c.words)
		}
	}
}

func TestFlag(t *testing.T) {
	var x float64
	f := Elevation.Flag(&x, 7.5)
	if f.String() != "7.5" || f.Type() != "m" {
		t.Errorf("%s of type %s, want 7.5 m", f, f.Type())
	}
	if err := f.Set("1000 ft"); err != nil || math.Abs(x-304.8) > 1e-9 {
		t.Errorf("%v, %v, want 304.8", x, err)
	}
	if err := f.Set("up"); err == nil || math.Abs(x-304.8) > 1e-9 {
		t.Errorf("%v, %v after a refused value", x, err)
	}
}

func FuzzQuantity(f *testing.F) {
	for _, s := range []string{"9000ft", "1m30s", "2'30\"", "-40 °F", "1/60", "760 mmHg", "1,013", "1e3"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for _, q := range []Quantity{Elevation, Focal, Tolerance, Pressure, Temperature, Exposure, Plain("magnitude", -2, 30, "10")} {
			v, err := q.Parse(s)
			if err == nil && !(v >= q.Lo && v <= q.Hi) && !(q.OrZero && v == 0) {
				t.Fatalf("%s %q gave %v", q.Name, s, v)
			}
			if err != nil && strings.Contains(err.Error(), "strconv") && !strings.Contains(s, "strconv") {
				t.Fatal(err)
			}
		}
	})
}
