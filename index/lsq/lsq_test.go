package lsq

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

const seed = 20261128

// equations returns random positive definite normal equations of n unknowns
// whose units differ by up to twenty powers of ten, with their answer.
func equations(rng *rand.Rand, n int) (a *mat.SymDense, g, x []float64) {
	design := mat.NewDense(3*n, n, nil)
	unit := make([]float64, n)
	for j := range n {
		unit[j] = math.Pow(10, 20*rng.Float64()-10)
		for i := range 3 * n {
			design.Set(i, j, rng.NormFloat64()*unit[j])
		}
	}
	a = mat.NewSymDense(n, nil)
	a.SymOuterK(1, design.T())
	x, g = make([]float64, n), make([]float64, n)
	for j := range n {
		x[j] = rng.NormFloat64() / unit[j]
	}
	mat.NewVecDense(n, g).MulVec(a, mat.NewVecDense(n, x))
	return a, g, x
}

// What is put in comes out, whatever the units; and so does the inverse, from
// which the covariances of every answer are taken.
func TestNormal(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 1))
	for range 200 {
		n := 1 + rng.IntN(9)
		a, g, want := equations(rng, n)
		var k Normal
		if !k.Factorize(a) {
			t.Fatalf("seed %d: refused %v", seed, mat.Formatted(a))
		}
		for i, x := range k.Solve(g) {
			if math.Abs(x/want[i]-1) > 1e-6 {
				t.Errorf("seed %d: unknown %d of %d is %g, want %g", seed, i, n, x, want[i])
			}
		}
		var one mat.Dense
		one.Mul(a, k.Inverse())
		for i := range n {
			for j := range n {
				want := 0.0
				if i == j {
					want = 1
				}
				scaled := (one.At(i, j) - want) * math.Sqrt(a.At(j, j)/a.At(i, i))
				if math.Abs(scaled) > 1e-6 {
					t.Errorf("seed %d: matrix times inverse is %g at %d, %d", seed, one.At(i, j), i, j)
				}
			}
		}
	}
}

// What does not determine its unknowns is refused, not answered.
func TestNormalRefuses(t *testing.T) {
	for name, v := range map[string][]float64{
		"an unknown nothing depends on": {1, 0, 0, 0},
		"two unknowns alike":            {1, 1, 1, 1},
		"almost alike":                  {1, 1, 1, 1 + 1e-15},
		"negative":                      {1, 0, 0, -1},
		"not a number":                  {1, 0, 0, math.NaN()},
		"infinite":                      {math.Inf(1), 0, 0, 1},
		"off the diagonal too large":    {1, 2, 2, 1},
	} {
		var k Normal
		if k.Factorize(mat.NewSymDense(2, v)) {
			t.Errorf("%s: %v is not refused", name, v)
		}
	}
}
