package series

import (
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// values are what a series shows of one thing, one of each frame that shows it, with
// the covariance of their errors. Of their common level nothing is known.
type values struct {
	frame []int // of the series
	y     []float64
	cov   *mat.SymDense
}

// anyLevel is the variance of what is not known at all, in squared magnitudes or
// logarithms.
const anyLevel = 100

func newValues(n int) values { return values{cov: mat.NewSymDense(max(n, 1), nil)} }

// share adds an error that all values have in common, each as much as the factor says.
func (v *values) share(factor []float64, sigma float64) {
	for i, a := range factor {
		for j := i; j < len(factor); j++ {
			v.cov.SetSym(i, j, v.cov.At(i, j)+sigma*sigma*a*factor[j])
		}
	}
}

// likelihood returns the logarithm of the likelihood of the values when more is added to
// their covariance, and when a cause of the given shape and size works besides: its
// amount is positive, half of a normal distribution as wide as the size. The shape nil
// is no cause.
func (v *values) likelihood(more func(i, j int) float64, shape []float64, size float64) float64 {
	n := len(v.y)
	c := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			x := v.cov.At(i, j) + anyLevel
			if more != nil {
				x += more(i, j)
			}
			c.SetSym(i, j, x)
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(c) {
		return math.Inf(-1)
	}
	product := func(a, b []float64) float64 {
		var x mat.VecDense
		if chol.SolveVecTo(&x, mat.NewVecDense(n, b)) != nil {
			return math.Inf(1)
		}
		return mat.Dot(mat.NewVecDense(n, a), &x)
	}
	log := -0.5 * (product(v.y, v.y) + chol.LogDet())
	if shape == nil {
		return log
	}
	g, h := product(shape, v.y), product(shape, shape)+1/(size*size)
	half := 0.5 * math.Erfc(-g/math.Sqrt(2*h)) // the share of positive amounts
	return log + 0.5*g*g/h - 0.5*math.Log(h*size*size) + math.Log(2*half+1e-300)
}

// sizes of causes, in magnitudes or logarithms, each as likely as the others (no
// source).
var sizes = []float64{0.4, 0.8, 1.6, 3.2}

// steps returns the shapes of what begins with any frame but the first and stays.
func (v *values) steps() (out [][]float64) {
	for k := 1; k < len(v.y); k++ {
		s := make([]float64, len(v.y))
		for i := k; i < len(s); i++ {
			s[i] = 1
		}
		out = append(out, s)
	}
	return out
}

// ramps returns the shapes of what grows evenly with time, to 1, from any frame on that
// is followed by two others: one alone is a step.
func (v *values) ramps(looks []Look) (out [][]float64) {
	n := len(v.y)
	at := func(i int) float64 {
		return looks[v.frame[i]].At.Sub(looks[v.frame[0]].At).Seconds() + 1e-3*float64(i)
	}
	for k := range n - 2 {
		s := make([]float64, n)
		for i := k + 1; i < n; i++ {
			s[i] = (at(i) - at(k)) / (at(n-1) - at(k))
		}
		out = append(out, s)
	}
	return out
}

// uneven is by how much what grows departs from growing evenly, as a share of its size
// (no source).
const uneven = 0.15

// growing returns the logarithm of the mean likelihood over shapes and sizes.
func (v *values) growing(shapes [][]float64) float64 {
	var logs []float64
	for _, s := range shapes {
		for _, size := range sizes {
			more := func(i, j int) float64 {
				if i != j {
					return 0
				}
				return uneven * uneven * size * size * s[i] * s[i]
			}
			logs = append(logs, v.likelihood(more, s, size))
		}
	}
	return meanOf(logs)
}

// scattering returns the same when each value has its own share of the cause.
func (v *values) scattering() float64 {
	var logs []float64
	for _, size := range sizes {
		logs = append(logs, v.likelihood(func(i, j int) float64 {
			if i != j {
				return 0
			}
			return size * size
		}, nil, 0))
	}
	return meanOf(logs)
}

// meanOf returns the logarithm of the mean of numbers given by their logarithms.
func meanOf(logs []float64) float64 {
	if len(logs) == 0 {
		return math.Inf(-1)
	}
	return floats.LogSumExp(logs) - math.Log(float64(len(logs)))
}
