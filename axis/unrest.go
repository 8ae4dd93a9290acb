package axis

import (
	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis/unrest"
)

// Manner is what other evenings have shown of a mount. The zero value is a mount of
// which nothing is known.
type Manner = unrest.Manner

// anyMount is what is believed of a mount of which nothing is known.
var anyMount = Manner{}.Beliefs()

// sags is the number of columns of sag.
const sags = 7

// sag returns how the frames turn, each in its camera's frame, when gravity bends
// the camera: a droop toward the ground first, then each of two tilts by each part
// of gravity.
func (a attitudes) sag() [][]float64 {
	z := make([][]float64, sags)
	for i := range z {
		z[i] = make([]float64, 3*len(a.camFromLocal))
	}
	for i, r := range a.camFromLocal {
		down := r.Apply(r3.Vec{Z: -1})
		droop := r3.Cross(unitZ, down)
		z[0][3*i], z[0][3*i+1] = droop.X, droop.Y
		for k, d := range [3]float64{down.X, down.Y, down.Z} {
			z[1+k][3*i], z[4+k][3*i+1] = d/3, d/3
		}
	}
	return z
}
