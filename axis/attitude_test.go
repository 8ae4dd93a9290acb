package axis

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// axisAt returns where the mount's axis points when the camera has the given
// attitude: the camera carries it along when the adjusters are turned, and
// turning or tracking about the axis itself does not move it.
func axisAt(r *Result, localFromCam sphere.Rot) sphere.Local {
	return sphere.LocalVec(localFromCam.Apply(r.CamFromMount.Apply(r3.Vec{Z: 1})))
}

// A further photograph, taken after the adjusters were turned: its attitude
// says where the axis stands now, without another turn of the mount.
func TestAttitudeCarriesTheAxis(t *testing.T) {
	for k := range 10 {
		rng := rand.New(rand.NewPCG(seed, 8000+uint64(k)))
		n := random(rng, 4)
		n.stars, n.wrong = 100, 0.05
		az, alt := n.axis.AzAlt()
		if alt > 70*sphere.Degree { // a rise in altitude is a rotation only where azimuth says something
			continue
		}
		ss := n.sightings(t, rng)
		r, err := Fit(ss[:3])
		if err != nil {
			t.Fatal(err)
		}
		// The same mount, turned as a whole by its adjusters.
		turn := sphere.Turn(unitZ, -0.3*sphere.Degree).Mul(sphere.Turn(r3.Vec{X: az.Cos(), Y: -az.Sin()}, 0.2*sphere.Degree))
		now := sphere.LocalVec(turn.Apply(n.axis.Vec()))
		if wantAz, wantAlt := now.AzAlt(); (wantAz-az-0.3*sphere.Degree).Wrap().Abs() > 1e-6 || (wantAlt-alt-0.2*sphere.Degree).Abs() > 1e-6 {
			t.Fatalf("test is wrong: axis goes from %v %v to %v %v", az, alt, wantAz, wantAlt)
		}
		f, err := r.Attitude(n.photograph(t, rng, 3, turn.Mul(n.localFromCam(3, rng))))
		if err != nil {
			t.Fatal(err)
		}
		if f.Inliers < 80 || f.RMSPixels > 1 {
			t.Errorf("night %d: %d of %d stars, rms %.2f px", k, f.Inliers, f.Stars, f.RMSPixels)
		}
		// The axis lies far from the camera's view, so that the frame's roll error
		// moves it; compare with both errors together.
		d := axisAt(r, f.LocalFromCam).Sep(now)
		c := f.Cov
		sigma := sphere.Angle(math.Sqrt(c[0][0] + c[1][1] + c[2][2] + r.Cov[0][0] + r.Cov[1][1]))
		if d > 5*sigma {
			t.Errorf("seed %d, night %d: axis %.2f arcsec off after the adjusters, errors are %.2f", seed, k, d.Arcseconds(), sigma.Arcseconds())
		}
	}
}
