package axis

import (
	"math"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// The numbers that say how a mount stands and what is done to it from one frame
// to the next: radians, but pRate (radians a second) and pAir (a fraction).
// The first nKnown are carried from frame to frame.
const (
	pCam     = 0  // three: small turn of camFromLocal, in the camera's frame
	pAxis    = 3  // two: small turn of the axis in the camera's frame
	pLean    = 5  // two: turn of the base's vertical from the zenith, about east and about north
	pSkew    = 7  // of the altitude adjuster's axis about the base's vertical
	pDecAxis = 8  // of the declination axis about the RA axis, from its nominal place
	pAir     = 9  // refraction over the one assumed, minus 1
	pRate    = 10 // by how much the drive turns too fast, right-handed about the axis
	nKnown   = 11
	pAz      = 11 // the adjusters: clockwise from above, raising
	pAlt     = 12
	pTurn    = 13 // RA, right-handed about the axis
	pDec     = 14
	pShift   = 15 // three: the camera on the mount, in the camera's frame
	pTip     = 18 // three: the whole mount, in the local frame
	nNumbers = 21
)

// numbers holds a value of each.
type numbers [nNumbers]float64

// pose is how camera and mount stand: where the camera looks, and where the
// mount's axis is for the camera. The mount carries both together, so that the
// camera shows where the axis goes.
type pose struct {
	camFromLocal sphere.Rot
	axis         r3.Vec // in the camera's frame
}

// axisSeen returns the axis in the local frame.
func (p *pose) axisSeen() r3.Vec { return p.camFromLocal.Inv().Apply(p.axis) }

// square returns two directions square to the axis, in the camera's frame;
// x, y and the axis are right-handed.
func (p *pose) square() (x, y r3.Vec) {
	a := p.axis
	side := unitX
	if math.Abs(a.X) > 0.7 {
		side = unitY
	}
	x = r3.Unit(r3.Sub(side, r3.Scale(r3.Dot(side, a), a)))
	return x, r3.Cross(a, x)
}

// adjusters returns the axes, in the local frame, about which the adjusters turn
// the mount: azimuth about up, clockwise for a negative turn; altitude about side,
// horizontal on the base and across the mount, raising for a negative turn.
func adjusters(x *numbers, axis r3.Vec) (up, side r3.Vec) {
	up = sphere.TurnVec(r3.Vec{X: x[pLean], Y: x[pLean+1]}).Apply(unitZ)
	side = r3.Cross(up, axis)
	if n := r3.Norm(side); n > 1e-9 {
		side = r3.Scale(1/n, side)
	} else { // the axis stands upright on the base: altitude may lie anyhow
		side = unitX
	}
	return up, sphere.Turn(up, sphere.Angle(x[pSkew])).Apply(side)
}

// decAxis returns the declination axis in the camera's frame, for an axis given
// there: square to it and to where the camera looks, but for the cone error.
func decAxis(axis r3.Vec, off float64) r3.Vec {
	d := r3.Cross(axis, unitZ)
	n := r3.Norm(d)
	if n < 1e-9 {
		d, n = r3.Cross(axis, unitX), 1
	}
	return sphere.Turn(axis, sphere.Angle(off)).Apply(r3.Scale(1/n, d))
}

// after returns the pose that x makes of this one.
func (p *pose) after(x *numbers) pose {
	cam := sphere.TurnVec(vec3(x[pCam:])).Mul(p.camFromLocal)
	ex, ey := p.square()
	axis := sphere.TurnVec(r3.Add(r3.Scale(x[pAxis], ex), r3.Scale(x[pAxis+1], ey))).Apply(p.axis)
	seen := cam.Inv().Apply(axis)
	up, side := adjusters(x, seen)
	cam = cam.Mul(sphere.Turn(seen, sphere.Angle(-x[pTurn]))).
		Mul(sphere.Turn(side, sphere.Angle(x[pAlt]))).Mul(sphere.Turn(up, sphere.Angle(x[pAz])))
	if tip := vec3(x[pTip:]); tip != (r3.Vec{}) {
		cam = cam.Mul(sphere.TurnVec(tip).Inv())
	}
	if x[pDec] != 0 {
		d := sphere.Turn(decAxis(axis, x[pDecAxis]), sphere.Angle(x[pDec]))
		cam, axis = d.Mul(cam), d.Apply(axis)
	}
	if shift := vec3(x[pShift:]); shift != (r3.Vec{}) {
		s := sphere.TurnVec(shift)
		cam, axis = s.Mul(cam), s.Apply(axis)
	}
	return pose{cam, axis}
}

// slope is how the pose after x moves per unit of one number: the camera's turn
// in its own frame, and the axis in the camera's frame.
type slope struct{ cam, axis r3.Vec }

// slopes returns the slope of each number that one of the columns moves, by
// differences.
func (p *pose) slopes(x *numbers, used *[nNumbers]bool) (d [nNumbers]slope) {
	const h = 1e-6
	at := p.after(x)
	back := at.camFromLocal.Inv()
	for i := range nNumbers {
		if !used[i] || i == pAir || i == pRate { // they do not act within after
			continue
		}
		y := *x
		y[i] += h
		q := p.after(&y)
		d[i] = slope{
			r3.Scale(1/h, q.camFromLocal.Mul(back).Vec()),
			r3.Scale(1/h, r3.Sub(q.axis, at.axis)),
		}
	}
	return d
}

// lastFrame is what a fit knows of the last frame: the covariance, together, of
// the turn of its attitude in the camera's frame and of the axis in the local
// frame (altitude, azimuth on the sky), and by how much these move when
// refraction grows by its own amount.
type lastFrame struct {
	frame int // among the sightings
	time  time.Time
	cov   [5][5]float64
	lift  [5]float64
}

// lastFrame reads it off the fit.
//
// A few frames cannot show that each is turned by seeing and wind: three
// pointings lie on a circle always. So that is added, as far as the fit did not
// find it.
func (j *joint) lastFrame(lift []float64) (l lastFrame) {
	k := len(j.m.turn) - 1
	t := make([][5]float64, j.m.params())
	for _, c := range j.m.columns(k) {
		t[c.param] = [5]float64{c.turn.X, c.turn.Y, c.turn.Z}
	}
	steps := j.axisSteps()
	for p := range 2 {
		t[p][3], t[p][4] = steps[0][p], steps[1][p]
	}
	for p, x := range t {
		for a := range 5 {
			l.lift[a] += x[a] * lift[p]
			for q, y := range t {
				for b := range 5 {
					l.cov[a][b] += x[a] * j.cov.At(p, q) * y[b]
				}
			}
		}
	}
	seen := j.m.tilt * j.m.tilt
	more := math.Max(0, float64(restless)*float64(restless)-seen)
	for _, d := range j.perTurn() {
		var v [5]float64
		for p, x := range t {
			for a := range 5 {
				v[a] += x[a] * d[p]
			}
		}
		for a := range 5 {
			for b := range 5 {
				l.cov[a][b] += more * v[a] * v[b]
			}
		}
	}
	return l
}

// perTurn returns how the parameters move when one frame's stars are seen turned
// about one of the camera's axes, for all frames and axes.
func (j *joint) perTurn() (ds [][]float64) {
	p := j.m.params()
	for k := range j.b.frames {
		blk := j.b.measure(k, j.m.camFromLocal(k))
		for e := range 3 {
			g := make([]float64, p+lensParams)
			col := func(i int) float64 { return blk.n[min(e, i)][max(e, i)] }
			for _, c := range j.m.columns(k) {
				g[c.param] += c.turn.X*col(0) + c.turn.Y*col(1) + c.turn.Z*col(2)
			}
			for l := range lensParams {
				g[p+l] += col(3 + l)
			}
			ds = append(ds, j.b.last.solve(g))
		}
	}
	return ds
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
