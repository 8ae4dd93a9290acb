package axis

import (
	"errors"
	"math"

	"pintle/index/sphere"
)

// Weights of a star as functions of q, its squared residual over its variance
// (chi-square with two degrees of freedom when all is well).

// huber keeps the pull of a star from growing beyond 2 sigma (Huber 1964).
func huber(q float64) float64 {
	if q <= 4 {
		return 1
	}
	return 2 / math.Sqrt(q)
}

// tukey lets the pull fall to nothing at 5 sigma (Beaton & Tukey 1974).
func tukey(q float64) float64 {
	u := 1 - q/25
	if u <= 0 {
		return 0
	}
	return u * u
}

// keep is all or nothing, at 4 sigma: in two dimensions 3 good stars in 10000
// are lost.
func keep(q float64) float64 {
	if q <= cut {
		return 1
	}
	return 0
}

const cut = 16.0

var errSingular = errors.New("the stars do not fix the camera's attitudes")

// fitFree fits an attitude to each frame and one lens to all, and settles on
// the way which matches are wrong and how large the errors really are. Wrong
// matches are judged against their own frame, so that a frame that does not
// belong to the mount's motion keeps its stars and is seen for what it is.
func (b *bundle) fitFree(start []sphere.Rot) (free, error) {
	b.scale = make([]float64, len(b.frames))
	var m model = free(start)
	// First from afar: nothing is known yet about the size of the residuals.
	b.weigh = huber
	for range 8 {
		b.rescale(m)
		next, gain, ok := b.step(m)
		if !ok {
			return nil, errSingular
		}
		if m = next; gain < 0.1 {
			break
		}
	}
	// Then with the errors as they turn out to be, and finally with the wrong
	// matches gone.
	for _, w := range []func(float64) float64{tukey, keep, keep} {
		b.rescale(m)
		b.setFloor()
		b.weigh = w
		var ok bool
		if m, ok = b.settle(m, 6); !ok {
			return nil, errSingular
		}
	}
	b.weigh = nil
	m, ok := b.settle(m, 6)
	if !ok {
		return nil, errSingular
	}
	return m.(free), nil
}

// rescale sets each frame's scale from its median residual: at least 1, so that
// stated errors are believed until the stars say otherwise.
func (b *bundle) rescale(m model) {
	weigh := b.weigh
	b.weigh = nil
	for i := range b.frames {
		b.measure(i, m.camFromLocal(i))
		q := make([]float64, len(b.frames[i]))
		for j, s := range b.frames[i] {
			q[j] = s.q
		}
		b.scale[i] = 1
		if len(q) > 4 { // fewer leave too little freedom to judge
			b.scale[i] = math.Max(1, math.Min(median(q)/(2*math.Ln2), 1e12))
		}
	}
	b.weigh = weigh
}

// setFloor finds the variance, common to all stars, that their stated errors
// lack (scintillation, seeing, a lens beyond the model) and then sets the scales
// back to 1. It solves the likelihood equation of an added variance,
// sum (q - 2)/variance = 0, with q cut off so that wrong matches do not count.
func (b *bundle) setFloor() {
	b.floor = 0
	if b.count() >= 20 {
		hi := 0.0
		for _, f := range b.frames {
			for _, s := range f {
				if finite(s.r2) {
					hi = math.Max(hi, s.r2)
				}
			}
		}
		const c = 9.0
		expect := 2 * (1 - math.Exp(-c/2))
		b.floor = b.root(hi, func(q float64) float64 { return math.Min(q, c) - expect })
		// Again with only the stars that pass: wrong matches are out.
		first := b.floor
		limit := cut + 4
		out := func(s *star) bool { return !(s.r2 <= limit*(s.variance+first)) }
		b.floor = b.rootOf(hi, out, func(q float64) float64 { return q - 2 })
	}
	for i := range b.scale {
		b.scale[i] = 1
	}
}

func (b *bundle) root(hi float64, f func(q float64) float64) float64 {
	return b.rootOf(hi, func(*star) bool { return false }, f)
}

// rootOf finds the floor at which the sum of f(q)/variance over the stars that
// are not out falls to zero; 0 when it is negative there already.
func (b *bundle) rootOf(hi float64, out func(*star) bool, f func(q float64) float64) float64 {
	sum := func(floor float64) (t float64) {
		for i := range b.frames {
			for j := range b.frames[i] {
				if s := &b.frames[i][j]; finite(s.r2) && !out(s) {
					v := s.variance + floor
					t += f(s.r2/v) / v
				}
			}
		}
		return t
	}
	if sum(0) <= 0 {
		return 0
	}
	lo := 0.0
	for range 40 {
		mid := (lo + hi) / 2
		if sum(mid) > 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}

func (b *bundle) count() (n int) {
	for _, f := range b.frames {
		n += len(f)
	}
	return n
}

// tally returns the number of stars with weight and their sum of squares.
func (b *bundle) tally(i int) (used int, q, r2 float64) {
	for _, s := range b.frames[i] {
		if s.weight > 0 {
			used++
			q += s.q
			r2 += s.r2
		}
	}
	return used, q, r2
}
