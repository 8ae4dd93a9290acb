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
	// A few hundred stars a frame are enough to come close.
	rough := *b
	rough.frames = make([][]star, len(b.frames))
	for i, f := range b.frames {
		rough.frames[i] = sample(f)
	}
	m, ok := rough.approach(free(start))
	if !ok {
		return nil, errSingular
	}
	b.lens, b.floor, b.scale = rough.lens, rough.floor, rough.scale
	// Then all of them, without the wrong matches.
	b.weigh = keep
	if m, ok = b.settle(m, 6); !ok {
		return nil, errSingular
	}
	b.setFloors()
	b.weigh = nil
	if m, ok = b.settle(m, 6); !ok {
		return nil, errSingular
	}
	return m.(free), nil
}

// approach comes close to the attitudes and the lens while the size of the
// errors is still unknown, and then finds it.
func (b *bundle) approach(m model) (model, bool) {
	b.scale = make([]float64, len(b.frames))
	b.floor = make([]float64, len(b.frames))
	for i := range b.frames {
		b.measure(i, m.camFromLocal(i))
	}
	b.weigh = huber
	for range 10 {
		b.rescale()
		next, gain, ok := b.step(m)
		if !ok {
			return m, false
		}
		if m = next; gain < 0.1 {
			break
		}
	}
	b.setFloors()
	b.weigh = tukey
	m, ok := b.settle(m, 6)
	b.setFloors()
	return m, ok
}

// rescale sets each frame's scale from its median residual at the last step: at
// least 1, so that stated errors are believed until the stars say otherwise.
func (b *bundle) rescale() {
	for i, f := range b.frames {
		b.scale[i] = 1
		if len(f) > 4 { // fewer leave too little freedom to judge
			var q []float64
			for _, s := range sample(f) {
				q = append(q, s.q)
			}
			b.scale[i] = math.Max(1, math.Min(median(q)/(2*math.Ln2), 1e12))
		}
	}
}

// sample returns some 300 of the stars, evenly taken, or all.
func sample(stars []star) []star {
	step := 1 + len(stars)/300
	if step == 1 {
		return stars
	}
	var some []star
	for j := 0; j < len(stars); j += step {
		some = append(some, stars[j])
	}
	return some
}

// fewForFloor is the number of stars below which a frame's errors are not
// judged by its own residuals.
const fewForFloor = 20

// setFloors finds the variance, common to all stars of a frame, that their
// stated errors lack (scintillation, seeing, wind, a lens beyond the model), and
// sets the scales back to 1. Frames with few stars share one floor.
func (b *bundle) setFloors() {
	var few []star
	for i, f := range b.frames {
		b.scale[i] = 1
		if len(f) >= fewForFloor {
			b.floor[i] = floor(f)
		} else {
			few = append(few, f...)
		}
	}
	shared := 0.0
	if len(few) >= fewForFloor {
		shared = floor(few)
	}
	for i, f := range b.frames {
		if len(f) < fewForFloor {
			b.floor[i] = shared
		}
	}
}

// floor solves the likelihood equation of a variance added to all stars,
// sum (q - 2)/variance = 0: first with q cut off so that wrong matches pull
// little, then without the stars that stand out, until none more do. A few
// hundred stars are enough.
func floor(stars []star) float64 {
	const c = 9.0
	expect := 2 * (1 - math.Exp(-c/2))
	stars = sample(stars)
	f := root(stars, func(q float64) float64 { return math.Min(q, c) - expect })
	good := make([]star, 0, len(stars))
	for range 5 {
		before := len(good)
		good = good[:0]
		for _, s := range stars {
			if s.r2 <= (cut+4)*(s.variance+f) {
				good = append(good, s)
			}
		}
		if len(good) == before {
			break
		}
		f = root(good, func(q float64) float64 { return q - 2 })
	}
	return f
}

// root returns the added variance at which sum f(q)/variance falls to zero, or
// 0 when the sum is negative without any.
func root(stars []star, f func(q float64) float64) float64 {
	sum := func(floor float64) (t float64) {
		for i := range stars {
			if v := stars[i].variance + floor; stars[i].r2 < math.MaxFloat64 {
				t += f(stars[i].r2/v) / v
			}
		}
		return t
	}
	if sum(0) <= 0 {
		return 0
	}
	hi := 0.0
	for i := range stars {
		if r := stars[i].r2; r < math.MaxFloat64 {
			hi = math.Max(hi, r)
		}
	}
	lo := hi * 1e-8
	for hi > 1.01*lo { // one percent is plenty
		mid := math.Sqrt(lo * hi)
		if sum(mid) > 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
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

// calibrate multiplies all variances by the chi-square per degree of freedom,
// drawn toward 1 when there are few degrees, and returns that factor.
func (b *bundle) calibrate(params int) float64 {
	const belief = 10 // degrees of freedom the stated errors are worth
	sum, free := 0.0, -params
	for i := range b.frames {
		n, q, _ := b.tally(i)
		sum += q
		free += 2 * n
	}
	if free < 1 {
		return 1
	}
	s := (sum + belief) / float64(free+belief)
	for i := range b.frames {
		b.floor[i] *= s
		for j := range b.frames[i] {
			b.frames[i][j].variance *= s
			b.frames[i][j].q /= s
		}
	}
	return s
}
