package written

import (
	"fmt"
	"strings"
	"time"
	_ "time/tzdata" // for systems that have no names of zones, such as Windows
)

// Zone reads a time zone: a name of the IANA data base such as Europe/Athens, or an
// offset from UTC such as +02:00, east positive, up to 15 hours. What means two things is
// refused: the three letters that the data base knows as American (EST is kept in Sydney,
// too), and Etc/GMT+8, which lies west of Greenwich.
func Zone(s string) (*time.Location, error) {
	s = strings.TrimSpace(strings.Map(narrow, s))
	for _, layout := range []string{"-07:00", "-0700", "-07"} {
		t, err := time.Parse(layout, s)
		if err != nil {
			continue
		}
		_, off := t.Zone()
		if off > 15*3600 || off < -15*3600 {
			return nil, fmt.Errorf("time zone %s is outside -15:00 to +15:00", quote(s))
		}
		return time.FixedZone(s, off), nil
	}
	switch {
	case s == "EST" || s == "MST" || s == "HST":
		return nil, fmt.Errorf("time zone %s can be read two ways: several countries use these letters", quote(s))
	case strings.HasPrefix(s, "Etc/GMT+") || strings.HasPrefix(s, "Etc/GMT-"):
		return nil, fmt.Errorf("time zone %s can be read two ways: its sign is the other way round", quote(s))
	}
	z, err := time.LoadLocation(s)
	if err != nil || s == "" || s == "Local" {
		return nil, fmt.Errorf("time zone %s is not known", quote(s))
	}
	return z, nil
}
