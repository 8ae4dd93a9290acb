package axis

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/optics"
)

// The lens parameters of the fit, in this order: relative focal length, K1, K2,
// CX, CY.
const lensParams = 5

// Priors that keep narrow fields regular, where distortion and the pixel of the
// optical axis cannot be seen: standard deviations about an undistorted lens
// centred on the frame.
const (
	priorF      = 0.1  // of the first focal length
	priorK      = 0.1  // of the displacement at the half-diagonal
	priorCentre = 0.02 // of the frame's width
)

// image holds a projected star: its pixel, and how the pixel moves when the
// direction turns in the camera's frame (right-handed, radians) and when the
// lens changes.
type image struct {
	x, y float64
	dx   [3 + lensParams]float64
	dy   [3 + lensParams]float64
}

// project is Lens.PixelVec with derivatives. It returns false for directions
// that have no pixel.
func (im *image) project(l *optics.Lens, v r3.Vec) bool {
	if v.Z < 0.1736 { // 80 degrees off axis, as in optics
		return false
	}
	iz := 1 / v.Z
	ux, uy := v.X*iz, v.Y*iz
	a, b := l.F*ux, l.F*uy
	h2 := 1 / (l.Half * l.Half)
	r2 := (a*a + b*b) * h2
	g := 1 + r2*(l.K1+r2*l.K2)
	slope := 1 + r2*(3*l.K1+r2*5*l.K2)
	if slope <= 0 {
		return false
	}
	s := 1.0
	if l.Mirrored {
		s = -1
	}
	e := 2 * h2 * (l.K1 + 2*r2*l.K2)
	xa, xb, yb := g+a*a*e, a*b*e, g+b*b*e
	im.x, im.y = l.CX+s*a*g, l.CY+b*g
	// Gradient with the direction, then its turn: d(pixel) = grad . (w x v).
	f := l.F * iz
	gx := r3.Vec{X: s * f * xa, Y: s * f * xb, Z: -s * f * (ux*xa + uy*xb)}
	gy := r3.Vec{X: f * xb, Y: f * yb, Z: -f * (ux*xb + uy*yb)}
	tx, ty := r3.Cross(v, gx), r3.Cross(v, gy)
	im.dx = [8]float64{tx.X, tx.Y, tx.Z, s * a * slope, s * a * r2, s * a * r2 * r2, 1, 0}
	im.dy = [8]float64{ty.X, ty.Y, ty.Z, b * slope, b * r2, b * r2 * r2, 0, 1}
	return true
}

// moveLens applies a step of the lens parameters. The focal length moves by its
// logarithm and so stays positive.
func moveLens(l optics.Lens, d []float64) optics.Lens {
	l.F *= math.Exp(math.Max(-0.5, math.Min(d[0], 0.5)))
	l.K1 += d[1]
	l.K2 += d[2]
	l.CX += d[3]
	l.CY += d[4]
	return l
}
