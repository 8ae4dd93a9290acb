package axis

import (
	"math"
	"time"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/lsq"
	"pintle/index/sphere"
)

// lastFrame is what a fit knows of the last frame: the covariance, together, of
// the turn of its attitude in the camera's frame and of the axis in the local
// frame (altitude, azimuth on the sky), and by how much these move when
// refraction grows by its own amount.
//
// The attitude's is for the lens as fitted: the frames to come are measured through
// the same lens, and an error of its centre turns them all alike. The axis' holds
// the lens' error too.
type lastFrame struct {
	frame int // among the sightings
	time  time.Time
	cov   [5][5]float64
	lift  [5]float64
}

// response takes right-hand sides of the normal equations to what lastFrame
// tells of.
type response struct {
	j     *joint
	t     [][5]float64  // by parameter
	fixed *mat.SymDense // covariance of the parameters with the lens held
}

// lastFrame reads it off the fit; lifted is from perRefraction.
func (j *joint) lastFrame(lifted []float64) (l lastFrame) {
	r := response{j: j, t: make([][5]float64, j.m.params()), fixed: j.lensHeld()}
	for _, c := range j.m.columns(len(j.m.turn) - 1) {
		r.t[c.param] = [5]float64{c.turn.X, c.turn.Y, c.turn.Z}
	}
	steps := j.axisSteps()
	for p := range 2 {
		r.t[p][3], r.t[p][4] = steps[0][p], steps[1][p]
	}
	l.lift = r.to(lifted)
	l.cov = r.cov()
	return l
}

// to solves for a right-hand side.
func (r *response) to(g []float64) (v [5]float64) {
	n := len(r.t)
	var held mat.VecDense
	held.MulVec(r.fixed, mat.NewVecDense(n, g[:n]))
	full := r.j.b.last.Solve(g)
	for p, t := range r.t {
		for a := range 5 {
			if a < 3 {
				v[a] += t[a] * held.AtVec(p)
			} else {
				v[a] += t[a] * full[p]
			}
		}
	}
	return v
}

// cov returns the covariance that the stars' errors leave.
func (r *response) cov() (c [5][5]float64) {
	for p, x := range r.t {
		for q, y := range r.t {
			for a := range 5 {
				for b := range 5 {
					m := r.fixed.At(p, q)
					if a >= 3 && b >= 3 {
						m = r.j.cov.At(p, q)
					}
					c[a][b] += x[a] * m * y[b]
				}
			}
		}
	}
	return c
}

// lensHeld returns the covariance of the parameters when the lens is as fitted.
func (j *joint) lensHeld() *mat.SymDense {
	n := j.m.params()
	held := mat.NewSymDense(n, nil)
	lens := mat.NewSymDense(lensParams, nil)
	for a := range lensParams {
		for b := a; b < lensParams; b++ {
			lens.SetSym(a, b, j.cov.At(n+a, n+b))
		}
	}
	var k lsq.Normal
	ok := k.Factorize(lens)
	for p := range n {
		row := make([]float64, lensParams)
		for a := range row {
			row[a] = j.cov.At(p, n+a)
		}
		var part []float64
		if ok {
			part = k.Solve(row)
		}
		for q := p; q < n; q++ {
			v := j.cov.At(p, q)
			for a := range part {
				v -= part[a] * j.cov.At(q, n+a)
			}
			held.SetSym(p, q, v)
		}
	}
	return held
}

// begin returns what is known when the axis has been measured.
func begin(r *Result) (b belief) {
	f := &r.Frames[r.last.frame]
	b.pose.camFromLocal = f.LocalFromCam.Inv()
	b.pose.axis = b.pose.camFromLocal.Apply(r.Axis.Vec())
	b.settle()
	// From a turn of the camera and a move of the axis to a move of the axis in
	// the camera's frame.
	alt, az := altAz(r.Axis.Vec())
	ex, ey := b.square()
	column := func(v [5]float64) (c numbers) {
		w := vec3(v[:])
		c[pCam], c[pCam+1], c[pCam+2] = w.X, w.Y, w.Z
		move := b.camFromLocal.Apply(r3.Add(r3.Scale(v[3], alt), r3.Scale(v[4], az)))
		move = r3.Add(move, r3.Cross(w, b.pose.axis))
		c[pAxis], c[pAxis+1] = -r3.Dot(move, ey), r3.Dot(move, ex)
		return c
	}
	air := r.place.Air().Err
	lift := r.last.lift
	for i := range lift {
		lift[i] *= air
	}
	c := column(lift)
	c[pAir] = air
	s := spreads{c}
	for _, v := range lower5(r.last.cov) {
		s = append(s, column(v))
	}
	cone := math.Pi
	if sin := math.Hypot(b.pose.axis.X, b.pose.axis.Y); sin > 0 {
		cone = math.Min(cone, float64(coneSigma)/sin)
	}
	s = append(s, numbers{pLean: float64(leanSigma)}, numbers{pLean + 1: float64(leanSigma)},
		numbers{pSkew: float64(skewSigma)}, numbers{pDecAxis: cone}, numbers{pRate: float64(rateSigma)})
	b.root = s.packed()
	return b
}

// lower5 returns the columns of the Cholesky root of a covariance; what has no
// variance of its own gets none.
func lower5(c [5][5]float64) (cols [5][5]float64) {
	for j := range 5 {
		d := c[j][j]
		for k := range j {
			d -= cols[k][j] * cols[k][j]
		}
		if !(d > 1e-15*c[j][j]) {
			continue
		}
		for i := j; i < 5; i++ {
			s := c[i][j]
			for k := range j {
				s -= cols[k][i] * cols[k][j]
			}
			cols[j][i] = s / math.Sqrt(d)
		}
	}
	return cols
}

// liftOf returns how an attitude turns, as a rotation vector in the camera's
// frame, when refraction grows by its own amount: the least-squares answer to
// the stars being lifted.
func (s *Sighting) liftOf(camFromLocal sphere.Rot) r3.Vec {
	var n [3][3]float64
	var g r3.Vec
	for i := 0; i < len(s.Matches); i += 1 + len(s.Matches)/100 {
		l := s.Place.Observed(s.Matches[i].Sky)
		alt, _ := altAz(l.Vec())
		v := camFromLocal.Apply(l.Vec())
		d := r3.Scale(float64(s.Place.Refraction(l)), camFromLocal.Apply(alt))
		g = r3.Add(g, r3.Cross(v, d))
		x := [3]float64{v.X, v.Y, v.Z}
		for a := range 3 {
			n[a][a]++
			for b := range 3 {
				n[a][b] -= x[a] * x[b]
			}
		}
	}
	return solve3(n, g)
}

// solve3 solves a symmetric positive system of three equations; the zero vector
// when it is singular.
func solve3(n [3][3]float64, g r3.Vec) r3.Vec {
	a, b, c := vec3(n[0][:]), vec3(n[1][:]), vec3(n[2][:])
	det := r3.Dot(a, r3.Cross(b, c))
	if !(math.Abs(det) > 1e-12*n[0][0]*n[1][1]*n[2][2]) {
		return r3.Vec{}
	}
	sum := r3.Add(r3.Scale(g.X, r3.Cross(b, c)), r3.Add(r3.Scale(g.Y, r3.Cross(c, a)), r3.Scale(g.Z, r3.Cross(a, b))))
	return r3.Scale(1/det, sum)
}
