package flags

import (
	"testing"
	"time"
)

// The time of photographs: hours and minutes are the clock's on the wall, last evening's
// when they lie ahead; a whole time says its zone, or the zone is told, or it is refused
// where it could be read two ways.
func TestAt(t *testing.T) {
	perth := time.FixedZone("", 8*3600)
	now := time.Date(2026, 11, 25, 21, 0, 0, 0, perth) // 13:00 UTC
	for _, c := range []struct {
		at, zone string
		now      time.Time
		want     string // UTC, "" for refused
	}{
		{"20:40", "", now, "2026-11-25T12:40:00Z"},
		{"20:40:30", "", now, "2026-11-25T12:40:30Z"},
		{"23:30", "", now, "2026-11-24T15:30:00Z"},
		{"12:40", "+00:00", now, "2026-11-25T12:40:00Z"},
		{"2026-11-25T12:40:00Z", "", now, "2026-11-25T12:40:00Z"},
		{"2026-11-25 20:40:00+08:00", "", now, "2026-11-25T12:40:00Z"},
		{"2026-11-25T12:40:00Z", "+08:00", now, "2026-11-25T12:40:00Z"},
		{"2026-11-25T20:40:00", "+08:00", now, "2026-11-25T12:40:00Z"},
		{"2026-11-25T20:40:00", "-03:00", now, "2026-11-25T23:40:00Z"},
		{"2026-11-25T12:40:00", "", now.UTC(), "2026-11-25T12:40:00Z"},
		{"2026-11-25T20:40:00", "", now, ""},
		{"2026-11-25", "", now, ""},
		{"20.40", "", now, ""},
	} {
		f := Frames{At: c.at, zone: c.zone}
		o, err := f.Options(c.now)
		if got := o.At.UTC().Format(time.RFC3339); (err != nil) != (c.want == "") || err == nil && got != c.want {
			t.Errorf("--at %q --time-zone %q at %v: %s, %v; want %q", c.at, c.zone, c.now, got, err, c.want)
		}
	}
}
