package main

import (
	"fmt"
	"math"
	"time"

	"github.com/spf13/pflag"

	"pintle/axis/place"
	"pintle/index/sphere"
	"pintle/index/written"
	"pintle/solve/frame"
)

// frameFlags say about frames what their files may not.
type frameFlags struct {
	at, zone string
	exposure float64
}

func (f *frameFlags) add(fs *pflag.FlagSet) {
	fs.StringVar(&f.at, "at", "", "one `time` for all frames, middle of the exposure, UTC, such as 2026-11-27T10:30:00Z")
	fs.StringVar(&f.zone, "time-zone", "", "zone of the camera's clock when the files do not say: a name such as Europe/Athens, or an offset such as +02:00")
	fs.Var(written.Exposure.Flag(&f.exposure, 0), "exposure", "exposure in `seconds` when the files do not say")
}

func (f *frameFlags) options() (frame.Options, error) {
	var o frame.Options
	if f.at != "" {
		t, err := frame.ParseTime(f.at, time.UTC)
		if err != nil {
			return o, hint(fmt.Errorf("--at %q: %w", f.at, err), "write it like 2026-11-27T10:30:00Z")
		}
		o.At = t
	}
	if f.zone != "" {
		z, err := parseZone(f.zone)
		if err != nil {
			return o, err
		}
		o.TimeZone = z
	}
	if f.exposure < 0 || f.exposure > 86400 || math.IsNaN(f.exposure) {
		return o, hint(fmt.Errorf("--exposure %g s is out of range 0 to 86400", f.exposure), "give the exposure of one frame in seconds")
	}
	o.Exposure = time.Duration(f.exposure * float64(time.Second))
	return o, nil
}

// parseZone accepts a zone's name or a fixed offset.
func parseZone(s string) (*time.Location, error) {
	for _, layout := range []string{"-07:00", "-0700", "-07"} {
		if t, err := time.Parse(layout, s); err == nil {
			_, off := t.Zone()
			return time.FixedZone(s, off), nil
		}
	}
	z, err := time.LoadLocation(s)
	if err != nil || s == "" {
		return nil, hint(fmt.Errorf("--time-zone %q is not known", s), "give a name such as Europe/Athens or an offset such as +02:00")
	}
	return z, nil
}

// siteFlags say where the mount stands and what the air is like.
type siteFlags struct {
	lat, lon           string
	elev               float64
	pressure, temp, rh float64
	fs                 *pflag.FlagSet
}

func (f *siteFlags) add(fs *pflag.FlagSet) {
	f.fs = fs
	fs.StringVar(&f.lat, "lat", "", "latitude in `degrees`, south negative, decimal or as -31:24:00")
	fs.StringVar(&f.lon, "lon", "", "longitude in `degrees`, east positive, decimal or as 121:54:00")
	fs.Var(written.Elevation.Flag(&f.elev, 0), "elev", "elevation above the sea in `metres`")
	fs.Var(written.Pressure.Flag(&f.pressure, 0), "pressure", "air pressure at the site in `hPa`, not reduced to the sea; 0 switches refraction off (default: standard air of the elevation)")
	fs.Var(written.Temperature.Flag(&f.temp, 0), "temp", "air temperature in degrees `Celsius` (default: standard air of the elevation)")
	fs.Var(written.Humidity.Flag(&f.rh, 50), "humidity", "relative humidity in `percent`")
}

// site returns the site from the flags, else from the first frame that has
// one, and in plain words where it came from.
func (f *siteFlags) site(frames []*frame.Frame) (s place.Site, source string, err error) {
	given := f.fs.Changed("lat") || f.fs.Changed("lon")
	switch {
	case given && (f.lat == "" || f.lon == ""):
		return s, "", hint(fmt.Errorf("only one of --lat and --lon is given"), "give both, such as --lat -31.4 --lon 121.9")
	case given:
		if s.Lat, err = written.Latitude(f.lat); err != nil {
			return s, "", hint(fmt.Errorf("--lat: %w", err), "degrees from -90 to 90, south negative")
		}
		if s.Lon, err = written.Longitude(f.lon); err != nil {
			return s, "", hint(fmt.Errorf("--lon: %w", err), "degrees from -180 to 360, east positive")
		}
		s.Elev, source = f.elev, "the command line"
	default:
		for _, fr := range frames {
			if fr.Site != nil {
				s = place.Site{Lat: fr.Site.Lat, Lon: fr.Site.Lon, Elev: fr.Site.Elev}
				source = fr.Site.Source + " of " + fr.Name
				break
			}
		}
		if source == "" {
			for _, fr := range frames {
				if fr.SiteErr != nil {
					return s, "", hint(fmt.Errorf("%s: %w", fr.Name, fr.SiteErr), "give the site with --lat, --lon and --elev")
				}
			}
			return s, "", hint(fmt.Errorf("the frames do not say where they were taken"), "give the site with --lat, --lon and --elev, such as --lat -31.4 --lon 121.9 --elev 430")
		}
		if f.fs.Changed("elev") {
			s.Elev = f.elev
		}
	}
	if err := s.Check(); err != nil {
		return s, "", hint(err, "check --lat, --lon and --elev")
	}
	return s, source, nil
}

// air returns the air at the site and whether it was given.
func (f *siteFlags) air(s place.Site) (place.Air, string, error) {
	air := place.StandardAir(s.Elev)
	p, t := f.fs.Changed("pressure"), f.fs.Changed("temp")
	source := "standard air"
	if p {
		air.Pressure = f.pressure
	}
	if t {
		air.Temp = f.temp
	}
	if f.fs.Changed("humidity") {
		air.Humidity = f.rh / 100
	}
	switch {
	case p && t:
		air.Err, source = 0, "given"
	case p || t:
		air.Err /= 2
		source = "partly given"
	}
	if p && f.pressure == 0 {
		air.Err, source = 0, "no refraction"
	}
	if err := air.Check(); err != nil {
		return air, "", hint(err, "check --pressure, --temp and --humidity")
	}
	return air, source, nil
}

// arcmin is a flag value in arcminutes.
func arcmin(x float64) sphere.Angle { return sphere.Angle(x) * sphere.Arcminute }
