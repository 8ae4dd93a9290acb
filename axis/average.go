package axis

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// view is what the frames say when one cause is taken for granted: the axis
// averaged over what is believed of scatter, sag and size of the cause, as turns
// about x and y of the mount near which it was found.
type view struct {
	cause cause
	near  *mount
	reading
	scatter float64 // median of its size, radians
}

// pool averages readings by their evidence, keeping only their moments.
type pool struct {
	top, total float64
	turn       [2]float64
	square     [3]float64
	scatters   []float64 // total by size
}

// add takes a reading with a weight, the logarithm of its prior; at is the place of
// its scatter in unrests.
func (p *pool) add(r reading, prior float64, at int) {
	log := r.log + prior
	if p.scatters == nil {
		p.top, p.scatters = log, make([]float64, len(unrests))
	}
	if log > p.top {
		f := math.Exp(p.top - log)
		p.top, p.total = log, p.total*f
		for i := range p.turn {
			p.turn[i] *= f
		}
		for i := range p.square {
			p.square[i] *= f
		}
		for i := range p.scatters {
			p.scatters[i] *= f
		}
	}
	w := math.Exp(log - p.top)
	p.total += w
	p.scatters[at] += w
	x, y := r.turn[0], r.turn[1]
	p.turn[0] += w * x
	p.turn[1] += w * y
	p.square[0] += w * (r.cov[0] + x*x)
	p.square[1] += w * (r.cov[1] + x*y)
	p.square[2] += w * (r.cov[2] + y*y)
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
	sum := 0.0
	for i, w := range p.scatters {
		if sum += w; sum >= p.total/2 {
			v.scatter = unrests[i].scatter
			break
		}
	}
	return v, v.cov[0] > 0 && v.cov[2] > 0
}

// views averages, for each of the causes, what the frames say about the mount g
// over all beliefs.
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
	pools := make([]pool, len(causes))
	for at, u := range unrests {
		r, ok := m.at(u.scatter)
		if !ok {
			continue
		}
		for k, sag := range u.sag {
			stiff, ok := r.without(sags, sag)
			if !ok {
				continue
			}
			for i, c := range causes {
				sizes, share := c.sizes()
				for _, size := range sizes {
					if x, ok := stiff.read(columns[i], size); ok {
						pools[i].add(x, u.log+math.Log(sagWeights[k]*c.odds*share), at)
					}
					share /= 2
				}
			}
		}
	}
	for i := range pools {
		if v, ok := pools[i].view(); ok {
			v.cause, v.near = causes[i], g.m
			out = append(out, v)
		}
	}
	return out
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
	v = view{near: g.m}
	v.reading, ok = r.read(nil, 1)
	return v, ok
}

// seenFrom returns the view with its turns about x and y of the mount m.
func (v view) seenFrom(m *mount) view {
	axis := v.axis()
	turn := m.mountFromLocal.Mul(v.near.mountFromLocal.Inv())
	x, y := turn.Apply(unitX), turn.Apply(unitY)
	a, b, c := v.cov[0], v.cov[1], v.cov[2]
	v.cov = [3]float64{
		x.X*x.X*a + 2*x.X*y.X*b + y.X*y.X*c,
		x.X*x.Y*a + (x.X*y.Y+x.Y*y.X)*b + y.X*y.Y*c,
		x.Y*x.Y*a + 2*x.Y*y.Y*b + y.Y*y.Y*c,
	}
	at := m.mountFromLocal.Apply(axis)
	v.turn, v.near = [2]float64{at.Y, -at.X}, m
	return v
}

// axis returns the direction of the axis, local frame.
func (v *view) axis() r3.Vec {
	step := make([]float64, v.near.params())
	step[0], step[1] = v.turn[0], v.turn[1]
	return v.near.moved(step).(*mount).axis()
}

// axisCov returns the covariance of the axis: altitude, azimuth on the sky.
func (v *view) axisCov() [2][2]float64 {
	cov := mat.NewSymDense(2, []float64{v.cov[0], v.cov[1], v.cov[1], v.cov[2]})
	return (&joint{m: v.near, cov: cov}).axisCov()
}

// sigma returns the larger standard error of the axis, radians.
func (v *view) sigma() float64 {
	a, b, c := v.cov[0], v.cov[1], v.cov[2]
	return math.Sqrt((a+c)/2 + math.Hypot((a-c)/2, b))
}

// merge averages views by their evidence, about the mount of the first.
func merge(vs []view) (out view, ok bool) {
	var p pool
	for _, v := range vs {
		at := 0
		for at < len(unrests)-1 && unrests[at].scatter < v.scatter {
			at++
		}
		p.add(v.seenFrom(vs[0].near).reading, 0, at)
	}
	if out, ok = p.view(); ok {
		out.cause, out.near = vs[0].cause, vs[0].near
	}
	return out, ok
}
