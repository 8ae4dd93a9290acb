// Package lsq solves the normal equations of least squares whose unknowns have
// very different units, such as an angle and a lens' distortion.
package lsq

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// worstCondition is the condition number, of the scaled matrix, from which on
// nothing of the answer would be left in double precision.
const worstCondition = 1e15

// Normal is a symmetric positive definite matrix of normal equations, taken
// apart by Cholesky's method. Rows and columns are divided by the square root
// of the diagonal first: every unknown is counted in units of the error it
// would have if all the others were known. (Scaling so is nearly the best there
// is: van der Sluis 1969, Numerische Mathematik 14, 14; from memory.)
type Normal struct {
	unit []float64
	c    mat.Cholesky
}

// Factorize takes a apart, and leaves it as it is. It returns false for a
// matrix that is not positive definite, or so nearly singular that the answer
// would mean nothing.
func (k *Normal) Factorize(a *mat.SymDense) bool {
	n := a.SymmetricDim()
	k.unit = make([]float64, n)
	for i := range n {
		d := a.At(i, i)
		if !(d > 0) || math.IsInf(d, 0) {
			return false
		}
		k.unit[i] = 1 / math.Sqrt(d)
	}
	b := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			b.SetSym(i, j, a.At(i, j)*k.unit[i]*k.unit[j])
		}
	}
	return k.c.Factorize(b) && k.c.Cond() < worstCondition
}

// Solve returns the x of a x = g, g being the gradient. Only after Factorize
// has returned true.
func (k *Normal) Solve(g []float64) []float64 {
	n := len(k.unit)
	x := mat.NewVecDense(n, nil)
	for i := range n {
		x.SetVec(i, g[i]*k.unit[i])
	}
	_ = k.c.SolveVecTo(x, x) // a poor condition was refused by Factorize
	d := make([]float64, n)
	for i := range n {
		d[i] = x.AtVec(i) * k.unit[i]
	}
	return d
}

// Inverse returns the inverse of a: the covariance of the unknowns. Only after
// Factorize has returned true.
func (k *Normal) Inverse() *mat.SymDense {
	n := len(k.unit)
	inv := mat.NewSymDense(n, nil)
	_ = k.c.InverseTo(inv) // a poor condition was refused by Factorize
	for i := range n {
		for j := i; j < n; j++ {
			inv.SetSym(i, j, inv.At(i, j)*k.unit[i]*k.unit[j])
		}
	}
	return inv
}
