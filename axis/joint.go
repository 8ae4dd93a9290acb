package axis

import (
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/optics"
	"pintle/index/sphere"
)

// joint is the finished fit of all stars.
type joint struct {
	b   *bundle
	m   *mount
	cov *mat.SymDense
}

// altAz returns the directions in which altitude and azimuth grow at l.
func altAz(l r3.Vec) (alt, az r3.Vec) { return sphere.LocalVec(l).Tangents() }

// axisSteps returns the motion of the axis (altitude, azimuth on the sky) per
// unit of the first two parameters.
func (j *joint) axisSteps() (s [2][2]float64) {
	a := j.m.axis()
	alt, az := altAz(a)
	back := j.m.mountFromLocal.Inv()
	for p, u := range []r3.Vec{unitX, unitY} {
		d := r3.Scale(-1, back.Apply(r3.Cross(u, unitZ)))
		s[0][p], s[1][p] = r3.Dot(alt, d), r3.Dot(az, d)
	}
	return s
}

func (j *joint) axisCov() (c [2][2]float64) {
	s := j.axisSteps()
	for r := range 2 {
		for q := range 2 {
			for x := range 2 {
				for y := range 2 {
					c[r][q] += s[r][x] * j.cov.At(x, y) * s[q][y]
				}
			}
		}
	}
	return c
}

// perRefraction returns the right-hand side of the normal equations whose solution
// is how parameters and lens move when refraction grows by its own amount: the
// least-squares answer to all stars being lifted by what the air lifts them now. It is
// taken at the model of the normal equations: what frames free to turn give to the axis
// and take from it again cancels only there.
func (j *joint) perRefraction(f *fit) []float64 {
	m := j.b.at.(*mount)
	p := m.params()
	g := make([]float64, p+lensParams)
	var im optics.Image
	for k, i := range f.used {
		place := f.sightings[f.index[i]].Place
		att := m.camFromLocal(k)
		var blk block
		for _, s := range j.b.frames[k] {
			if s.weight == 0 || !im.Project(&j.b.lens, att.Apply(s.local)) {
				continue
			}
			lift := float64(place.Refraction(sphere.LocalVec(s.local)))
			alt, _ := altAz(s.local)
			w := att.Apply(r3.Scale(lift, r3.Cross(s.local, alt)))
			ex := im.DX[0]*w.X + im.DX[1]*w.Y + im.DX[2]*w.Z
			ey := im.DY[0]*w.X + im.DY[1]*w.Y + im.DY[2]*w.Z
			blk.add(&im, -ex, -ey, s.weight/(s.variance+j.b.floor[k]))
		}
		for _, c := range m.columns(k) {
			g[c.param] += c.turn.X*blk.g[0] + c.turn.Y*blk.g[1] + c.turn.Z*blk.g[2]
		}
		for l := range lensParams {
			g[p+l] += blk.g[3+l]
		}
	}
	return g
}

// frameCov returns the covariance of frame k's attitude.
func (j *joint) frameCov(k int) (c [3][3]float64) {
	cols := j.m.columns(k)
	for _, a := range cols {
		x := [3]float64{a.turn.X, a.turn.Y, a.turn.Z}
		for _, b := range cols {
			y := [3]float64{b.turn.X, b.turn.Y, b.turn.Z}
			v := j.cov.At(a.param, b.param)
			for p := range 3 {
				for q := range 3 {
					c[p][q] += x[p] * v * y[q]
				}
			}
		}
	}
	return c
}

// settle moves the finished fit to the axis averaged over what mount and air may
// have added, all else following as the fit's covariance has it, and gives the axis
// the error of that average.
func (j *joint) settle(sky view) {
	sky = sky.seenFrom(j.m)
	k := j.cov.SymmetricDim()
	xx, xy, yy := j.cov.At(0, 0), j.cov.At(0, 1), j.cov.At(1, 1)
	det := xx*yy - xy*xy
	follows := make([][2]float64, k) // of each unknown, per turn of the axis
	step := make([]float64, k)
	for i := range k {
		u, v := j.cov.At(i, 0), j.cov.At(i, 1)
		follows[i] = [2]float64{(u*yy - v*xy) / det, (v*xx - u*xy) / det}
		step[i] = follows[i][0]*sky.best[0] + follows[i][1]*sky.best[1]
	}
	e := sky.errors()
	more := [3]float64{e[0] - xx, e[1] - xy, e[2] - yy}
	for i, a := range follows {
		for l := i; l < k; l++ {
			b := follows[l]
			j.cov.SetSym(i, l, j.cov.At(i, l)+a[0]*more[0]*b[0]+(a[0]*b[1]+a[1]*b[0])*more[1]+a[1]*more[2]*b[1])
		}
	}
	p := j.m.params()
	j.m = j.m.moved(step[:p]).(*mount)
	j.b.lens = j.b.lens.Moved([lensParams]float64(step[p:]))
}
