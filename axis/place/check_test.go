package place

import (
	"math"
	"strings"
	"testing"
	"time"

	"pintle/index/sphere"
)

// Each value out of range is named in the error, with what is wrong with it.
func TestInputIsChecked(t *testing.T) {
	now, home, air := time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC), Site{Lat: 50 * sphere.Degree, Lon: 10 * sphere.Degree, Elev: 100}, StandardAir(100)
	deg, nan := sphere.Degree, math.NaN()
	for _, c := range []struct {
		t    time.Time
		s    Site
		a    Air
		o    Orientation
		says string
	}{
		{now, home, air, Orientation{}, ""},
		{now, Site{Lat: -90 * deg, Lon: -180 * deg}, air, Orientation{}, ""},
		{now, Site{Lat: 90 * deg, Lon: 359 * deg}, Air{}, Orientation{0.1, 1e-6, -1e-6}, ""},
		{time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC), home, air, Orientation{}, ""},
		{time.Date(2016, 12, 31, 23, 59, 59, 999999999, time.UTC), home, air, Orientation{}, ""}, // a leap second follows
		{time.Date(2100, 12, 31, 0, 0, 0, 0, time.UTC), home, air, Orientation{}, ""},            // "dubious year" of the library
		{time.Time{}, home, air, Orientation{}, "time"},
		{time.Date(1979, 12, 31, 0, 0, 0, 0, time.UTC), home, air, Orientation{}, "1979"},
		{time.Date(2101, 1, 1, 0, 0, 0, 0, time.UTC), home, air, Orientation{}, "2101"},
		{now, Site{Lat: 91 * deg}, air, Orientation{}, "latitude 91"},
		{now, Site{Lat: sphere.Angle(nan)}, air, Orientation{}, "latitude"},
		{now, Site{Lon: 361 * deg}, air, Orientation{}, "longitude 361"},
		{now, Site{Lon: sphere.Angle(math.Inf(-1))}, air, Orientation{}, "longitude"},
		{now, Site{Elev: 10000}, air, Orientation{}, "elevation 10000"},
		{now, home, Air{Pressure: 29.92}, Orientation{}, "pressure 29.92"},
		{now, home, Air{Pressure: -1}, Orientation{}, "pressure"},
		{now, home, Air{Pressure: 101325}, Orientation{}, "pressure"},
		{now, home, Air{Pressure: 1000, Temp: 288}, Orientation{}, "temperature 288"},
		{now, home, Air{Pressure: 1000, Humidity: 50}, Orientation{}, "humidity 50"},
		{now, home, Air{Pressure: nan}, Orientation{}, "pressure"},
		{now, home, air, Orientation{DUT1: nan}, "DUT1"},
		{now, home, air, Orientation{XP: deg}, "polar motion"},
	} {
		p, err := AtOriented(c.t, c.s, c.a, c.o)
		switch {
		case c.says == "" && err != nil:
			t.Errorf("%v %v %v: %v", c.t, c.s, c.a, err)
		case c.says != "" && (err == nil || p != nil || !strings.Contains(err.Error(), c.says)):
			t.Errorf("%v %+v %+v: error %v, want one that says %q", c.t, c.s, c.a, err, c.says)
		}
	}
}

// The poles stay defined where they stand in the zenith or on the horizon, and
// what is known badly is said.
func TestPolesOfOddLatitudes(t *testing.T) {
	for lat, errAbove := range map[float64]float64{90: -1, -90: -1, 60: -1, 4: 20, 0: 200, -0.2: 200} {
		p, err := At(time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC), Site{Lat: sphere.Angle(lat) * sphere.Degree}, Air{Pressure: 1010, Temp: 10})
		if err != nil {
			t.Fatal(err)
		}
		_, alt := p.RefractedPole().AzAlt()
		if d := alt.Degrees() - math.Abs(lat); !(d >= 0 && d < 0.7) {
			t.Errorf("latitude %g: refracted pole at altitude %v", lat, alt)
		}
		if e := p.ModelErr(p.RefractedPole()).Arcseconds(); e < errAbove || errAbove < 0 && e > 0.1 {
			t.Errorf("latitude %g: refraction of the pole uncertain by %.1f arcsec, want above %g", lat, e, errAbove)
		}
		if p.South() != (lat < 0) {
			t.Errorf("latitude %g: south %v", lat, p.South())
		}
	}
}

// A clock error moves no star relative to the pole, polar motion moves the pole
// by its own amount and no more.
func TestOrientationMovesThePoleOnlyByPolarMotion(t *testing.T) {
	now, home := time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC), Site{Lat: 50 * sphere.Degree, Lon: 10 * sphere.Degree}
	plain, _ := At(now, home, Air{})
	late, _ := AtOriented(now, home, Air{}, Orientation{DUT1: 0.9})
	if d := plain.TruePole().Sep(late.TruePole()).Arcseconds(); d > 1e-6 {
		t.Errorf("DUT1 moves the pole by %g arcsec", d)
	}
	s := sphere.SkyAt(1, 0)
	if d := plain.Observed(s).Sep(late.Observed(s)).Arcseconds(); math.Abs(d-13.5) > 0.1 {
		t.Errorf("DUT1 of 0.9 s moves a star on the equator by %.2f arcsec, want 13.5", d)
	}
	moved, _ := AtOriented(now, home, Air{}, Orientation{XP: 0.3 * sphere.Arcsecond, YP: 0.4 * sphere.Arcsecond})
	if d := plain.TruePole().Sep(moved.TruePole()).Arcseconds(); math.Abs(d-0.5) > 1e-3 {
		t.Errorf("polar motion of 0.5 arcsec moves the pole by %.4f arcsec", d)
	}
}
