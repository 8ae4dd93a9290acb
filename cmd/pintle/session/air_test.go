package session

import (
	"math"
	"testing"

	"pintle/axis/place"
	"pintle/index/sphere"
)

// Refraction goes as pressure over absolute temperature, and the weather is uncertain by
// 8 K, which are 2.8 %, and 10 hPa, 1 % (common practice, no source): together 2.9 %. Who
// tells one of them leaves what the other does; who tells both, or no refraction, nothing.
func TestAirThatIsToldIsKnownBetter(t *testing.T) {
	site := place.Site{Lat: -31.4 * sphere.Degree, Lon: 121.9 * sphere.Degree, Elev: 430}
	usual := place.StandardAir(site.Elev)
	usual.Err = 0
	pressure, temp, no, wet := 955.0, 4.0, 0.0, 0.9
	for name, c := range map[string]struct {
		told Told
		err  float64
		kind SourceKind
		want place.Air
	}{
		"nothing":                  {Told{}, 0.0295, Assumed, usual},
		"humidity":                 {Told{Humidity: &wet}, 0.0295, Assumed, place.Air{Pressure: usual.Pressure, Temp: usual.Temp, Humidity: wet}},
		"pressure":                 {Told{Pressure: &pressure}, 0.0278, Partly, place.Air{Pressure: pressure, Temp: usual.Temp, Humidity: usual.Humidity}},
		"temperature":              {Told{Temp: &temp}, 0.0099, Partly, place.Air{Pressure: usual.Pressure, Temp: temp, Humidity: usual.Humidity}},
		"pressure and temperature": {Told{Pressure: &pressure, Temp: &temp}, 0, FromPerson, place.Air{Pressure: pressure, Temp: temp, Humidity: usual.Humidity}},
		"no air":                   {Told{Pressure: &no}, 0, NoAir, place.Air{Temp: usual.Temp, Humidity: usual.Humidity}},
	} {
		a, source, err := c.told.air(site)
		if err != nil || math.Abs(a.Err-c.err) > 1e-4 || source.Kind != c.kind {
			t.Errorf("%s told: error %g of refraction, source %v, %v; want %g, %v", name, a.Err, source.Kind, err, c.err, c.kind)
		}
		a.Err = 0
		if a != c.want {
			t.Errorf("%s told: %+v, want %+v", name, a, c.want)
		}
	}
}
