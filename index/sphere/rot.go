package sphere

import (
	"math"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

// Rot is a rotation, held as a unit quaternion. Rotations are named by both
// ends, target first: localFromCam takes a vector's camera components to its
// local components, and a product is right when the inner names meet:
//
//	localFromCam = localFromMount.Mul(mountFromCam)
//
// The zero value is not a rotation; start from Identity.
type Rot struct{ q quat.Number }

// Identity returns the rotation that changes nothing.
func Identity() Rot { return Rot{quat.Number{Real: 1}} }

// Turn returns the right-handed rotation by angle about axis, which need not
// have unit length. A zero axis gives the identity.
func Turn(axis r3.Vec, angle Angle) Rot {
	n := r3.Norm(axis)
	if n == 0 {
		return Identity()
	}
	s, c := math.Sincos(float64(angle) / 2)
	s /= n
	return Rot{quat.Number{Real: c, Imag: s * axis.X, Jmag: s * axis.Y, Kmag: s * axis.Z}}
}

// TurnVec returns the right-handed rotation about v by its length in radians.
func TurnVec(v r3.Vec) Rot { return Turn(v, Angle(r3.Norm(v))) }

// RotFromRows returns the rotation whose matrix has the given rows. The rows
// must be orthonormal and right-handed to rounding; small errors are removed
// by normalising the quaternion. (Shepperd 1978: the largest of the four
// components is found first, so nothing small is divided by.)
func RotFromRows(a, b, c r3.Vec) Rot {
	t := a.X + b.Y + c.Z
	var q quat.Number
	switch {
	case t >= a.X && t >= b.Y && t >= c.Z:
		q = quat.Number{Real: 1 + t, Imag: c.Y - b.Z, Jmag: a.Z - c.X, Kmag: b.X - a.Y}
	case a.X >= b.Y && a.X >= c.Z:
		q = quat.Number{Real: c.Y - b.Z, Imag: 1 + a.X - b.Y - c.Z, Jmag: a.Y + b.X, Kmag: a.Z + c.X}
	case b.Y >= c.Z:
		q = quat.Number{Real: a.Z - c.X, Imag: a.Y + b.X, Jmag: 1 - a.X + b.Y - c.Z, Kmag: b.Z + c.Y}
	default:
		q = quat.Number{Real: b.X - a.Y, Imag: a.Z + c.X, Jmag: b.Z + c.Y, Kmag: 1 - a.X - b.Y + c.Z}
	}
	return Rot{q}.unit()
}

func (r Rot) unit() Rot { return Rot{quat.Scale(1/quat.Abs(r.q), r.q)} }

// Mul returns the rotation that applies s first, then r.
func (r Rot) Mul(s Rot) Rot { return Rot{quat.Mul(r.q, s.q)}.unit() }

// Inv returns the inverse rotation.
func (r Rot) Inv() Rot { return Rot{quat.Conj(r.q)} }

// Apply returns the rotated vector.
func (r Rot) Apply(v r3.Vec) r3.Vec {
	u := r3.Vec{X: r.q.Imag, Y: r.q.Jmag, Z: r.q.Kmag}
	t := r3.Scale(2, r3.Cross(u, v))
	return r3.Add(v, r3.Add(r3.Scale(r.q.Real, t), r3.Cross(u, t)))
}

// Rows returns the rows of the rotation's matrix.
func (r Rot) Rows() (a, b, c r3.Vec) {
	inv := r.Inv()
	return inv.Apply(r3.Vec{X: 1}), inv.Apply(r3.Vec{Y: 1}), inv.Apply(r3.Vec{Z: 1})
}

// Vec returns the rotation as a vector along its axis with the length of its
// angle in radians, 0 to pi; the inverse of TurnVec.
func (r Rot) Vec() r3.Vec {
	u := r3.Vec{X: r.q.Imag, Y: r.q.Jmag, Z: r.q.Kmag}
	w := r.q.Real
	if w < 0 {
		u, w = r3.Scale(-1, u), -w
	}
	n := r3.Norm(u)
	if n < 1e-12 {
		return r3.Scale(2, u)
	}
	return r3.Scale(2*math.Atan2(n, w)/n, u)
}

// Angle returns the rotation's angle, 0 to pi.
func (r Rot) Angle() Angle { return Angle(r3.Norm(r.Vec())) }
