package index

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// Code describes the shape of four stars, whatever their place, size and
// orientation. A and B are the two farthest apart. In the plane that touches
// the sphere midway between them, with A at 0 and B at 1, C is at the complex
// number X1+iY1 and D at X2+iY2. (Geometric hashing with four stars: Lang et
// al. 2010, AJ 139, 1782; there A and B span a circle that holds C and D, here
// they only have to be the widest pair, so that every set of four has a code.)
type Code struct{ X1, Y1, X2, Y2 float64 }

// swapped returns the code with A and B exchanged.
func (c Code) swapped() Code { return Code{1 - c.X1, -c.Y1, 1 - c.X2, -c.Y2} }

// exchanged returns the code with C and D exchanged.
func (c Code) exchanged() Code { return Code{c.X2, c.Y2, c.X1, c.Y1} }

// mirrored returns the code of the pattern seen in a mirror.
func (c Code) mirrored() Code { return Code{c.X1, -c.Y1, c.X2, -c.Y2} }

// Dist returns the distance of two codes as points in space of four dimensions.
func (c Code) Dist(d Code) float64 {
	x1, y1, x2, y2 := c.X1-d.X1, c.Y1-d.Y1, c.X2-d.X2, c.Y2-d.Y2
	return math.Sqrt(x1*x1 + y1*y1 + x2*x2 + y2*y2)
}

// Quad is a set of four stars in the order that makes its code canonical:
// X1+X2 <= 1, X1 <= X2, Y1+Y2 >= 0.
type Quad struct {
	Code   Code
	Order  [4]int // which of the given stars are A, B, C, D
	Mirror bool   // the code had to be mirrored to make Y1+Y2 >= 0
}

// codeOf returns the code of unit vectors a, b, c, d in this order.
func codeOf(a, b, c, d r3.Vec) Code {
	mid := sphere.Unit(r3.Add(a, b))
	ab := r3.Sub(b, a)
	l := math.Sqrt(r3.Norm2(ab))
	e := r3.Scale(1/l, ab) // tangent at mid, since a and b have equal length
	f := r3.Cross(mid, e)
	// A and B lie at -h and +h on the tangent plane's axis e.
	h := l / 2 / r3.Dot(mid, a)
	place := func(v r3.Vec) (float64, float64) {
		z := r3.Dot(v, mid) * 2 * h
		return r3.Dot(v, e)/z + 0.5, r3.Dot(v, f) / z
	}
	var k Code
	k.X1, k.Y1 = place(c)
	k.X2, k.Y2 = place(d)
	return k
}

// CodeInOrder returns the code of four unit vectors that are A, B, C and D in
// this order, mirrored when asked. Compare it with a stored code.
func CodeInOrder(v [4]r3.Vec, mirror bool) Code {
	k := codeOf(v[0], v[1], v[2], v[3])
	if mirror {
		k = k.mirrored()
	}
	return k
}

// canonical brings the code into canonical form; order and mirror follow.
func canonical(k Code, order [4]int) Quad {
	if k.X1+k.X2 > 1 {
		k = k.swapped()
		order[0], order[1] = order[1], order[0]
	}
	if k.X1 > k.X2 {
		k = k.exchanged()
		order[2], order[3] = order[3], order[2]
	}
	q := Quad{Code: k, Order: order}
	if k.Y1+k.Y2 < 0 {
		q.Code, q.Mirror = k.mirrored(), true
	}
	return q
}

// pairs are the six ways to choose A and B, and what is left for C and D.
var pairs = [6][4]int{{0, 1, 2, 3}, {0, 2, 1, 3}, {0, 3, 1, 2}, {1, 2, 0, 3}, {1, 3, 0, 2}, {2, 3, 0, 1}}

// MakeQuad returns the canonical quad of four unit vectors.
func MakeQuad(v [4]r3.Vec) Quad {
	best, far := 0, -1.0
	for i, p := range pairs {
		if d := r3.Norm2(r3.Sub(v[p[0]], v[p[1]])); d > far {
			best, far = i, d
		}
	}
	p := pairs[best]
	return canonical(codeOf(v[p[0]], v[p[1]], v[p[2]], v[p[3]]), p)
}

// Variants appends the quads that the four unit vectors may be filed under
// when each coordinate of the code is uncertain by up to eps: the canonical
// one first, then those across a boundary of the canonical form that is closer
// than the uncertainty.
func Variants(dst []Quad, v [4]r3.Vec, eps float64) []Quad {
	var d2 [6]float64
	best := 0
	for i, p := range pairs {
		d2[i] = r3.Norm2(r3.Sub(v[p[0]], v[p[1]]))
		if d2[i] > d2[best] {
			best = i
		}
	}
	dst = variantsOf(dst, v, pairs[best], eps)
	for i, p := range pairs {
		if i != best && d2[i] >= d2[best]*(1-4*eps) {
			dst = variantsOf(dst, v, p, eps)
		}
	}
	return dst
}

// variantsOf does Variants' work for one choice p of A and B.
func variantsOf(dst []Quad, v [4]r3.Vec, p [4]int, eps float64) []Quad {
	first := len(dst)
	q := canonical(codeOf(v[p[0]], v[p[1]], v[p[2]], v[p[3]]), p)
	dst = append(dst, q)
	if 1-(q.Code.X1+q.Code.X2) < 2*eps {
		// Exchanging A with B keeps X1+X2 near 1, turns the pattern by half
		// a turn, and so flips the sign of Y1+Y2 and the order of C, D.
		k := q.Code.swapped().exchanged().mirrored()
		o := [4]int{q.Order[1], q.Order[0], q.Order[3], q.Order[2]}
		dst = append(dst, Quad{k, o, !q.Mirror})
	}
	for _, q := range dst[first:] {
		if c := q.Code; c.X2-c.X1 < 2*eps {
			o := q.Order
			o[2], o[3] = o[3], o[2]
			dst = append(dst, Quad{c.exchanged(), o, q.Mirror})
		}
	}
	for _, q := range dst[first:] {
		if c := q.Code; c.Y1+c.Y2 < 2*eps {
			dst = append(dst, Quad{c.mirrored(), q.Order, !q.Mirror})
		}
	}
	return dst
}
