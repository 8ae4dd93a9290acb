package written

import (
	"fmt"
	"time"
)

// ZoneLike says how a zone may be written, for hints.
const ZoneLike = "a name such as Europe/Athens or an offset such as +02:00"

// Zone reads the zone of a clock: a name of the zone database (Europe/Athens, UTC,
// Local for this computer's), or a fixed offset of UTC, positive eastward (+02:00,
// +0200, +02). The error quotes what was written.
func Zone(s string) (*time.Location, error) {
	for _, layout := range []string{"-07:00", "-0700", "-07"} {
		if t, err := time.Parse(layout, s); err == nil {
			_, off := t.Zone()
			return time.FixedZone(s, off), nil
		}
	}
	z, err := time.LoadLocation(s)
	if err != nil || s == "" {
		return nil, fmt.Errorf("%s is not known", quote(s))
	}
	return z, nil
}
