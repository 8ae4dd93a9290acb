// Package optics maps directions in the camera's frame to pixels and back.
package optics

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// Lens is a central projection with radial distortion. A direction at angle
// theta from the optical axis falls at
//
//	rho   = F R(theta) / Half
//	rho'  = rho (1 + K1 rho^2 + K2 rho^4)
//
// half-diagonals from the axis' pixel, so K1 and K2 are the fractions by which
// the corner of the frame is displaced. R is the lens's law, see [Law]. Pixels
// count columns and rows from the centre of the first pixel of the first row,
// (0, 0). Model of the distortion: the radial part of Brown (1971), Close-range
// camera calibration; decentring and affine terms are left out, an off-centre
// axis is not. Valid as far off axis as [Law.Reach] says.
type Lens struct {
	F      float64 // focal length in pixels; arcsec per pixel at the axis = 206264.8/F
	CX, CY float64 // pixel of the optical axis
	Half   float64 // half the frame's diagonal in pixels, the unit of rho
	K1, K2 float64 // fraction of displacement at the half-diagonal
	// Mirrored is true when the picture shows the sky as a mirror does: the
	// column axis runs against the camera frame's x.
	Mirrored bool
	Law      Law `json:",omitempty"`
}

// NewLens returns the undistorted rectilinear lens of a w x h pixel frame whose
// optical axis falls on the frame's centre, with the given angle per pixel there.
func NewLens(w, h int, scale sphere.Angle) Lens {
	return Lens{
		F:    1 / math.Tan(float64(scale)),
		CX:   float64(w-1) / 2,
		CY:   float64(h-1) / 2,
		Half: math.Hypot(float64(w), float64(h)) / 2,
	}
}

// Pixel returns where direction c falls; ok is false farther off axis than the
// law reaches or beyond the radius where the distortion folds back.
func (l Lens) Pixel(c sphere.Cam) (x, y float64, ok bool) {
	return l.PixelVec(c.Vec())
}

// PixelVec is Pixel for a unit vector in the camera's frame.
func (l Lens) PixelVec(v r3.Vec) (x, y float64, ok bool) {
	q, ok := l.Law.factor(v)
	if !ok {
		return 0, 0, false
	}
	return l.at(v, q)
}

// at returns where direction v falls by the factor of the law.
func (l *Lens) at(v r3.Vec, q float64) (x, y float64, ok bool) {
	u, w := l.F*v.X*q, l.F*v.Y*q
	r2 := (u*u + w*w) / (l.Half * l.Half)
	g, slope := l.stretch(r2)
	if l.folded(r2, slope) {
		return 0, 0, false
	}
	if l.Mirrored {
		u = -u
	}
	return l.CX + u*g, l.CY + w*g, true
}

// stretch returns what the distortion does at the square r2 of a radius in
// half-diagonals: the factor rho'/rho, and the slope d rho'/d rho, which is 0 where
// the distortion folds back.
func (l *Lens) stretch(r2 float64) (factor, slope float64) {
	return 1 + r2*(l.K1+r2*l.K2), 1 + r2*(3*l.K1+r2*5*l.K2)
}

// folded reports whether the square r2 of a radius, where the slope is as stretch tells,
// lies at the fold of the distortion or beyond: the slope may have become positive again.
func (l *Lens) folded(r2, slope float64) bool {
	return slope <= 0 || l.K1 < 0 && 3*l.K1+10*l.K2*r2 > 0 && 9*l.K1*l.K1 > 20*l.K2
}

// fold returns the radius at which the slope of the distortion is 0 first, half-diagonals;
// infinity if it never is.
func (l *Lens) fold() float64 {
	// The smaller positive root of 1 + 3 K1 r^2 + 5 K2 r^4.
	d := 9*l.K1*l.K1 - 20*l.K2
	if d < 0 || math.Sqrt(d)-3*l.K1 <= 0 {
		return math.Inf(1)
	}
	return math.Sqrt(2 / (math.Sqrt(d) - 3*l.K1))
}

// Cam returns the direction that falls on pixel (x, y), to rounding; a pixel beyond the
// fold of the distortion gets the direction of the fold, one beyond what the law draws
// the farthest direction.
func (l Lens) Cam(x, y float64) sphere.Cam { return l.Straight(l.Straighten(x, y)) }

// Straighten returns where pixel (x, y) would be without distortion, in pixels from the
// axis along the camera's x and y. That does not depend on the focal length.
func (l *Lens) Straighten(x, y float64) (u, w float64) {
	u, w = x-l.CX, y-l.CY
	if l.Mirrored {
		u = -u
	}
	d := math.Sqrt(u*u+w*w) / l.Half
	if d == 0 || l.K1 == 0 && l.K2 == 0 {
		return u, w
	}
	g := l.unstretch(d) / d
	return u * g, w * g
}

// unstretch returns the radius that the distortion takes to d, half-diagonals, or that
// of the fold if d is beyond it. Newton's method, held between radii that it is known
// to lie between.
func (l *Lens) unstretch(d float64) float64 {
	lo, hi := 0.0, l.fold()
	if factor, _ := l.stretch(hi * hi); hi*factor <= d {
		return hi
	}
	r := min(d, hi)
	for range 100 {
		factor, slope := l.stretch(r * r)
		off := r*factor - d
		if off < 0 {
			lo = r
		} else {
			hi = r
		}
		next := r - off/slope
		if !(next > lo && next < hi) { // the slope is nearly 0
			next = min((lo+hi)/2, 2*r)
		}
		if math.Abs(next-r) < 1e-15*(1+r) {
			return next
		}
		r = next
	}
	return r
}

// Straight returns the direction that falls on a place as Straighten gives it.
func (l *Lens) Straight(u, w float64) sphere.Cam {
	d := math.Sqrt(u*u + w*w)
	if l.Law == Rectilinear || d == 0 {
		return sphere.CamVec(r3.Vec{X: u, Y: w, Z: l.F})
	}
	s, c := math.Sincos(math.Min(l.Law.angle(d/l.F), farthest))
	s /= d
	return sphere.CamVec(r3.Vec{X: u * s, Y: w * s, Z: c})
}

// Scale returns the angle per pixel at the optical axis.
func (l Lens) Scale() sphere.Angle { return sphere.Angle(math.Atan(1 / l.F)) }

// Diagonal returns the angle over the diagonal of the frame, distortion left out
// and the axis taken to be in the middle.
func (l Lens) Diagonal() sphere.Angle { return sphere.Angle(2 * l.Law.angle(l.Half/l.F)) }
