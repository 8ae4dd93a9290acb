package axis

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// The camera on the mount is what the simulated night was given, and a star
// at the place of date that is told stands in the middle of the frame.
func TestAimIsWhereTheCameraLooks(t *testing.T) {
	statistical(t)
	for k := range 12 {
		rng := rand.New(rand.NewPCG(seed, 7000+uint64(k)))
		n := random(rng, 3)
		ss := n.sightings(t, rng)
		r, err := Fit(ss)
		if err != nil {
			t.Fatal(err)
		}
		a := r.Aim(ss)
		if a.Frame != 2 {
			t.Errorf("night %d: frame %d, want the last", k, a.Frame)
		}
		mid := n.lens.Cam(float64(n.w-1)/2, float64(n.h-1)/2).Vec()
		inMount := n.cam.Apply(mid)
		if d := a.FromAxis - sphere.Angle(math.Acos(inMount.Z)); d.Abs() > 30*sphere.Arcsecond {
			t.Errorf("night %d: %.1f arcsec further from the axis than the truth", k, d.Arcseconds())
		}
		// The spherical triangle once more with vectors: the frame's up against
		// the direction to the mount's north.
		above := n.cam.Apply(n.lens.Cam(float64(n.w-1)/2, float64(n.h-1)/2-1).Vec())
		north := r3.Vec{Z: 1}
		dec := math.Pi/2 - math.Acos(inMount.Z)
		if n.site.Lat < 0 {
			north, dec = r3.Vec{Z: -1}, -dec
		}
		if d := sphere.Angle(dec) - a.MountDec; d.Abs() > 30*sphere.Arcsecond {
			t.Errorf("night %d: declination on the mount %v, want %v", k, a.MountDec.Degrees(), dec*180/math.Pi)
		}
		up := r3.Sub(above, inMount)
		east := r3.Cross(north, inMount)
		want := sphere.Angle(math.Atan2(r3.Dot(up, r3.Unit(east)), r3.Dot(up, r3.Unit(r3.Cross(inMount, east)))))
		if d := (a.Up - want).Wrap(); d.Abs()*sphere.Angle(inMount.X*inMount.X+inMount.Y*inMount.Y) > 5*sphere.Arcminute {
			t.Errorf("night %d: up at %.3f, want %.3f deg", k, a.Up.Degrees(), want.Degrees())
		}
		if d := a.Place.Observed(a.ICRS).Sep(a.Seen); d > 0.01*sphere.Arcsecond {
			t.Errorf("night %d: catalogue direction seen %.3f arcsec off", k, d.Arcseconds())
		}
		if d := sphere.SkyAt(a.RA, a.Dec).Sep(a.ICRS); d > sphere.Degree {
			t.Errorf("night %d: place of date %.2f deg from the catalogue's", k, d.Degrees())
		}
	}
}
