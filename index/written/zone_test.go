package written

import (
	"strings"
	"testing"
	"time"
)

// TestZone: the expected offsets follow from the texts; that of Europe/Athens is the
// law's eastern European time in winter, from memory.
func TestZone(t *testing.T) {
	winter := time.Date(2026, 1, 15, 0, 0, 0, 0, time.UTC)
	for s, want := range map[string]int{"UTC": 0, "+02:00": 7200, "-0930": -34200, "+11": 39600, "Europe/Athens": 7200} {
		z, err := Zone(s)
		if err != nil {
			t.Errorf("%s: %v", s, err)
			continue
		}
		if _, off := winter.In(z).Zone(); off != want {
			t.Errorf("%s: %d s east of UTC, want %d", s, off, want)
		}
	}
	for _, s := range []string{"", "Atlantis", "+2", "02:00", "+25:00", "../etc/passwd", strings.Repeat("x", 1000)} {
		if z, err := Zone(s); err == nil || len(err.Error()) > 200 || !strings.Contains(err.Error(), "not known") {
			t.Errorf("%.20q: zone %v, error %v", s, z, err)
		}
	}
}
