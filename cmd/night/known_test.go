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
	x := solveScaled(t, n.equations(t, ss, nil))
	return math.Hypot(x[0], x[1])
}

// equations are the normal equations of what knowing solves for; more says how each frame
// turns with further unknowns, which come last.
func (n *Night) equations(t *testing.T, ss []axis.Sighting, more [][]r3.Vec) equations {
	t.Helper()
	frames := len(ss)
	const lens, shared = 5, 5 // of the lens; of axis and camera
	own := shared + frames - 1 + lens
	droop := own + 3*frames
	e := newEquations(droop + 1 + len(more))
	for p := range 3 * frames {
		e.hold(own+p, n.spec.Setup.Shake)
	}
	e.hold(droop, n.spec.Setup.Sag)
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
		for k := range more {
			turns[droop+1+k] = more[k][i]
		}
		for _, m := range s.Matches {
			var im optics.Image
			if !im.Project(&tr.Lens, camFromLocal.Apply(tr.Place.Observed(m.Sky).Vec())) {
				t.Fatal("a star behind the camera")
			}
			w := 1 / (m.Err*m.Err + math.Pow(float64(m.CatErr)*tr.Lens.F, 2))
			e.add(row(&im, im.DX, turns, own-lens), m.X-im.X, w)
			e.add(row(&im, im.DY, turns, own-lens), m.Y-im.Y, w)
		}
	}
	return e
}

// equations are normal equations.
type equations struct {
	normal *mat.SymDense
	g      *mat.VecDense
}

func newEquations(n int) equations {
	return equations{mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)}
}

// hold believes an unknown, in arcseconds, to be zero within size.
func (e *equations) hold(p int, size sphere.Angle) {
	e.normal.SetSym(p, p, e.normal.At(p, p)+1/math.Pow(math.Max(size.Arcseconds(), 1e-6), 2))
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

// add adds an observation.
func (e *equations) add(row map[int]float64, off, w float64) {
	for p, x := range row {
		e.g.SetVec(p, e.g.AtVec(p)+w*x*off)
		for q, y := range row {
			if q >= p {
				e.normal.SetSym(p, q, e.normal.At(p, q)+w*x*y)
			}
		}
	}
}

// solveScaled solves normal equations whose unknowns have very different units. The
// lens is held a little, so that what no star tells stays where it is.
func solveScaled(t *testing.T, e equations) []float64 {
	t.Helper()
	n := e.g.Len()
	scaled, b, scale := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil), make([]float64, n)
	for i := range n {
		scale[i] = math.Sqrt(e.normal.At(i, i))
	}
	for i := range n {
		for j := i; j < n; j++ {
			scaled.SetSym(i, j, e.normal.At(i, j)/scale[i]/scale[j])
		}
		scaled.SetSym(i, i, 1+1e-12)
		b.SetVec(i, e.g.AtVec(i)/scale[i])
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
