package detect

import "math"

// abs is the value without its sign.
func abs(v float32) float32 { return max(v, -v) }

// quantile returns the q quantile (0 to 1) of v, whose order it changes; 0 for
// none.
func quantile[T float32 | float64](v []T, q float64) T {
	if len(v) == 0 {
		return 0
	}
	return nth(v, min(int(q*float64(len(v))), len(v)-1))
}

// nth returns what v[k] would be if v were sorted. It moves smaller values
// before it and larger ones behind (Hoare's selection). v must not hold NaN.
func nth[T float32 | float64](v []T, k int) T {
	lo, hi := 0, len(v)-1
	for hi-lo > 10 {
		// The median of three halves the range, near enough.
		a, b, c := v[lo], v[lo+(hi-lo)/2], v[hi]
		m := max(min(a, b), min(max(a, b), c))
		i, j := lo, hi
		for i <= j {
			for v[i] < m {
				i++
			}
			for v[j] > m {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return v[k]
		}
	}
	for i := lo + 1; i <= hi; i++ {
		for j := i; j > lo && v[j] < v[j-1]; j-- {
			v[j], v[j-1] = v[j-1], v[j]
		}
	}
	return v[k]
}

// solveSym solves the n x n symmetric positive definite system a x = b by
// Cholesky's method; a (row-major) is overwritten by its factor, b by x. It
// reports whether a is positive definite.
func solveSym(a, b []float64, n int) bool {
	if !factor(a, n) {
		return false
	}
	substitute(a, b, n)
	return true
}

// factor replaces the lower triangle of a by its Cholesky factor.
func factor(a []float64, n int) bool {
	for i := range n {
		for j := range i + 1 {
			s := a[i*n+j]
			for k := range j {
				s -= a[i*n+k] * a[j*n+k]
			}
			if i == j {
				if !(s > 0) || math.IsInf(s, 0) {
					return false
				}
				a[i*n+i] = math.Sqrt(s)
			} else {
				a[i*n+j] = s / a[j*n+j]
			}
		}
	}
	return true
}

// substitute solves with a factored matrix.
func substitute(a, b []float64, n int) {
	for i := range n {
		for k := range i {
			b[i] -= a[i*n+k] * b[k]
		}
		b[i] /= a[i*n+i]
	}
	for i := n - 1; i >= 0; i-- {
		for k := i + 1; k < n; k++ {
			b[i] -= a[k*n+i] * b[k]
		}
		b[i] /= a[i*n+i]
	}
}
