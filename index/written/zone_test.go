package written

import (
	"testing"
	"time"
)

// Zones as people write them, with the offset that holds on 25 November 2026: Perth keeps
// UTC+8 all year, Auckland UTC+13 in its summer (IANA data base).
func TestZone(t *testing.T) {
	at := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	for s, want := range map[string]float64{
		"Australia/Perth": 8, "Pacific/Auckland": 13, "UTC": 0, "+08:00": 8, "+0800": 8, "+08": 8, "-03:30": -3.5, " +08:00 ": 8, "＋０８：００": 8,
	} {
		z, err := Zone(s)
		if err != nil {
			t.Errorf("%q: %v", s, err)
			continue
		}
		if _, off := at.In(z).Zone(); float64(off) != want*3600 {
			t.Errorf("%q: %d s ahead of UTC, want %g h", s, off, want)
		}
	}
	for _, s := range []string{"", "8", "+8", "AWST", "EST", "MST", "HST", "Etc/GMT+8", "Etc/GMT-8", "+25:00", "-15:30", "+08:00S", "Local", "../etc", "Nowhere/Land"} {
		if z, err := Zone(s); err == nil {
			t.Errorf("%q is read as %v", s, z)
		}
	}
}
