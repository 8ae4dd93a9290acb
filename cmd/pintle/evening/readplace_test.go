package evening

import (
	"math"
	"strings"
	"testing"
)

// Places as people type them in one line; those of which another place could be
// read are refused.
func TestReadPlace(t *testing.T) {
	for text, want := range map[string][2]float64{
		"-31.4, 121.9": {-31.4, 121.9}, "-31.4 121.9": {-31.4, 121.9}, "-31,4 121,9": {-31.4, 121.9}, "-31,4; 121,9": {-31.4, 121.9}, "-31,4, 121,9": {-31.4, 121.9}, "-31,4,5,6": {-31.4, 5.6},
		"31°24'S 121°54'E": {-31.4, 121.9}, "31 24 S 121 54 E": {-31.4, 121.9}, "S 31 24, E 121 54": {-31.4, 121.9}, "31.4 south, 121.9 east": {-31.4, 121.9},
		"31.4S,121.9E": {-31.4, 121.9}, "31 24 121 54": {31.4, 121.9}, "31d24mS 70d30mW": {-31.4, -70.5}, "３１．４Ｓ， １２１．９Ｅ": {-31.4, 121.9},
	} {
		s, err := ReadPlace(text)
		if err != nil || math.Abs(s.Lat.Degrees()-want[0]) > 1e-9 || math.Abs(s.Lon.Degrees()-want[1]) > 1e-9 {
			t.Errorf("%q: %v, %v, %v, want %v", text, s.Lat, s.Lon, err, want)
		}
	}
	for text, words := range map[string]string{
		"-31,4 21,9": "two ways", "31 24 10 20": "two ways", "10 20 30 E": "two ways",
		"121.9 E, 31.4 S": "swapped?", "-121.9, 31.4": "outside -90", "-31.4": "longitude is missing", "31°24'S": "longitude is missing", "31 24 10 S": "longitude is missing", "": "missing", "home": "no latitude",
	} {
		if s, err := ReadPlace(text); err == nil || !strings.Contains(err.Error(), words) {
			t.Errorf("%q was read as %v, %v, %v; want %q", text, s.Lat, s.Lon, err, words)
		}
	}
}
