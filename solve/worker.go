package solve

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index"
	"pintle/index/optics"
)

// worker tries patterns for one goroutine.
type worker struct {
	run     *run
	stage   stage
	order   []int
	lookups []lookup
	dirs    [][]r3.Vec // of the ordered points, for each lookup's band
	check   checker
	chances float64 // logarithm of the chances given so far, at most
}

func newWorker(r *run, st stage, readers []*index.Reader, order []int) *worker {
	w := &worker{run: r, stage: st, order: order}
	w.check = checker{cloud: r.cloud, list: r.solver.Library.List, epoch: r.opt.Epoch, prior: priors(r.cloud.w)}
	if st.lens != nil {
		w.check.known()
	}
	total := 0
	for _, reader := range readers {
		w.lookups = append(w.lookups, lookup{session: reader.Session(), band: reader.Band})
		w.dirs = append(w.dirs, flat(r.cloud, order, st.k1))
		total += reader.Manifest.Patterns
	}
	w.chances = math.Log(float64(total))
	return w
}

func (w *worker) close() {
	for _, l := range w.lookups {
		l.session.Close()
	}
}

// set tries the patterns that four of the ordered points make.
func (w *worker) set(s [4]int) (sol *Solution, err error) {
	c := w.run.cloud
	half := math.Hypot(c.w, c.h) / 2
	points := [4]int{w.order[s[0]], w.order[s[1]], w.order[s[2]], w.order[s[3]]}
	// Size of the pattern and error of its places, px.
	size, variance := 0.0, 0.0
	for i := range 4 {
		p := &c.pts[points[i]]
		variance = max(variance, p.variance)
		for j := range i {
			q := &c.pts[points[j]]
			size = max(size, math.Hypot(p.x-q.x, p.y-q.y))
		}
	}
	if size < half/4 {
		return nil, nil
	}
	tried := w.run.tried.Add(1)
	for i := range w.lookups {
		l := &w.lookups[i]
		// The diagonals at which the pattern is as wide as the band's.
		lo, hi := float64(l.band.Min)*2*half/size, float64(l.band.Max)*2*half/size
		if hi < float64(w.stage.min) || lo > float64(w.stage.max) {
			continue
		}
		eps := w.stage.slack + 1.3*w.stage.sigma*math.Sqrt(variance)/size + 0.5/64/16
		dirs := w.dirs[i]
		var v [4]r3.Vec
		for j, k := range s {
			v[j] = dirs[k]
		}
		if hi > 0.2 { // the sky's curvature shows
			f := focal(l.band, size/half)
			for j := range v {
				v[j] = r3.Unit(r3.Vec{X: v[j].X / v[j].Z, Y: v[j].Y / v[j].Z, Z: f})
			}
			eps += 0.004
		}
		found, err := l.find(v, points, eps, func(p proposal) bool {
			sol = w.try(p, tried)
			return sol != nil
		})
		if found || err != nil {
			return sol, err
		}
	}
	return nil, nil
}

// try tests one proposal.
func (w *worker) try(p proposal, tried int64) *Solution {
	c := w.run.cloud
	k := &w.check
	a, okA := k.list.At(p.starA, k.epoch)
	b, okB := k.list.At(p.starB, k.epoch)
	if !okA || !okB {
		return nil
	}
	pa, pb := &c.pts[p.a], &c.pts[p.b]
	ps := pose{lens: optics.Lens{
		CX: (c.w - 1) / 2, CY: (c.h - 1) / 2, Half: math.Hypot(c.w, c.h) / 2,
		K1: w.stage.k1, Mirrored: p.mirrored,
	}}
	if l := w.stage.lens; l != nil {
		if l.Mirrored != p.mirrored {
			return nil
		}
		ps.lens = *l
	}
	va, vb := a.Pos.Vec(), b.Pos.Vec()
	if !ps.fromPair(va, vb, pa, pb, &k.prior) {
		return nil
	}
	diagonal := 2 * math.Atan(ps.lens.Half/ps.lens.F)
	if diagonal < float64(w.stage.min) || diagonal > float64(w.stage.max) {
		return nil
	}
	// First the neighbourhood of the pattern, then the whole frame.
	n := max(12, len(c.pts))
	mid := r3.Unit(r3.Add(va, vb))
	radius := 0.75 * 2 * math.Asin(r3.Norm(r3.Sub(va, vb))/2)
	share := math.Pi * radius * radius / (0.48 * diagonal * diagonal)
	k.brightest(mid, radius, max(8, int(float64(n)*min(1, share))))
	x0, y0 := (pa.x+pb.x)/2, (pa.y+pb.y)/2
	zero := (pa.mag + pb.mag - float64(a.V) - float64(b.V)) / 2
	k.expect(&ps, x0, y0, len(k.dots)*6/10)
	first := ps
	if e := k.grow(&first, zero, p.a, p.b); e.logOdds < 4 || e.matched < 3 && e.within > 8 {
		return nil
	}
	whole := ps.camFromSky.Inv().Apply(ps.lens.Cam((c.w-1)/2, (c.h-1)/2).Vec())
	k.brightest(whole, diagonal/2*1.03, int(1.5*float64(n)))
	k.expect(&ps, x0, y0, n*6/10)
	e := k.grow(&ps, zero, p.a, p.b)
	odds := e.logOdds - w.chances - math.Log(float64(tried))
	if odds < surplus {
		return nil
	}
	sol := refine(w.run.field, k, &ps)
	if sol == nil {
		return nil
	}
	sol.LogOdds = odds
	sol.Tried = int(tried)
	return sol
}

