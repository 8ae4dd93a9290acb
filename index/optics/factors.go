package optics

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Factors is a table of what a law makes of directions, for those who project a great
// many and do not need the last digits: places are good to a 50 000th of the focal
// length.
type Factors struct {
	least float64 // height of the lowest direction that is drawn
	steps float64 // to the unit of height
	q     [factors + 1]float64
}

// factors is the number of steps of the table.
const factors = 1024

// MakeFactors returns the table of a law.
func MakeFactors(w Law) *Factors {
	f := &Factors{least: math.Cos(float64(w.Reach()))}
	f.steps = factors / (1 - f.least)
	for i := range f.q {
		z := f.least + float64(i)/f.steps
		theta := math.Acos(min(1, z))
		f.q[i] = 1
		if s := math.Sin(theta); s > 0 {
			r, _ := w.radius(theta)
			f.q[i] = r / s
		}
	}
	return f
}

// Pixel is [Lens.PixelVec] for a lens of the table's law, and just that without a table.
func (f *Factors) Pixel(l *Lens, v r3.Vec) (x, y float64, ok bool) {
	if f == nil {
		return l.PixelVec(v)
	}
	at := (v.Z - f.least) * f.steps
	if !(at >= 0) {
		return 0, 0, false
	}
	i := min(int(at), factors-1)
	return l.at(v, f.q[i]+(f.q[i+1]-f.q[i])*(at-float64(i)))
}
