package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/pflag"

	"pintle/axis/place"
	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/session"
	"pintle/index/sphere"
	"pintle/solve/frame"
)

// frameFlags say about frames what their files may not.
type frameFlags struct {
	at, zone string
	exposure float64
}

func (f *frameFlags) add(fs *pflag.FlagSet) {
	fs.StringVar(&f.at, "at", "", "one `time` for all frames, middle of the exposure: 21:30 is today, local, 2026-11-27T10:30:00Z is UTC")
	fs.StringVar(&f.zone, "time-zone", "", "zone of the camera's clock when the files do not say: a name such as Europe/Athens, or an offset such as +02:00")
	fs.Float64Var(&f.exposure, "exposure", 0, "exposure in `seconds` when the files do not say")
}

// options are what the flags say; now is the computer's time in its zone.
func (f *frameFlags) options(now time.Time) (o frame.Options, err error) {
	if f.zone != "" {
		if o.TimeZone, err = parseZone(f.zone); err != nil {
			return o, err
		}
		now = now.In(o.TimeZone)
	}
	if f.at != "" {
		if o.At, err = parseAt(f.at, now, time.UTC); err != nil {
			return o, err
		}
		if o.At.Sub(now) > time.Hour && clockTime(f.at) { // of a photograph: last evening's
			o.At = o.At.AddDate(0, 0, -1)
		}
	}
	if f.exposure < 0 || f.exposure > 86400 || math.IsNaN(f.exposure) {
		return o, hint(fmt.Errorf("--exposure %g s is out of range 0 to 86400", f.exposure), "give the exposure of one frame in seconds")
	}
	o.Exposure = time.Duration(f.exposure * float64(time.Second))
	return o, nil
}

// clockTime reports whether a time is only hours and minutes.
func clockTime(s string) bool {
	return len(s) <= len("15:04:05") && strings.Count(s, ":") > 0 && !strings.Contains(s, "-")
}

// parseAt reads --at: hours and minutes are of today, in the zone of now; a whole
// time without a zone is of the zone given.
func parseAt(s string, now time.Time, zone *time.Location) (time.Time, error) {
	if clockTime(s) {
		for _, layout := range []string{"15:04", "15:04:05"} {
			if t, err := time.Parse(layout, s); err == nil {
				y, m, d := now.Date()
				return time.Date(y, m, d, t.Hour(), t.Minute(), t.Second(), 0, now.Location()), nil
			}
		}
	}
	t, err := frame.ParseTime(s, zone)
	if err != nil {
		return t, advice.With(fmt.Errorf("--at %q: %w", s, err), "write it like 21:30, which is today, or 2026-11-27T10:30:00Z")
	}
	return t, nil
}

// arcminutes reads an amount of arcminutes.
func arcminutes(s string) (float64, error) {
	x, err := strconv.ParseFloat(strings.TrimSuffix(strings.TrimSpace(s), "'"), 64)
	return x, err
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
	name               string // in the gear file
	lat, lon           string
	elev               float64
	pressure, temp, rh float64
	fs                 *pflag.FlagSet
}

func (f *siteFlags) add(fs *pflag.FlagSet) {
	f.fs = fs
	fs.StringVar(&f.name, "site", "", "a `site` of the gear file (default: its default site)")
	fs.StringVar(&f.lat, "lat", "", "latitude in `degrees`, south negative, decimal or as -31:24:00")
	fs.StringVar(&f.lon, "lon", "", "longitude in `degrees`, east positive, decimal or as 121:54:00")
	fs.Float64Var(&f.elev, "elev", 0, "elevation above the sea in `metres`")
	fs.Float64Var(&f.pressure, "pressure", 0, "air pressure at the site in `hPa`, not reduced to the sea; 0 switches refraction off (default: standard air of the elevation)")
	fs.Float64Var(&f.temp, "temp", 0, "air temperature in degrees `Celsius` (default: standard air of the elevation)")
	fs.Float64Var(&f.rh, "humidity", 50, "relative humidity in `percent`")
}

// tell puts what the flags say of site and air where a session looks for it.
func (f *siteFlags) tell(t *session.Told) (err error) {
	if f.fs.Changed("lat") || f.fs.Changed("lon") {
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
	t.SiteName = f.name
	return nil
}

// place is the site that --lat and --lon say.
func (f *siteFlags) place() (s place.Site, err error) {
	if f.lat == "" || f.lon == "" {
		return s, advice.With(fmt.Errorf("only one of --lat and --lon is given"), "give both, such as --lat 31.4S --lon 121.9E")
	}
	if s.Lat, err = frame.ParseLat(f.lat); err != nil {
		return s, advice.With(fmt.Errorf("--lat: %w", err), "degrees from -90 to 90, south negative or with an S")
	}
	if s.Lon, err = frame.ParseLon(f.lon); err != nil {
		return s, advice.With(fmt.Errorf("--lon: %w", err), "degrees from -180 to 360, east positive or with an E")
	}
	s.Elev = f.elev
	return s, nil
}

// arcmin is a flag value in arcminutes.
func arcmin(x float64) sphere.Angle { return sphere.Angle(x) * sphere.Arcminute }
