package night

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis"
	"pintle/index/optics"
	"pintle/index/sphere"
)

// knowing returns how far, in arcseconds, the axis is off when it is measured by one who
// knows the sizes of scatter and sag, and takes nothing else for possible: no measurement
// of the same stars is better on average. It shares no code with the fit. Everything is
// linear about the truth: the pixels of all stars against
//
//	w, a tilt of the axis; the camera on the mount; a turn of each frame but the first;
//	the lens; each frame's own turn within the scatter; a droop within the sag
//
// by dense weighted least squares, the last two held to zero by their sizes. Of the truth
// w is zero, so what is found is the error.
func (n *Night) knowing(t *testing.T, ss []axis.Sighting) float64 {
	t.Helper()
	frames := len(ss)
	const lens, shared = 5, 5 // of the lens; of axis and camera
	own := shared + frames - 1 + lens
	droop := own + 3*frames
	normal, g := mat.NewSymDense(droop+1, nil), mat.NewVecDense(droop+1, nil)
	hold := func(p int, size sphere.Angle) {
		normal.SetSym(p, p, normal.At(p, p)+1/math.Pow(math.Max(size.Arcseconds(), 1e-6), 2))
	}
	for p := range 3 * frames {
		hold(own+p, n.spec.Setup.Shake)
	}
	hold(droop, n.spec.Setup.Sag)
	a := n.Truth(0).Axis.Vec()
	up, side := sphere.LocalVec(a).Tangents()
	for i, s := range ss {
		tr := n.still(i)
		camFromLocal := tr.LocalFromCam.Inv()
		down := camFromLocal.Apply(r3.Vec{Z: -1})
		turns := map[int]r3.Vec{0: camFromLocal.Apply(up), 1: camFromLocal.Apply(side), 2: {X: 1}, 3: {Y: 1}, 4: {Z: 1},
			own + 3*i: {X: 1}, own + 3*i + 1: {Y: 1}, own + 3*i + 2: {Z: 1}, droop: r3.Cross(unitZ, down)}
		if i > 0 {
			turns[shared+i-1] = camFromLocal.Apply(a)
		}
		for _, m := range s.Matches {
			var im optics.Image
			if !im.Project(&tr.Lens, camFromLocal.Apply(tr.Place.Observed(m.Sky).Vec())) {
				t.Fatal("a star behind the camera")
			}
			w := 1 / (m.Err*m.Err + math.Pow(float64(m.CatErr)*tr.Lens.F, 2))
			addRow(normal, g, row(&im, im.DX, turns, own-lens), m.X-im.X, w)
			addRow(normal, g, row(&im, im.DY, turns, own-lens), m.Y-im.Y, w)
		}
	}
	x := solveScaled(t, normal, g)
	return math.Hypot(x[0], x[1])
}

// still is the truth about a frame without its scatter and sag.
func (n *Night) still(i int) Truth {
	steady := *n
	steady.spec.Setup.Shake, steady.spec.Setup.Sag = 0, 0
	m, err := New(steady.spec)
	if err != nil {
		panic(err) // it was built before
	}
	return m.Truth(i)
}

// row returns how a coordinate of a star moves with the unknowns: turns in arcseconds,
// the lens from column at on.
func row(im *optics.Image, d [8]float64, turns map[int]r3.Vec, at int) map[int]float64 {
	out := map[int]float64{}
	for p, v := range turns {
		out[p] = (d[0]*v.X + d[1]*v.Y + d[2]*v.Z) * float64(sphere.Arcsecond)
	}
	for k, v := range d[3:] {
		out[at+k] = v
	}
	return out
}

func addRow(normal *mat.SymDense, g *mat.VecDense, row map[int]float64, off, w float64) {
	for p, x := range row {
		g.SetVec(p, g.AtVec(p)+w*x*off)
		for q, y := range row {
			if q >= p {
				normal.SetSym(p, q, normal.At(p, q)+w*x*y)
			}
		}
	}
}

// solveScaled solves normal equations whose unknowns have very different units. The
// lens is held a little, so that what no star tells stays where it is.
func solveScaled(t *testing.T, normal *mat.SymDense, g *mat.VecDense) []float64 {
	t.Helper()
	n := g.Len()
	scaled, b, scale := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil), make([]float64, n)
	for i := range n {
		scale[i] = math.Sqrt(normal.At(i, i))
	}
	for i := range n {
		for j := i; j < n; j++ {
			scaled.SetSym(i, j, normal.At(i, j)/scale[i]/scale[j])
		}
		scaled.SetSym(i, i, 1+1e-12)
		b.SetVec(i, g.AtVec(i)/scale[i])
	}
	var ch mat.Cholesky
	var x mat.VecDense
	if !ch.Factorize(scaled) {
		t.Fatal("the stars do not tell the axis")
	}
	if err := ch.SolveVecTo(&x, b); err != nil {
		t.Log(err)
	}
	out := make([]float64, n)
	for i := range out {
		out[i] = x.AtVec(i) / scale[i]
	}
	return out
}
