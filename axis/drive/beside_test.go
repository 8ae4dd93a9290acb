package drive

import (
	"testing"

	"pintle/index/sphere"
)

// An axis beside the pole, as Beside and Off say it: turn 0 is higher, 90 degrees
// at larger azimuth, about either pole.
func TestBesideAndOffMeanTheSame(t *testing.T) {
	for _, az := range []sphere.Angle{0, 180 * sphere.Degree} {
		pole := sphere.LocalAt(az, 35*sphere.Degree)
		for turn, want := range map[sphere.Angle][2]sphere.Angle{0: {1, 0}, 90: {0, 1}, 180: {-1, 0}, 270: {0, -1}} {
			a, h := Beside(pole, sphere.Arcminute, turn*sphere.Degree).AzAlt()
			dAlt, dAz := h-35*sphere.Degree, (a-az).Wrap()*sphere.Angle((35*sphere.Degree).Cos())
			if (dAlt-want[0]*sphere.Arcminute).Abs() > sphere.Arcsecond || (dAz-want[1]*sphere.Arcminute).Abs() > sphere.Arcsecond {
				t.Errorf("pole at %v, turn %v: higher by %v, azimuth on the sky larger by %v, want %v arcmin", az, float64(turn), dAlt, dAz, want)
			}
		}
		higher, further := Off(pole, sphere.Arcminute, 0, az != 0), Off(pole, 0, sphere.Arcminute, az != 0)
		for name, d := range map[string]Drive{"higher": higher, "further": further} {
			n := d.axis.North()
			if az != 0 {
				n.X, n.Y, n.Z = -n.X, -n.Y, -n.Z
			}
			a, h := sphere.LocalVec(n).AzAlt()
			if name == "higher" && h < 35*sphere.Degree || name == "further" && (a-az).Wrap() < sphere.Arcminute/2 {
				t.Errorf("pole at %v, %s: axis at %v, %v", az, name, a, h)
			}
		}
	}
}
