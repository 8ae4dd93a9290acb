package optics

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// Law is how the distance from the optical axis grows with the angle from it, in
// one family that holds the usual kinds. With R in focal lengths
//
//	R(theta) = tan(k theta) / k   k^2 = 1 - Law      Law up to 1
//	R(theta) = sin(k theta) / k   k^2 = 2 (Law - 1)  Law from 1
//
// R is odd, R = theta + (1 - Law) theta^3 / 3 + ..., and smooth but for the second
// derivative with Law at 1. Valid from 0 to 1.5. What lies between the kinds is
// as good a lens as they are.
type Law float64

// The kinds; the mappings are those of any textbook on optics, e.g. Kingslake and
// Johnson, Lens Design Fundamentals (from memory).
const (
	Rectilinear   Law = 0        // tan(theta)
	Stereographic Law = 0.75     // 2 tan(theta/2)
	Equidistant   Law = 1        // theta
	Equisolid     Law = 1 + 1./8 // 2 sin(theta/2)
	Orthographic  Law = 1.5      // sin(theta)
)

// Kinds lists the kinds, from the one that widens the corners most.
func Kinds() []Law { return []Law{Rectilinear, Stereographic, Equidistant, Equisolid, Orthographic} }

// Kind returns the kind that is nearest to the law.
func (w Law) Kind() Law {
	best := Rectilinear
	for _, k := range Kinds() {
		if math.Abs(float64(k-w)) < math.Abs(float64(best-w)) {
			best = k
		}
	}
	return best
}

// String returns the name of the kind that is nearest.
func (w Law) String() string {
	switch w.Kind() {
	case Stereographic:
		return "stereographic"
	case Equidistant:
		return "equidistant"
	case Equisolid:
		return "equisolid"
	case Orthographic:
		return "orthographic"
	}
	return "rectilinear"
}

// Limits of what a law draws: a tangent, or a sine, of at most steepest, and no
// direction farther off axis than farthest.
const (
	steepest = 80 * math.Pi / 180
	farthest = 100 * math.Pi / 180
)

// cosMax is the cosine of the largest angle off axis that a rectilinear lens
// draws.
var cosMax = math.Cos(steepest)

// k returns the family's k and whether R is a tangent.
func (w Law) k() (k float64, tangent bool) {
	if w <= 1 {
		return math.Sqrt(float64(1 - w)), true
	}
	return math.Sqrt(2 * float64(w-1)), false
}

// Reach returns the largest angle off axis that is drawn: 80 degrees for a
// rectilinear lens, 100 degrees for fisheyes.
func (w Law) Reach() sphere.Angle {
	k, _ := w.k()
	return sphere.Angle(math.Min(farthest, steepest/math.Max(k, 1e-9)))
}

// Valid reports whether the law is one of the family.
func (w Law) Valid() bool { return w >= 0 && w <= 1.5 }

// noBend is the k below which R is the angle itself, to rounding.
const noBend = 1e-8

// radius returns R(theta) and its derivative.
func (w Law) radius(theta float64) (r, slope float64) {
	k, tangent := w.k()
	if k < noBend {
		return theta, 1
	}
	s, c := math.Sincos(k * theta)
	if tangent {
		return s / c / k, 1 / (c * c)
	}
	return s / k, c
}

// Radius returns the distance from the axis, in focal lengths, of a direction at
// an angle from it.
func (w Law) Radius(off sphere.Angle) float64 {
	r, _ := w.radius(float64(off))
	return r
}

// angle is the inverse of radius; beyond what the law draws it is constant.
func (w Law) angle(r float64) float64 {
	k, tangent := w.k()
	switch {
	case k < noBend:
		return r
	case tangent:
		return math.Atan(k*r) / k
	}
	return math.Asin(math.Min(1, k*r)) / k
}

// Angle is the inverse of Radius.
func (w Law) Angle(r float64) sphere.Angle { return sphere.Angle(w.angle(r)) }

// factor returns R(theta) / sin(theta) of a unit vector.
func (w Law) factor(v r3.Vec) (q float64, ok bool) {
	if w == Rectilinear {
		return 1 / v.Z, v.Z >= cosMax
	}
	h := math.Sqrt(v.X*v.X + v.Y*v.Y)
	if h == 0 {
		return 1, v.Z > 0
	}
	theta := math.Atan2(h, v.Z)
	r, _ := w.radius(theta)
	return r / h, theta <= float64(w.Reach())
}

// gradient is factor with the derivatives of q v.X and q v.Y by v. They hold for
// changes that leave the length of v as it is.
func (w Law) gradient(v r3.Vec) (q float64, dx, dy r3.Vec, ok bool) {
	if w == Rectilinear {
		q = 1 / v.Z
		return q, r3.Vec{X: q, Z: -q * v.X * q}, r3.Vec{Y: q, Z: -q * v.Y * q}, v.Z >= cosMax
	}
	h := math.Sqrt(v.X*v.X + v.Y*v.Y)
	if h == 0 {
		return 1, r3.Vec{X: 1}, r3.Vec{Y: 1}, v.Z > 0
	}
	theta := math.Atan2(h, v.Z)
	r, slope := w.radius(theta)
	q = r / h
	e := (slope*v.Z - q) / (h * h) // dq/dh over h; dq/dz = -slope
	dx = r3.Vec{X: q + e*v.X*v.X, Y: e * v.X * v.Y, Z: -slope * v.X}
	dy = r3.Vec{X: e * v.X * v.Y, Y: q + e*v.Y*v.Y, Z: -slope * v.Y}
	return q, dx, dy, theta <= float64(w.Reach())
}

// As makes the lens one of another law that draws nearly the same up to an angle
// off axis, by least squares in focal length and distortion. ok is false when the
// law does not reach there; the lens then stays as it is.
func (l *Lens) As(w Law, off sphere.Angle) (ok bool) {
	if w == l.Law {
		return true
	}
	if off <= 0 || off > w.Reach() || off > l.Law.Reach() {
		return false
	}
	// rho' = a1 R + a3 R^3 + a5 R^5 is linear in what is sought.
	const n = 40
	var m [3][4]float64
	for i := 1; i <= n; i++ {
		x := off * sphere.Angle(i) / n
		rho := l.F * l.Law.Radius(x) / l.Half
		want := rho * (1 + rho*rho*(l.K1+rho*rho*l.K2))
		r := w.Radius(x)
		row := [3]float64{r, r * r * r, r * r * r * r * r}
		for j := range 3 {
			for k := range 3 {
				m[j][k] += row[j] * row[k]
			}
			m[j][3] += row[j] * want
		}
	}
	a := solve3(m)
	if !(a[0] > 0) {
		return false
	}
	l.Law, l.F = w, a[0]*l.Half
	l.K1, l.K2 = a[1]/(a[0]*a[0]*a[0]), a[2]/math.Pow(a[0], 5)
	return true
}

// solve3 solves three equations by elimination; the matrix is positive definite.
func solve3(m [3][4]float64) (x [3]float64) {
	for i := range 3 {
		for j := i + 1; j < 3; j++ {
			f := m[j][i] / m[i][i]
			for k := i; k < 4; k++ {
				m[j][k] -= f * m[i][k]
			}
		}
	}
	for i := 2; i >= 0; i-- {
		x[i] = m[i][3]
		for k := i + 1; k < 3; k++ {
			x[i] -= m[i][k] * x[k]
		}
		x[i] /= m[i][i]
	}
	return x
}

// widestRectilinear is the field over the diagonal up to which rectilinear lenses
// are made (common practice, no source).
const widestRectilinear = 120 * math.Pi / 180

// Taken returns the law that a lens is taken to have of which only the focal
// length and half the frame's diagonal are known, in one unit: rectilinear, but for
// a frame that this would make wider than such lenses are made, which is a
// fisheye's.
func Taken(focal, half float64) Law {
	if half > focal*math.Tan(widestRectilinear/2) {
		return Equidistant
	}
	return Rectilinear
}

// Off returns the angle off axis of what falls so far from it, in focal lengths, at
// most a right angle: what is farther a fisheye does not draw.
func (w Law) Off(r float64) sphere.Angle { return sphere.Angle(math.Min(w.angle(r), math.Pi/2)) }
