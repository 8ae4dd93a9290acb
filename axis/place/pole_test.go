package place

import (
	"math"
	"testing"
	"time"

	"pintle/index/sphere"
)

// ERFA 2.0.0 refraction constants, the equation solved for the observed zenith
// distance; tolerance 0.01 arcsec as stated there.
func TestRefractedPole(t *testing.T) {
	first, second := Air{Pressure: 1010, Temp: 10}, Air{Pressure: 1013.25, Temp: 15, Humidity: 0.5}
	for _, c := range []struct {
		lat float64
		air Air
		alt float64
	}{
		{20, first, 20.0438415}, {35, first, 35.0229649}, {52, first, 52.0125884}, {65, first, 65.0075175},
		{20, second, 20.0431595}, {35, second, 35.0226102}, {52, second, 52.0123943}, {65, second, 65.0074016},
	} {
		for _, sign := range []float64{1, -1} {
			p, err := At(time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC), Site{Lat: sphere.Angle(sign*c.lat) * sphere.Degree, Lon: 40 * sphere.Degree}, c.air)
			if err != nil {
				t.Fatal(err)
			}
			az, alt := p.RefractedPole().AzAlt()
			if d := math.Abs(alt.Degrees()-c.alt) * 3600; d > 0.01 {
				t.Errorf("lat %g, %+v: pole at altitude %.7f, want %.7f: %.4f arcsec off", sign*c.lat, c.air, alt.Degrees(), c.alt, d)
			}
			want := sphere.Angle(0)
			if sign < 0 {
				want = 180 * sphere.Degree
			}
			if d := (az - want).Wrap().Abs().Arcseconds(); d > 1e-6 {
				t.Errorf("lat %g: pole at azimuth %v, want %v", sign*c.lat, az, want)
			}
			if _, alt := p.TruePole().AzAlt(); math.Abs(alt.Degrees()-c.lat) > 1e-10 {
				t.Errorf("lat %g: true pole at altitude %v", sign*c.lat, alt)
			}
		}
	}
}
