package axis

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// A camera that shifted between two frames, and one that bends away as the
// mount turns, are named with their size.
func TestLooseAndBendingCameras(t *testing.T) {
	for k := range 6 {
		rng := rand.New(rand.NewPCG(seed, 7100+uint64(k)))
		n := random(rng, 6)
		n.stars = 150
		size := sphere.Angle(10+10*rng.Float64()) * sphere.Arcminute
		// Off the declination axis: a turn about that alone is a slip of it.
		d := n.cam.Apply(unitZ)
		dec := r3.Unit(r3.Cross(unitZ, d))
		inMount := r3.Scale(float64(size), r3.Unit(r3.Add(r3.Scale(0.5, dec), r3.Cross(unitZ, dec))))
		inCam := n.cam.Inv().Apply(inMount)
		for _, kind := range []Kind{CameraShifted, Bends} {
			var ss []Sighting
			for i := range n.turns {
				share := float64((n.turns[i] - n.turns[0]) / (n.turns[5] - n.turns[0]))
				if kind == CameraShifted {
					share = math.Floor(float64(i) / 3)
				}
				ss = append(ss, n.photograph(t, rng, i, n.localFromCam(i, rng).Mul(sphere.TurnVec(r3.Scale(share, inCam)))))
			}
			r, err := Fit(ss)
			if err != nil {
				t.Fatal(err)
			}
			w := find(r, kind)
			if w == nil {
				t.Errorf("night %d: %v by %v: warnings %v", k, kind, size.Arcminutes(), r.Warnings)
				continue
			}
			if kind == CameraShifted && !slices.Equal(w.Frames, []int{2, 3}) {
				t.Errorf("night %d: shift between %v", k, w.Frames)
			}
			if math.Abs(float64(w.Angle/size)-1) > 0.1 {
				t.Errorf("night %d: kind %d of %.2f arcmin, want %.2f", k, kind, w.Angle.Arcminutes(), size.Arcminutes())
			}
		}
	}
}
