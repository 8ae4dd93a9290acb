package optics

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// What a pixel depends on, in the order of the derivatives of an Image: three
// turns of the direction about the camera's x, y and z, radians; the logarithm
// of the focal length, K1, K2, CX and CY of the lens.
const (
	Turns      = 3
	LensParams = 5
)

// Image is a projected direction: its pixel, and how the pixel moves when the
// direction turns in the camera's frame (right-handed) and when the lens
// changes.
type Image struct {
	X, Y   float64
	DX, DY [Turns + LensParams]float64
}

// Project is [Lens.PixelVec] with derivatives. It returns false for directions
// that have no pixel.
func (im *Image) Project(l *Lens, v r3.Vec) bool {
	q, da, db, ok := l.Law.gradient(v)
	if !ok {
		return false
	}
	a, b := l.F*v.X*q, l.F*v.Y*q
	h2 := 1 / (l.Half * l.Half)
	r2 := (a*a + b*b) * h2
	g, slope := l.stretch(r2)
	if l.folded(r2, slope) {
		return false
	}
	s := 1.0
	if l.Mirrored {
		s = -1
	}
	e := 2 * h2 * (l.K1 + 2*r2*l.K2)
	xa, xb, yb := g+a*a*e, a*b*e, g+b*b*e
	im.X, im.Y = l.CX+s*a*g, l.CY+b*g
	// Gradient with the direction, then its turn: d(pixel) = grad . (w x v).
	gx := r3.Scale(s*l.F, r3.Add(r3.Scale(xa, da), r3.Scale(xb, db)))
	gy := r3.Scale(l.F, r3.Add(r3.Scale(xb, da), r3.Scale(yb, db)))
	tx, ty := r3.Cross(v, gx), r3.Cross(v, gy)
	im.DX = [Turns + LensParams]float64{tx.X, tx.Y, tx.Z, s * a * slope, s * a * r2, s * a * r2 * r2, 1, 0}
	im.DY = [Turns + LensParams]float64{ty.X, ty.Y, ty.Z, b * slope, b * r2, b * r2 * r2, 0, 1}
	return true
}

// Moved returns the lens after a step of its parameters. The focal length moves
// by its logarithm, by a half at most, and so stays positive.
func (l Lens) Moved(d [LensParams]float64) Lens {
	l.F *= math.Exp(max(-0.5, min(0.5, d[0])))
	l.K1 += d[1]
	l.K2 += d[2]
	l.CX += d[3]
	l.CY += d[4]
	return l
}
