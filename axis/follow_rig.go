package axis

import (
	"math"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// The numbers that say how a mount stands while its adjusters are turned, all
// in radians but pRate (radians a second) and pAir (a fraction). Up to pAir they
// stay what they are, from pAz on they move.
const (
	pAxisX, pAxisY        = 0, 1   // small turn of mountFromLocal, in the mount's frame
	pCamX, pCamY          = 2, 3   // small turn of camFromMount, in the camera's frame
	pCamZ                 = 4      //
	pLeanEast, pLeanNorth = 5, 6   // turn of the base's vertical away from the zenith, about east and about north
	pSkew                 = 7      // of the altitude adjuster's axis about the base's vertical
	pDecAxis              = 8      // turn of the declination axis about the RA axis, from its nominal place
	pAir                  = 9      // refraction over the one assumed, minus 1
	pAz, pAlt             = 10, 11 // turns of the adjusters since the axis was measured: clockwise from above, raising
	pTurn                 = 12     // turn about the axis, as FrameFit.Turn
	pRate                 = 13     // by how much the drive turns too fast, right-handed about the axis
	pDec                  = 14     // turn about the declination axis since the axis was measured
	nState                = 15
)

// standing holds a value of each of these numbers.
type standing [nState]float64

// rig is the mount as it was measured, from which a standing counts.
type rig struct {
	mountFromLocal, camFromMount sphere.Rot
	decAxis                      r3.Vec // in the mount's frame
	turns                        [2]r3.Vec
}

// newRig takes the two rotations as rotation vectors, which a rig keeps to be
// stored.
func newRig(mountFromLocal, camFromMount r3.Vec) rig {
	m := mount{camFromMount: sphere.TurnVec(camFromMount)}
	return rig{sphere.TurnVec(mountFromLocal), m.camFromMount, m.decAxis(), [2]r3.Vec{mountFromLocal, camFromMount}}
}

// base returns mountFromLocal before the adjusters were turned, and the axes in
// the local frame about which they turn: azimuth about up, altitude about side,
// as azimuth carried it before it was turned itself.
func (g *rig) base(x *standing) (mountFromLocal sphere.Rot, up, side r3.Vec) {
	mountFromLocal = sphere.TurnVec(r3.Vec{X: x[pAxisX], Y: x[pAxisY]}).Mul(g.mountFromLocal)
	up = sphere.TurnVec(r3.Vec{X: x[pLeanEast], Y: x[pLeanNorth]}).Apply(unitZ)
	back := mountFromLocal.Inv()
	side = r3.Cross(up, back.Apply(unitZ))
	if n := r3.Norm(side); n > 1e-9 {
		side = r3.Scale(1/n, side)
	} else {
		side = back.Apply(unitX)
	}
	return mountFromLocal, up, sphere.Turn(up, sphere.Angle(x[pSkew])).Apply(side)
}

// mount returns mountFromLocal as the mount stands.
func (g *rig) mount(x *standing) sphere.Rot {
	m, up, side := g.base(x)
	return m.Mul(sphere.Turn(side, sphere.Angle(x[pAlt]))).Mul(sphere.Turn(up, sphere.Angle(x[pAz])))
}

// axis returns where the rotation axis points.
func (g *rig) axis(x *standing) r3.Vec { return g.mount(x).Inv().Apply(unitZ) }

// cam returns camFromMount with the RA axis at 0.
func (g *rig) cam(x *standing) sphere.Rot {
	d := sphere.Turn(unitZ, sphere.Angle(x[pDecAxis])).Apply(g.decAxis)
	return sphere.TurnVec(vec3(x[pCamX:])).Mul(g.camFromMount).Mul(sphere.Turn(d, sphere.Angle(x[pDec])))
}

// camFromLocal returns the attitude to be seen. lift is by how much the whole
// refraction turns it, as a rotation vector in the camera's frame.
func (g *rig) camFromLocal(x *standing, lift r3.Vec) sphere.Rot {
	return sphere.TurnVec(r3.Scale(x[pAir], lift)).Mul(g.cam(x)).
		Mul(sphere.Turn(unitZ, sphere.Angle(-x[pTurn]))).Mul(g.mount(x))
}

// slopes returns how the attitude turns, as a rotation vector in the camera's
// frame, per unit of each number: by differences, but for the easy ones.
func (g *rig) slopes(x *standing, lift r3.Vec) (d [nState]r3.Vec) {
	d[pCamX], d[pCamY], d[pCamZ] = unitX, unitY, unitZ
	d[pAir] = lift
	d[pTurn] = r3.Scale(-1, g.cam(x).Apply(unitZ))
	const h = 1e-6
	for _, p := range [...]int{pAxisX, pAxisY, pLeanEast, pLeanNorth, pSkew, pDecAxis, pAz, pAlt, pDec} {
		d[p] = g.slope(x, p, h, lift)
	}
	if r3.Norm(vec3(x[pCamX:])) > 1e-4 { // a turn that large is no longer a plain sum
		for p := pCamX; p <= pCamZ; p++ {
			d[p] = g.slope(x, p, h, lift)
		}
	}
	return d
}

func (g *rig) slope(x *standing, p int, h float64, lift r3.Vec) r3.Vec {
	up, down := *x, *x
	up[p] += h
	down[p] -= h
	return r3.Scale(1/(2*h), g.camFromLocal(&up, lift).Mul(g.camFromLocal(&down, lift).Inv()).Vec())
}

// lastFrame is what a fit knows of the mount as it stood for the last frame.
type lastFrame struct {
	time time.Time
	turn float64
	// known are pAxisX to pCamZ and pTurn, in this order.
	cov  [6][6]float64
	lift [6]float64 // by how much they move when refraction grows by its own amount
}

// lastFrame reads it off the fit. twist turns the fit's mount frame into the
// result's.
func (j *joint) lastFrame(lift []float64, twist sphere.Rot) (l lastFrame) {
	k := len(j.m.turn) - 1
	l.turn = j.m.turn[k]
	at := [6]int{0, 1, 2, 3, 4, 4 + k}
	c, s := twist.Apply(unitX).X, twist.Apply(unitX).Y
	t := [6][6]float64{{c, -s}, {s, c}, {2: 1}, {3: 1}, {4: 1}, {5: 1}}
	for a := range 6 {
		for p := range 6 {
			l.lift[a] += t[a][p] * lift[at[p]]
			for b := range 6 {
				for q := range 6 {
					l.cov[a][b] += t[a][p] * j.cov.At(at[p], at[q]) * t[b][q]
				}
			}
		}
	}
	return l
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
