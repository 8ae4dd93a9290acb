package stars

import (
	"testing"

	"pintle/index/sphere"
)

// The stars between two declinations are those that a walk through the whole list
// finds there, in the same order.
func TestEachBetweenAgainstEach(t *testing.T) {
	if testing.Short() {
		t.Skip("slow, and nothing runs beside it")
	}
	const epoch = 2031.5
	l := Embedded()
	all := everything(t, l, epoch)
	for _, c := range [][3]float64{{-90, -89, 99}, {-12.3, -11.9, 99}, {0, 0.4, 9.3}, {44.9, 45.1, 99}, {89.2, 90, 99}, {-91, -89.9, 11}, {30, 30, 99}, {-90, 90, 5.5}} {
		south, north, maxV := sphere.Angle(c[0])*sphere.Degree, sphere.Angle(c[1])*sphere.Degree, c[2]
		var want, got []uint32
		for _, s := range all {
			if _, dec := s.Pos.RADec(); dec >= south && dec <= north && float64(s.V) <= maxV+1e-6 {
				want = append(want, s.ID)
			}
		}
		l.EachBetween(south, north, maxV, epoch, func(s Star) bool {
			got = append(got, s.ID)
			return true
		})
		if len(got) != len(want) {
			t.Errorf("%v to %v degrees: %d stars, want %d", c[0], c[1], len(got), len(want))
			continue
		}
		for i := range got {
			if got[i] != want[i] {
				t.Errorf("%v to %v degrees: star %d is %d, want %d", c[0], c[1], i, got[i], want[i])
				break
			}
		}
		if n := l.CountBetween(south, north); n < len(got) {
			t.Errorf("%v to %v degrees: counted %d stars, there are %d", c[0], c[1], n, len(got))
		}
		if len(got) > 1 {
			n := 0
			l.EachBetween(south, north, maxV, epoch, func(Star) bool { n++; return n < 2 })
			if n != 2 {
				t.Errorf("%v to %v degrees: %d stars after the second call said stop", c[0], c[1], n)
			}
		}
	}
	if n := l.CountBetween(1, -1); n != 0 {
		t.Errorf("%d stars between declinations the wrong way round", n)
	}
	if n := l.CountBetween(-2, 2); n != l.Len() {
		t.Errorf("%d stars from pole to pole, the list has %d", n, l.Len())
	}
}
