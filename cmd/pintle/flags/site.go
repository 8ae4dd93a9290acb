package flags

import (
	"fmt"

	"github.com/spf13/pflag"

	"pintle/axis/place"
	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/session"
	"pintle/index/written"
)

// Site say where the mount stands and what the air is like.
type Site struct {
	Name               string // in the gear file
	lat, lon           string
	elev               float64
	pressure, temp, rh float64
	fs                 *pflag.FlagSet
}

// Add adds them.
func (f *Site) Add(fs *pflag.FlagSet) {
	f.fs = fs
	fs.StringVar(&f.Name, "site", "", "a `site` of the gear file (default: its default site)")
	fs.StringVar(&f.lat, "lat", "", "latitude in `degrees`, such as 31.4S, -31.4 or -31:24:00")
	fs.StringVar(&f.lon, "lon", "", "longitude in `degrees`, such as 121.9E, 121.9 or 121:54:00; west is W or negative")
	fs.Var(written.Elevation.Flag(&f.elev, 0), "elev", "elevation above the sea in `metres`")
	fs.Var(written.Pressure.Flag(&f.pressure, 0), "pressure", "air pressure at the site in `hPa`, not reduced to the sea; 0 switches refraction off (default: standard air of the elevation)")
	fs.Var(written.Temperature.Flag(&f.temp, 0), "temp", "air temperature in degrees `Celsius` (default: standard air of the elevation)")
	fs.Var(written.Humidity.Flag(&f.rh, 50), "humidity", "relative humidity in `percent`")
}

// Tell puts what the flags say of site and air where a session looks for it.
func (f *Site) Tell(t *session.Told) (err error) {
	if f.Said() {
		s, err := f.place()
		if err != nil {
			return err
		}
		t.Site = &s
	}
	if f.fs.Changed("elev") {
		t.Elev = &f.elev
	}
	if f.fs.Changed("pressure") {
		t.Pressure = &f.pressure
	}
	if f.fs.Changed("temp") {
		t.Temp = &f.temp
	}
	if f.fs.Changed("humidity") {
		rh := f.rh / 100
		t.Humidity = &rh
	}
	t.SiteName = f.Name
	return nil
}

// Said reports whether the place itself is given, by latitude and longitude.
func (f *Site) Said() bool { return f.fs.Changed("lat") || f.fs.Changed("lon") }

// place is the site that --lat and --lon say.
func (f *Site) place() (s place.Site, err error) {
	if f.lat == "" || f.lon == "" {
		return s, advice.With(fmt.Errorf("only one of --lat and --lon is given"), "give both, such as --lat 31.4S --lon 121.9E")
	}
	if s.Lat, err = written.Latitude(f.lat); err != nil {
		return s, advice.With(fmt.Errorf("--lat: %w", err), "degrees from -90 to 90, south negative or with an S")
	}
	if s.Lon, err = written.Longitude(f.lon); err != nil {
		return s, advice.With(fmt.Errorf("--lon: %w", err), "degrees from -180 to 360, east positive or with an E")
	}
	s.Elev = f.elev
	return s, nil
}
