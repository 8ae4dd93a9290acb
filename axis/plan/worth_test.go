package plan

import (
	"testing"

	"pintle/index/sphere"
)

// A frame of fewer than four stars is not planned, whatever it would tell (the
// solver recognises none of so few).
func TestFramesOfFewStarsAreNotPlanned(t *testing.T) {
	for stars, some := range map[float64]bool{3.9: false, 4: true, 0.5: false} {
		n := Night{Pole: sphere.LocalAt(0, 50*sphere.Degree), Refraction: noAir, Stars: func(sphere.Local) float64 { return stars }, Clear: aloft}
		if got := n.Suggest(tinyField(sphere.Arcsecond), Wish{Frames: 3, MaxSpan: 60 * sphere.Degree}, 3); (len(got) > 0) != some {
			t.Errorf("%g stars a frame: %d suggestions", stars, len(got))
		}
	}
}

// What would measure more than four times worse than the best is no choice: here
// all the sky west of the meridian, where a hundredth of the stars are.
func TestFarWorseIsNotSuggested(t *testing.T) {
	n := Night{Pole: sphere.LocalAt(180*sphere.Degree, 31*sphere.Degree), South: true, Refraction: noAir, Clear: aloft, Stars: func(l sphere.Local) float64 {
		if az, _ := l.AzAlt(); az.Turn() > 180*sphere.Degree {
			return 5
		}
		return 5000
	}}
	got := n.Suggest(tinyField(sphere.Arcsecond), Wish{Frames: 3, MaxSpan: 60 * sphere.Degree, OneSide: true}, 20)
	if len(got) < 2 {
		t.Fatalf("%d suggestions", len(got))
	}
	for i, s := range got {
		if s.Expected.Total() > 4*got[0].Expected.Total() {
			t.Errorf("suggestion %d: %v, the best %v", i, s.Expected.Total(), got[0].Expected.Total())
		}
		for _, f := range s.Frames {
			if f.Stars < 100 {
				t.Errorf("suggestion %d has a frame of %g stars", i, f.Stars)
			}
		}
	}
}

// aloft is a sky that is clear above 20 degrees.
func aloft(l sphere.Local) bool {
	_, alt := l.AzAlt()
	return alt > 20*sphere.Degree
}
