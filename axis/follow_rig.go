package axis

import (
	"math"

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
