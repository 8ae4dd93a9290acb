package axis

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis/unrest"
)

// view is what the frames say when one cause is taken for granted: the axis
// averaged over what is believed of scatter, sag and size of the cause, as turns
// about x and y of the mount near which it was found.
//
// best is the estimate. Of a mount that stands still the frames may tell the axis
// to a tenth of an arcsecond, of one that does not to some arcsec; where they cannot
// say which it is, the mean of both serves neither. So every belief pulls in inverse
// proportion to the standard error that it gives: the estimate has the least squared
// error in units of what is within reach, a Bayes estimate for that loss. Its error
// is the whole one, about best.
type view struct {
	cause cause
	near  *mount
	reading
	best    [2]float64
	pull    float64 // the weight of best against that of turn
	scatter float64 // median of its size, radians
}

// seen returns the view of one reading.
func seen(r reading) view {
	return view{reading: r, best: r.turn, pull: 1 / math.Sqrt(r.cov[0]+r.cov[2])}
}

// errors returns the second moments of the axis about best.
func (v *view) errors() [3]float64 {
	x, y := v.turn[0]-v.best[0], v.turn[1]-v.best[1]
	return [3]float64{v.cov[0] + x*x, v.cov[1] + x*y, v.cov[2] + y*y}
}

// pool averages views by their evidence, keeping only their moments.
type pool struct {
	top      float64
	total    float64
	turn     [2]float64
	square   [3]float64
	pull     float64
	best     [2]float64
	scatters []float64 // total by size
}

// add takes a view with a weight, the logarithm of its prior; at is the place of
// its scatter among the beliefs.
func (p *pool) add(v view, prior float64, at int) {
	log := v.log + prior
	if p.scatters == nil {
		p.top, p.scatters = log, make([]float64, len(anyMount))
	}
	if log > p.top {
		p.shrink(math.Exp(p.top - log))
		p.top = log
	}
	w := math.Exp(log - p.top)
	p.total += w
	p.scatters[at] += w
	x, y := v.turn[0], v.turn[1]
	p.turn[0] += w * x
	p.turn[1] += w * y
	p.square[0] += w * (v.cov[0] + x*x)
	p.square[1] += w * (v.cov[1] + x*y)
	p.square[2] += w * (v.cov[2] + y*y)
	w *= v.pull
	p.pull += w
	p.best[0] += w * v.best[0]
	p.best[1] += w * v.best[1]
}

// shrink multiplies all sums.
func (p *pool) shrink(f float64) {
	p.total *= f
	p.pull *= f
	for _, sums := range [][]float64{p.turn[:], p.square[:], p.best[:], p.scatters} {
		for i := range sums {
			sums[i] *= f
		}
	}
}

// view returns the average.
func (p *pool) view() (v view, ok bool) {
	if !(p.total > 0) || !finite(p.total, p.top) {
		return v, false
	}
	v.log = p.top + math.Log(p.total)
	x, y := p.turn[0]/p.total, p.turn[1]/p.total
	v.turn = [2]float64{x, y}
	v.cov = [3]float64{p.square[0]/p.total - x*x, p.square[1]/p.total - x*y, p.square[2]/p.total - y*y}
	v.best, v.pull = [2]float64{p.best[0] / p.pull, p.best[1] / p.pull}, p.pull/p.total
	sum := 0.0
	for i, w := range p.scatters {
		if sum += w; sum >= p.total/2 {
			v.scatter = anyMount[i].Scatter
			break
		}
	}
	return v, v.cov[0] > 0 && v.cov[2] > 0
}

// views averages, for each of the causes, what the frames say about the mount g
// over all beliefs that count.
func (a attitudes) views(g *glsFit, causes []cause) (out []view) {
	z := a.sag()
	columns := make([][]int, len(causes)) // of each cause, once sag is integrated away
	for i, c := range causes {
		for _, turn := range c.turn {
			columns[i] = append(columns[i], 2+len(z)-sags)
			z = append(z, turn)
		}
	}
	m, ok := a.mix(g, z)
	if !ok {
		return nil
	}
	pools, us := make([]pool, len(causes)), a.believed()
	counts := func(at int) bool { return pour(pools, causes, columns, &m, us[at], at) }
	start := 0
	for start < len(us)-1 && us[start].Scatter < m.rms() {
		start++
	}
	for at := start; at >= 0 && counts(at); at-- {
	}
	for at := start + 1; at < len(us) && counts(at); at++ {
	}
	for i := range pools {
		if v, ok := pools[i].view(); ok {
			v.cause, v.near = causes[i], g.m
			out = append(out, v)
		}
	}
	return out
}

// negligible is how far, in the logarithm, evidence lies below the best of its cause
// when it counts no more; the likelihood falls on from there.
const negligible = 40

// pour adds what is seen under one belief of the scatter to the pools of all causes. It
// returns false when that counts in none of them.
func pour(pools []pool, causes []cause, columns [][]int, m *mixed, u unrest.Belief, at int) (counts bool) {
	r, ok := m.at(u.Scatter)
	if !ok {
		return true
	}
	for _, sag := range u.Sags {
		stiff, ok := r.without(sags, sag.Size)
		if !ok {
			continue
		}
		for i, c := range causes {
			sizes, share := c.sizes()
			for _, size := range sizes {
				if x, ok := stiff.read(columns[i], size); ok {
					prior := u.Log + sag.Log + math.Log(c.odds*share)
					pools[i].add(seen(x), prior, at)
					counts = counts || x.log+prior > pools[i].top-negligible
				}
				share /= 2
			}
		}
	}
	return counts
}

// still returns what the frames say when nothing but the errors of the stars turns
// them against the mount g.
func (a attitudes) still(g *glsFit) (v view, ok bool) {
	m, ok := a.mix(g, nil)
	if !ok {
		return v, false
	}
	r, ok := m.at(0)
	if !ok {
		return v, false
	}
	x, ok := r.read(nil, 1)
	v = seen(x)
	v.near = g.m
	return v, ok
}

// seenFrom returns the view with its turns about x and y of the mount m.
func (v view) seenFrom(m *mount) view {
	turn := m.mountFromLocal.Mul(v.near.mountFromLocal.Inv())
	x, y := turn.Apply(unitX), turn.Apply(unitY)
	a, b, c := v.cov[0], v.cov[1], v.cov[2]
	v.cov = [3]float64{
		x.X*x.X*a + 2*x.X*y.X*b + y.X*y.X*c,
		x.X*x.Y*a + (x.X*y.Y+x.Y*y.X)*b + y.X*y.Y*c,
		x.Y*x.Y*a + 2*x.Y*y.Y*b + y.Y*y.Y*c,
	}
	for _, t := range []*[2]float64{&v.turn, &v.best} {
		at := m.mountFromLocal.Apply(v.near.axisAt(*t))
		*t = [2]float64{at.Y, -at.X}
	}
	v.near = m
	return v
}

// axisAt returns the direction of the mount's axis after turns about its x and y,
// local frame.
func (m *mount) axisAt(turn [2]float64) r3.Vec {
	step := make([]float64, m.params())
	step[0], step[1] = turn[0], turn[1]
	return m.moved(step).(*mount).axis()
}

// axis returns the estimate of the axis, local frame.
func (v *view) axis() r3.Vec { return v.near.axisAt(v.best) }

// axisCov returns the covariance of the axis: altitude, azimuth on the sky.
func (v *view) axisCov() [2][2]float64 {
	e := v.errors()
	cov := mat.NewSymDense(2, []float64{e[0], e[1], e[1], e[2]})
	return (&joint{m: v.near, cov: cov}).axisCov()
}

// sigma returns the larger standard error of the axis, radians.
func (v *view) sigma() float64 {
	e := v.errors()
	return math.Sqrt((e[0]+e[2])/2 + math.Hypot((e[0]-e[2])/2, e[1]))
}

// merge averages views by their evidence, about the mount of the first. The error is
// that of a wider average than the estimate, see apart; and three frames, which lie on one
// circle whatever happened, speak for nothing that the estimate should follow.
func merge(vs []view) (out view, ok bool) {
	var estimate, whole pool
	more := heeded(vs)
	wider := apart(vs, more)
	if len(vs[0].near.turn) < 4 {
		clear(more)
	}
	for i, v := range vs {
		at := 0
		for at < len(anyMount)-1 && anyMount[at].Scatter < v.scatter {
			at++
		}
		v = v.seenFrom(vs[0].near)
		estimate.add(v, more[i], at)
		whole.add(v, wider[i], at)
	}
	if out, ok = estimate.view(); !ok {
		return out, false
	}
	w, ok := whole.view()
	out.turn, out.cov = w.turn, w.cov
	out.cause, out.near = vs[0].cause, vs[0].near
	return out, ok
}
