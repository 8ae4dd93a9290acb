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
	flat    []r3.Vec // the ordered points in half-diagonals from the middle, made straight
	check   checker
	chances float64 // logarithm of the chances given so far, at most
}

func newWorker(r *run, st stage, readers []*index.Reader, order []int) *worker {
	w := &worker{run: r, stage: st, order: order, flat: flat(r.cloud, order, st.k1)}
	w.check = checker{cloud: r.cloud, list: r.solver.Library.List, epoch: r.opt.Epoch, prior: priors(r.cloud.w)}
	if st.lens != nil {
		w.check.known()
	}
	total := 0
	for _, reader := range readers {
		w.lookups = append(w.lookups, lookup{session: reader.Session(), band: reader.Band})
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
	if size < half/10 {
		return nil, nil
	}
	tried := w.run.tried.Add(1)
	for i := range w.lookups {
		l := &w.lookups[i]
		// The diagonals at which the pattern is as wide as the band's, and the
		// frame as rich.
		from, to := l.band.Frames()
		lo := max(float64(l.band.Min)*2*half/size, float64(from), float64(w.stage.min))
		hi := min(float64(l.band.Max)*2*half/size, float64(to), float64(w.stage.max))
		for _, d := range diagonals {
			if lo > hi || d.hi < lo || d.lo > hi {
				continue
			}
			eps := w.stage.slack + 1.3*w.stage.sigma*math.Sqrt(variance)/size + d.slack
			f := 1 / math.Tan(d.mid/2)
			if w.stage.lens != nil {
				f = w.stage.lens.F / w.stage.lens.Half
			}
			var v [4]r3.Vec
			for j, k := range s {
				u := w.flat[k]
				v[j] = r3.Unit(r3.Vec{X: u.X, Y: u.Y, Z: f})
			}
			found, err := l.find(v, points, eps, func(p proposal) bool {
				sol = w.try(p, tried, max(d.lo, lo), min(d.hi, hi), eps-d.slack)
				return sol != nil
			})
			if found || err != nil {
				return sol, err
			}
		}
	}
	return nil, nil
}

// diagonals are the sizes of frame, radians, for which the sky is drawn in turn:
// the shape of a pattern toward the corner of a wide frame depends on it.
// slack is how much a shape can differ within the range.
var diagonals = []struct{ lo, mid, hi, slack float64 }{
	{0, 0.12, 0.25, 0.001},
	{0.25, 0.38, 0.52, 0.004},
	{0.52, 0.65, 0.77, 0.006},
	{0.77, 0.88, 0.98, 0.008},
	{0.98, 1.1, 1.35, 0.012},
}

// maxUnlike is the largest error of the brightness ratio of two stars, mag,
// that is put down to filters, sensors and saturation.
const maxUnlike = 3.0

// try tests one proposal.
func (w *worker) try(p proposal, tried int64, minDiagonal, maxDiagonal, eps float64) *Solution {
	c := w.run.cloud
	k := &w.check
	a, okA := k.list.At(p.starA, k.epoch)
	b, okB := k.list.At(p.starB, k.epoch)
	if !okA || !okB {
		return nil
	}
	pa, pb := &c.pts[p.points[0]], &c.pts[p.points[1]]
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
	zero := (pa.mag + pb.mag - float64(a.V) - float64(b.V)) / 2
	if math.Abs(pa.mag-float64(a.V)-zero) > maxUnlike/2 {
		return nil
	}
	va, vb := a.Pos.Vec(), b.Pos.Vec()
	if !ps.fromPair(va, vb, pa, pb, &k.prior) {
		return nil
	}
	diagonal := 2 * math.Atan(ps.lens.Half/ps.lens.F)
	if diagonal < minDiagonal || diagonal > maxDiagonal {
		return nil
	}
	// With the focal length known, the shape is too.
	var v [4]r3.Vec
	for i, j := range p.points {
		v[i] = ps.lens.Cam(c.pts[j].x, c.pts[j].y).Vec()
	}
	if index.CodeInOrder(v, p.flip != p.mirrored).Dist(p.code) > eps {
		return nil
	}
	// First the neighbourhood of the pattern, then the whole frame.
	n := max(12, len(c.pts))
	mid := r3.Unit(r3.Add(va, vb))
	radius := 0.75 * 2 * math.Asin(r3.Norm(r3.Sub(va, vb))/2)
	share := math.Pi * radius * radius / (0.48 * diagonal * diagonal)
	k.brightest(mid, radius, max(8, int(float64(n)*min(1, share))))
	x0, y0 := (pa.x+pb.x)/2, (pa.y+pb.y)/2
	k.expect(&ps, x0, y0, len(k.dots)*6/10)
	first := ps
	if e := k.grow(&first, zero, p.points[0], p.points[1]); e.logOdds < 4 || e.matched < 3 && e.within > 8 {
		return nil
	}
	whole := ps.camFromSky.Inv().Apply(ps.lens.Cam((c.w-1)/2, (c.h-1)/2).Vec())
	k.brightest(whole, diagonal/2*1.03, int(1.5*float64(n)))
	k.expect(&ps, x0, y0, n*6/10)
	e := k.grow(&ps, zero, p.points[0], p.points[1])
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
