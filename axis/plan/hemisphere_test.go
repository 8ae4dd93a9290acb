package plan

import (
	"testing"
	"time"

	"pintle/index/sphere"
)

// What is suggested stands at the declination that is told, and east and west of the
// meridian as told, in either hemisphere: held against the apparent places of the
// stars there.
func TestSuggestionsStandWhereTheySay(t *testing.T) {
	for _, lat := range []float64{-45, -31.4, -3, 3, 31.4, 60} {
		s := skyAt(t, lat, 121.9, time.Date(2026, 12, 9, 13, 0, 0, 0, time.UTC)) // new Moon
		s.Stars, s.MinAlt = even(20), 25*deg
		n := s.Night(NewCamera(3*deg, 2*deg, sphere.Arcsecond, sphere.Arcsecond))
		got := n.Suggest(NewCamera(3*deg, 2*deg, sphere.Arcsecond, sphere.Arcsecond), Wish{Frames: 3, MaxSpan: 60 * deg, OneSide: true}, 3)
		if len(got) == 0 {
			t.Errorf("latitude %g: no suggestion", lat)
		}
		for _, x := range got {
			for i, f := range x.Frames {
				_, dec := s.Place.Apparent(s.Place.Catalogue(f.Dir))
				if (dec - x.Dec).Abs() > 0.5*deg { // the pole of a plan is lifted by the air
					t.Errorf("latitude %g: frame at declination %v, said to be %v", lat, dec, x.Dec)
				}
				if east := f.Dir.Vec().X > 0; x.HA[i].Abs() > deg && x.HA[i].Abs() < 179*deg && east != (x.HA[i].Wrap() < 0) {
					t.Errorf("latitude %g: frame east %t at hour angle %v", lat, east, x.HA[i])
				}
			}
		}
	}
}
