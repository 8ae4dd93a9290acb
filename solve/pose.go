package solve

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/optics"
	"pintle/index/sphere"
)

// Unknowns of a frame: a small rotation of the camera (about its x, y and z),
// the logarithm of the focal length, two terms of radial distortion, the pixel
// of the optical axis. The order is that of [optics.Image].
const (
	iRotX = iota
	iRotY
	iRotZ
	iLogF
	iK1
	iK2
	iCX
	iCY
	unknowns
)

type (
	vector [unknowns]float64
	matrix [unknowns]vector
)

// pose is a frame's attitude and lens with their covariance.
type pose struct {
	camFromSky sphere.Rot
	lens       optics.Lens
	cov        matrix
}

// priors are the standard deviations of the unknowns before any star is seen,
// for a frame w pixels wide. Distortion is in fractions at the half-diagonal:
// 3 % and 1 % admit every lens but a fisheye.
func priors(w float64) vector {
	return vector{iRotX: 1, iRotY: 1, iRotZ: 1, iLogF: 1, iK1: 0.03, iK2: 0.01, iCX: 0.01 * w, iCY: 0.01 * w}
}

// project returns the pixel of a sky direction.
func (p *pose) project(sky r3.Vec) (x, y float64, ok bool) {
	return p.lens.PixelVec(p.camFromSky.Apply(sky))
}

// sketch projects many directions by one pose, if there is a table of its law's factors
// with that instead of the law.
type sketch struct {
	x, y, z r3.Vec // rows of camFromSky
	lens    *optics.Lens
	factors *optics.Factors
}

func (p *pose) sketch(f *optics.Factors) (s sketch) {
	s.x, s.y, s.z = p.camFromSky.Rows()
	s.lens, s.factors = &p.lens, f
	return s
}

// project returns the pixel of a sky direction.
func (s *sketch) project(sky r3.Vec) (x, y float64, ok bool) {
	return s.factors.Pixel(s.lens, r3.Vec{X: r3.Dot(s.x, sky), Y: r3.Dot(s.y, sky), Z: r3.Dot(s.z, sky)})
}

// derivatives returns the pixel of a sky direction and how column and row
// change with the unknowns.
func (p *pose) derivatives(sky r3.Vec) (x, y float64, dx, dy vector, ok bool) {
	var im optics.Image
	ok = im.Project(&p.lens, p.camFromSky.Apply(sky))
	return im.X, im.Y, im.DX, im.DY, ok
}

// move changes the unknowns by d.
func (p *pose) move(d *vector) {
	p.camFromSky = sphere.TurnVec(r3.Vec{X: d[iRotX], Y: d[iRotY], Z: d[iRotZ]}).Mul(p.camFromSky)
	p.lens = p.lens.Moved([optics.LensParams]float64(d[iLogF:]))
}

// spread returns the covariance of a predicted pixel.
func (p *pose) spread(dx, dy *vector) (xx, xy, yy float64) {
	for i := range unknowns {
		var cx, cy float64
		row := &p.cov[i]
		for j := range unknowns {
			cx += row[j] * dx[j]
			cy += row[j] * dy[j]
		}
		xx += dx[i] * cx
		xy += dx[i] * cy
		yy += dy[i] * cy
	}
	return
}

// learn updates the pose with one measured pixel: two scalar steps of a Kalman
// filter. ex and ey are measured minus predicted, variance that of a measured
// coordinate.
func (p *pose) learn(dx, dy *vector, ex, ey, variance float64) {
	var d vector
	step := func(h *vector, e float64) {
		var ch vector
		s := variance
		for i := range unknowns {
			for j := range unknowns {
				ch[i] += p.cov[i][j] * h[j]
			}
			s += h[i] * ch[i]
		}
		for i := range unknowns {
			e -= h[i] * d[i]
		}
		for i := range unknowns {
			k := ch[i] / s
			d[i] += k * e
			for j := range unknowns {
				p.cov[i][j] -= k * ch[j]
			}
		}
	}
	step(dx, ex)
	step(dy, ey)
	p.move(&d)
}

// fromPair sets the pose so that two sky directions fall on two pixels of the
// lens p.lens but for its focal length, which follows, as does the attitude.
// ok is false when no focal length does it.
func (p *pose) fromPair(a, b r3.Vec, pa, pb *point, prior *vector) (ok bool) {
	p.lens.F = 0
	if !p.hold(a, b, pa, pb, 1e-10) {
		return false
	}
	p.cov = matrix{}
	for i, s := range prior {
		p.cov[i][i] = s * s
	}
	for _, m := range [2]struct {
		v r3.Vec
		p *point
	}{{a, pa}, {b, pb}} {
		_, _, dx, dy, ok := p.derivatives(m.v)
		if !ok {
			return false
		}
		p.learn(&dx, &dy, 0, 0, m.p.variance)
	}
	return true
}

// hold sets focal length and attitude so that two sky directions fall on two
// pixels, the focal length to a fraction of within. It starts from that of the
// lens if there is one.
func (p *pose) hold(a, b r3.Vec, pa, pb *point, within float64) (ok bool) {
	between := func(a, b r3.Vec) float64 { return 2 * math.Asin(min(1, math.Sqrt(r3.Norm2(r3.Sub(a, b)))/2)) }
	theta := between(a, b)
	// Newton's method; the angle between two pixels falls as the focal length
	// grows.
	l := &p.lens
	if l.F <= 0 {
		l.F = math.Hypot(pa.x-pb.x, pa.y-pb.y) / theta
	}
	ua, wa := l.Straighten(pa.x, pa.y)
	ub, wb := l.Straighten(pb.x, pb.y)
	var ca, cb r3.Vec
	for range 8 {
		ca, cb = l.Straight(ua, wa).Vec(), l.Straight(ub, wb).Vec()
		ratio := between(ca, cb) / theta
		l.F *= ratio
		if !(l.F > 0.2*l.Half) || math.IsInf(l.F, 1) {
			return false
		}
		if math.Abs(ratio-1) < within {
			break
		}
	}
	cam, sky := frameOf(ca, cb), frameOf(a, b)
	// camFromSky takes each sky axis to the camera axis of the same name.
	p.camFromSky = cam.Mul(sky.Inv())
	return true
}

// frameOf returns the rotation from the frame spanned by two unit vectors
// (middle, difference, and their normal) to that of the vectors.
func frameOf(a, b r3.Vec) sphere.Rot {
	m, d, n := axes(a, b)
	return sphere.RotFromRows(r3.Vec{X: m.X, Y: d.X, Z: n.X}, r3.Vec{X: m.Y, Y: d.Y, Z: n.Y}, r3.Vec{X: m.Z, Y: d.Z, Z: n.Z})
}
