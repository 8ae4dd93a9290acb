package axis

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// wahba returns the rotation that takes the directions from to the directions to
// with the least weighted sum of squares, by Davenport's quaternion method
// (1968): the largest eigenvector of a 4 x 4 matrix.
func wahba(to, from []r3.Vec, weight []float64) (sphere.Rot, bool) {
	var b [3][3]float64
	for i := range to {
		t := [3]float64{to[i].X, to[i].Y, to[i].Z}
		f := [3]float64{from[i].X, from[i].Y, from[i].Z}
		for r := range 3 {
			for c := range 3 {
				b[r][c] += weight[i] * t[r] * f[c]
			}
		}
	}
	tr := b[0][0] + b[1][1] + b[2][2]
	z := [3]float64{b[2][1] - b[1][2], b[0][2] - b[2][0], b[1][0] - b[0][1]}
	k := mat.NewSymDense(4, nil)
	k.SetSym(0, 0, tr)
	for r := range 3 {
		k.SetSym(0, r+1, z[r])
		for c := r; c < 3; c++ {
			x := b[r][c] + b[c][r]
			if r == c {
				x -= tr
			}
			k.SetSym(r+1, c+1, x)
		}
	}
	var e mat.EigenSym
	if !e.Factorize(k, true) {
		return sphere.Identity(), false
	}
	var v mat.Dense
	e.VectorsTo(&v)
	q := quat.Number{Real: v.At(0, 3), Imag: v.At(1, 3), Jmag: v.At(2, 3), Kmag: v.At(3, 3)}
	u := r3.Vec{X: q.Imag, Y: q.Jmag, Z: q.Kmag}
	return sphere.Turn(u, sphere.Angle(2*math.Atan2(r3.Norm(u), q.Real))), true
}

// firstAttitude returns camFromLocal of one sighting to start from: the better
// of what solving said and of a fit to the pixels, by the median distance, in
// radians, of the stars from where they should be, which it returns too. A
// sample of the stars is enough.
func firstAttitude(s *Sighting, stars []star) (best sphere.Rot, scatter float64) {
	var local, seen, said []r3.Vec
	camFromSky := s.SkyFromCam.Inv()
	for i := 0; i < len(stars); i += 1 + len(stars)/200 {
		local = append(local, stars[i].local)
		seen = append(seen, s.Lens.Cam(s.Matches[i].X, s.Matches[i].Y).Vec())
		said = append(said, camFromSky.Apply(s.Matches[i].Sky.Vec()))
	}
	best, scatter = sphere.Identity(), math.Inf(1)
	try := func(r sphere.Rot, ok bool) {
		if e := median(residuals(r, seen, local)); ok && e < scatter {
			best, scatter = r, e
		}
	}
	try(wahba(said, local, ones(len(local))))
	try(leastAbsolute(seen, local))
	return best, scatter
}

// leastAbsolute is wahba with the sum of residuals instead of their squares, so
// that wrong matches have little pull: a few rounds with weights 1/residual.
func leastAbsolute(to, from []r3.Vec) (sphere.Rot, bool) {
	weight := ones(len(to))
	r, ok := wahba(to, from, weight)
	for range 5 {
		if !ok {
			break
		}
		e := residuals(r, to, from)
		least := math.Max(median(e), 1e-9)
		for i := range weight {
			weight[i] = 1 / math.Max(e[i], least)
		}
		r, ok = wahba(to, from, weight)
	}
	return r, ok
}

func ones(n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = 1
	}
	return x
}

// residuals returns the lengths of to minus the turned from.
func residuals(r sphere.Rot, to, from []r3.Vec) []float64 {
	e := make([]float64, len(to))
	for i := range to {
		e[i] = r3.Norm(r3.Sub(to[i], r.Apply(from[i])))
	}
	return e
}

func median(x []float64) float64 {
	y := append([]float64(nil), x...)
	sort.Float64s(y)
	if len(y) == 0 {
		return 0
	}
	return (y[(len(y)-1)/2] + y[len(y)/2]) / 2
}

// firstMount returns the mount that fits the attitudes best in a plain sense:
// each pair of frames turns about a vector of length sin(turn/2) along the axis,
// and the axis is where these vectors point. elevated chooses its end.
func firstMount(camFromLocal []sphere.Rot, elevated r3.Vec) (*mount, bool) {
	var s mat.SymDense
	s.ReuseAsSym(3)
	n := len(camFromLocal)
	half := func(i, j int) (r3.Vec, float64) { // quaternion of the turn from frame i to j in the local frame
		v := camFromLocal[j].Inv().Mul(camFromLocal[i]).Vec()
		a := r3.Norm(v)
		if a == 0 {
			return r3.Vec{}, 1
		}
		return r3.Scale(math.Sin(a/2)/a, v), math.Cos(a / 2)
	}
	for i := range n {
		for j := i + 1; j < n; j++ {
			v, _ := half(i, j)
			x := [3]float64{v.X, v.Y, v.Z}
			for r := range 3 {
				for c := r; c < 3; c++ {
					s.SetSym(r, c, s.At(r, c)+x[r]*x[c])
				}
			}
		}
	}
	var e mat.EigenSym
	if !e.Factorize(&s, true) {
		return nil, false
	}
	var v mat.Dense
	e.VectorsTo(&v)
	z := r3.Vec{X: v.At(0, 2), Y: v.At(1, 2), Z: v.At(2, 2)}
	if r3.Dot(z, elevated) < 0 {
		z = r3.Scale(-1, z)
	}
	m := &mount{mountFromLocal: uprightMount(z), turn: make([]float64, n)}
	for i := 1; i < n; i++ {
		u, w := half(0, i)
		m.turn[i] = wrap(2 * math.Atan2(r3.Dot(u, z), w))
	}
	m.camFromMount = camFromLocal[0].Mul(m.mountFromLocal.Inv())
	return m, true
}

// uprightMount returns mountFromLocal for an axis: z along it, y up.
func uprightMount(z r3.Vec) sphere.Rot {
	side := r3.Cross(unitZ, z) // x = up x axis
	if r3.Norm(side) < 1e-9 {
		side = unitX
	}
	x := r3.Unit(side)
	return sphere.RotFromRows(x, r3.Cross(z, x), z)
}
