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
//	rho   = F tan(theta) / Half
//	rho'  = rho (1 + K1 rho^2 + K2 rho^4)
//
// half-diagonals from the axis' pixel, so K1 and K2 are the fractions by which
// the corner of the frame is displaced. Pixels count columns and rows from the
// centre of the first pixel of the first row, (0, 0). Model: the radial part of
// Brown (1971), Close-range camera calibration; decentring and affine terms
// are left out, an off-centre axis is not. Valid below 80 degrees off axis.
type Lens struct {
	F      float64 // focal length in pixels; arcsec per pixel at the axis = 206264.8/F
	CX, CY float64 // pixel of the optical axis
	Half   float64 // half the frame's diagonal in pixels, the unit of rho
	K1, K2 float64 // fraction of displacement at the half-diagonal
	// Mirrored is true when the picture shows the sky as a mirror does: the
	// column axis runs against the camera frame's x.
	Mirrored bool
}

// NewLens returns the undistorted lens of a w x h pixel frame whose optical
// axis falls on the frame's centre, with the given angle per pixel there.
func NewLens(w, h int, scale sphere.Angle) Lens {
	return Lens{
		F:    1 / math.Tan(float64(scale)),
		CX:   float64(w-1) / 2,
		CY:   float64(h-1) / 2,
		Half: math.Hypot(float64(w), float64(h)) / 2,
	}
}

// cosMax is the cosine of the largest angle off axis that is projected.
var cosMax = math.Cos(80 * math.Pi / 180)

// Pixel returns where direction c falls; ok is false more than 80 degrees off
// axis or beyond the radius where the distortion folds back.
func (l Lens) Pixel(c sphere.Cam) (x, y float64, ok bool) {
	return l.PixelVec(c.Vec())
}

// PixelVec is Pixel for a unit vector in the camera's frame.
func (l Lens) PixelVec(v r3.Vec) (x, y float64, ok bool) {
	if v.Z < cosMax {
		return 0, 0, false
	}
	u, w := l.F*v.X/v.Z, l.F*v.Y/v.Z
	r2 := (u*u + w*w) / (l.Half * l.Half)
	if 1+r2*(3*l.K1+r2*5*l.K2) <= 0 {
		return 0, 0, false
	}
	g := 1 + r2*(l.K1+r2*l.K2)
	if l.Mirrored {
		u = -u
	}
	return l.CX + u*g, l.CY + w*g, true
}

// Cam returns the direction that falls on pixel (x, y). Newton's method on the
// radius, to rounding; a pixel beyond the fold of the distortion gets the
// direction of the fold.
func (l Lens) Cam(x, y float64) sphere.Cam {
	u, w := x-l.CX, y-l.CY
	if l.Mirrored {
		u = -u
	}
	d := math.Hypot(u, w) / l.Half
	g := 1.0
	if d > 0 && (l.K1 != 0 || l.K2 != 0) {
		r := d
		for range 50 {
			r2 := r * r
			slope := 1 + r2*(3*l.K1+r2*5*l.K2)
			if slope < 0.05 {
				slope = 0.05
			}
			step := (r*(1+r2*(l.K1+r2*l.K2)) - d) / slope
			r -= step
			if math.Abs(step) < 1e-15*(1+r) {
				break
			}
		}
		g = r / d
	}
	return sphere.CamVec(r3.Vec{X: u * g, Y: w * g, Z: l.F})
}

// Scale returns the angle per pixel at the optical axis.
func (l Lens) Scale() sphere.Angle { return sphere.Angle(math.Atan(1 / l.F)) }
