// Package flags holds the flags that verbs share, and turns what they say into
// what the packages below ask for. It prints nothing and knows neither clock nor
// environment.
package flags

import (
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/spf13/pflag"

	"pintle/cmd/pintle/advice"
	"pintle/index/written"
	"pintle/solve/frame"
)

// Frames say about frames what their files may not.
type Frames struct {
	At, zone string
	exposure float64
}

// Add adds them.
func (f *Frames) Add(fs *pflag.FlagSet) {
	fs.StringVar(&f.At, "at", "", "one `time` for all frames, middle of the exposure: 21:30 is today, local; a whole date says its zone, as 2026-11-27T10:30:00Z does, which is UTC")
	fs.StringVar(&f.zone, "time-zone", "", "zone of the camera's clock when the files do not say: a name such as Europe/Athens, or an offset such as +02:00")
	fs.Var(written.Exposure.Flag(&f.exposure, 0), "exposure", "exposure in `seconds` when the files do not say")
}

// Options are what the flags say; now is the computer's time in its zone.
func (f *Frames) Options(now time.Time) (o frame.Options, err error) {
	if f.zone != "" {
		if o.TimeZone, err = parseZone(f.zone); err != nil {
			return o, err
		}
		now = now.In(o.TimeZone)
	}
	if f.At != "" {
		if o.At, err = f.at(now); err != nil {
			return o, err
		}
		if o.At.Sub(now) > time.Hour && clockTime(f.At) { // of a photograph: last evening's
			o.At = o.At.AddDate(0, 0, -1)
		}
	}
	if f.exposure < 0 || f.exposure > 86400 || math.IsNaN(f.exposure) {
		return o, advice.With(fmt.Errorf("--exposure %g s is out of range 0 to 86400", f.exposure), "give the exposure of one frame in seconds")
	}
	o.Exposure = time.Duration(f.exposure * float64(time.Second))
	return o, nil
}

// at reads --at; now is in the zone told, else the computer's. A whole time without a
// zone may be the clock's on the wall or the UTC of a header, where the two differ.
func (f *Frames) at(now time.Time) (time.Time, error) {
	t, err := parseAt(f.At, now, time.UTC)
	if err != nil {
		return t, err
	}
	local, err := parseAt(f.At, now, now.Location())
	if err != nil || f.zone != "" || local.Equal(t) {
		return local, err
	}
	zone := local.In(now.Location()).Format("-07:00")
	return t, advice.With(fmt.Errorf("--at %q may be in UTC or in local time, %s", f.At, zone), fmt.Sprintf("end it with Z for UTC or with %s, or give --time-zone", zone))
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

// parseZone reads --time-zone.
func parseZone(s string) (*time.Location, error) {
	z, err := written.Zone(s)
	if err != nil {
		return nil, advice.With(fmt.Errorf("--time-zone: %w", err), "give a name such as Europe/Athens or an offset such as +02:00, east positive")
	}
	return z, nil
}
