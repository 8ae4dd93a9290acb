package axis

import (
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// A camera that droops turns its frames by line of sight x gravity. With the line of
// sight s p + c u(t), p the axis and u the direction square to it that turns with the
// mount, that is s p x g, a tilt of the axis; c (g.p) u x p, a turn of the camera on the
// mount; and c u x g without its part along p, a turn about the axis of the frame's own.
// So no frames show it at all, be they wide or many: the errors of a droop are those that
// are believed, whatever the fit.
func TestNoFramesShowDroop(t *testing.T) {
	for _, frames := range []int{3, 6, 12} {
		rng := rand.New(rand.NewPCG(seed, 9860+uint64(frames)))
		n := random(rng, frames)
		var a attitudes
		for i := range frames {
			a.camFromLocal = append(a.camFromLocal, n.localFromCam(i, rng).Inv())
		}
		m, ok := firstMount(a.camFromLocal, n.axis.Vec())
		if !ok {
			t.Fatal("no mount")
		}
		z := a.sag()
		left := make([]float64, len(z)) // share of each that no mount explains
		for k, c := range z {
			v := mat.NewVecDense(len(c), c)
			var x, fit, rest mat.VecDense
			if err := x.SolveVec(a.design(m), v); err != nil {
				t.Fatal(err)
			}
			fit.MulVec(a.design(m), &x)
			rest.SubVec(v, &fit)
			left[k] = mat.Norm(&rest, 2) / mat.Norm(v, 2)
		}
		t.Logf("seed %d, %d frames over %.0f degrees: left of the droop %.1g, of the tilts %.2g", seed, frames, (n.turns[frames-1] - n.turns[0]).Degrees(), left[0], left[1:])
		if left[0] > 1e-6 {
			t.Errorf("seed %d, %d frames: %.2g of a droop shows, want nothing", seed, frames, left[0])
		}
		most := 0.0
		for _, l := range left[1:] {
			most = max(most, l)
		}
		if most < 1e-3 { // so the measure is one
			t.Errorf("seed %d, %d frames: nothing of any tilt shows, %v", seed, frames, left)
		}
	}
}
