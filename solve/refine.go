package solve

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"pintle/index/lsq"
	"pintle/index/sphere"
	"pintle/index/stars"
	"pintle/solve/detect"
)

// maxMatches bounds the work on the densest frames (no source).
const maxMatches = 1500

// chanceShare is how often, at most, a star may find a point by chance at the
// widest gate that is used (no source, chosen on made-up fields, see cmd/proof).
const chanceShare = 0.12

// minWide is the number of stars that tell of a wide lens that is not known: four near
// the middle agree with lenses that are degrees apart in the corners (no source; a made-up
// field of cmd/proof was solved so).
const minWide = 6

// refine matches all detected stars with the catalogue and fits attitude and
// lens to them, by iterated least squares with the priors of the pose as
// further observations: first with the bright stars, which chance seldom
// matches, then with all. Each round looks as far from the prediction as the
// last round's scatter asks for, but never so far that chance would fill the
// gate. It returns nil when the fit falls apart or the agreement that is left
// could be chance.
func refine(f *detect.Field, k *checker, p *pose) *Solution {
	const bright = 120 // no source
	prior := p.priors(float64(f.W))
	few := makeCloud(f, bright)
	if p.isWide() {
		few = makeBalanced(f, bright)
	}
	list := k.inFrame(p, few, len(few.pts)*3/2)
	gate, ok := settle(p, prior, few, list)
	if !ok {
		return nil
	}
	if !k.lensKnown {
		gate = otherLenses(p, prior, few, list, gate)
		gate = otherLaws(p, prior, few, list, gate)
	}
	if !few.convincing(list, pair(few, list, p, gate), p, gate) {
		return nil
	}
	all := makeCloud(f, maxMatches)
	if len(all.pts) > len(few.pts) {
		list = k.inFrame(p, all, 2*len(all.pts))
	}
	for range 4 {
		gate = min(gate, all.widest())
		rms, ok := fit(p, prior, all, list, pair(all, list, p, gate))
		if !ok {
			return nil
		}
		gate = max(4.5*rms, 0.6)
	}
	gate = min(gate, all.widest())
	pairs := pair(all, list, p, gate)
	if p.isWide() && !k.lensKnown && (len(pairs) < minWide || !borne(p, all, list, pairs, gate)) {
		return nil
	}
	return solution(f, all, list, pairs, p)
}

// settle fits the pose to the pairs of bright points and stars until they
// are those of the pose itself. It returns the gate, px, of the last round.
func settle(p *pose, prior vector, c *cloud, list []stars.Star) (gate float64, ok bool) {
	gate = c.widest()
	for range 6 {
		rms, ok := fit(p, prior, c, list, pair(c, list, p, gate))
		if !ok {
			return 0, false
		}
		gate = min(c.widest(), max(5*rms, 1))
	}
	return gate, true
}

// fewPairs is the number of pairs from which on one wrong pair cannot warp the
// lens any more (no source; see the fields of cmd/proof that failed for one pair).
const fewPairs = 40

// otherLenses settles a pose with few pairs again from other distortions, and
// keeps what explains the frame best: one false pair far out in the picture can
// warp the lens so that it finds no true one there.
func otherLenses(p *pose, prior vector, c *cloud, list []stars.Star, gate float64) float64 {
	pairs := pair(c, list, p, gate)
	if len(pairs) >= fewPairs {
		return gate
	}
	r2 := 0.0
	for _, q := range pairs {
		pt := &c.pts[q.point]
		r2 += ((pt.x-p.lens.CX)*(pt.x-p.lens.CX) + (pt.y-p.lens.CY)*(pt.y-p.lens.CY)) / float64(len(pairs)) / (p.lens.Half * p.lens.Half)
	}
	start, best := *p, p.explains(prior, c, list)
	for _, k1 := range [...]float64{-0.06, -0.03, 0, 0.03, 0.06} {
		q := start
		q.lens.K1, q.lens.K2 = k1, 0
		q.lens.F *= (1 + r2*(start.lens.K1+r2*start.lens.K2)) / (1 + r2*k1)
		g, ok := settle(&q, prior, c, list)
		if !ok {
			continue
		}
		if e := q.explains(prior, c, list); e > best {
			*p, best, gate = q, e, g
		}
	}
	return gate
}

// explains returns the logarithm of the likelihood of the points near the
// stars under the pose, half of which are expected to be seen, over that of
// points at random places, and of the prior of the lens.
func (p *pose) explains(prior vector, c *cloud, list []stars.Star) (l float64) {
	for _, q := range pair(c, list, p, c.widest()) {
		pt := &c.pts[q.point]
		v := pt.variance + 0.25*minError*minError
		l += math.Log(0.5 + 0.5*math.Exp(-(q.ex*q.ex+q.ey*q.ey)/(2*v))/(2*math.Pi*v*c.density))
	}
	mean := p.beyond(c)
	for i := iK1; i < unknowns; i++ {
		l -= mean[i] * mean[i] / (2 * prior[i] * prior[i])
	}
	return l
}

// beyond returns how far the lens is from an ideal one in the middle of the
// picture.
func (p *pose) beyond(c *cloud) vector {
	return vector{iK1: p.lens.K1, iK2: p.lens.K2, iCX: p.lens.CX - (c.w-1)/2, iCY: p.lens.CY - (c.h-1)/2}
}

// widest returns the gate, px, at which chance fills the share chanceShare of
// all gates; at most 8 px, beyond which the lens is not understood.
func (c *cloud) widest() float64 {
	return max(1, min(8, math.Sqrt(chanceShare/(math.Pi*c.density))))
}

// convincing reports whether so many stars of the list found a point that
// chance is out of the question: e^15 to 1 in the likelihood of the share of
// those that did. It is a second opinion on the whole frame, independent of how
// the pose was reached.
func (c *cloud) convincing(list []stars.Star, pairs []pairing, p *pose, gate float64) bool {
	within := 0
	for _, s := range list {
		if x, y, ok := p.project(s.Pos.Vec()); ok && x >= 0 && y >= 0 && x < c.w && y < c.h {
			within++
		}
	}
	return c.weight(within, len(pairs), gate) > 15
}

// weight returns the logarithm of how much likelier it is that m of n stars find a
// point within the gate than by chance, 0 when there are too few.
func (c *cloud) weight(n, m int, gate float64) float64 {
	if m < minStars || n < 1 {
		return 0
	}
	q := 1 - math.Exp(-c.density*math.Pi*gate*gate)
	share := min(float64(m)/float64(n), 1-1e-9)
	if share <= q {
		return 0
	}
	return float64(n) * (share*math.Log(share/q) + (1-share)*math.Log((1-share)/(1-q)))
}

// weight returns that of a solution: of the brightest stars in the frame, as many
// as there are detected ones, and the matches among them.
func (s *Solution) weight(f *detect.Field, k *checker) float64 {
	all := makeCloud(f, maxMatches)
	p := pose{camFromSky: s.CamFromSky, lens: s.Lens}
	gate := min(3, all.widest())
	list := k.inFrame(&p, all, len(all.pts))
	return all.weight(len(list), len(pair(all, list, &p, gate)), gate)
}

// inFrame returns the n brightest catalogue stars in and just around the frame,
// brightest first.
func (k *checker) inFrame(p *pose, c *cloud, n int) []stars.Star {
	centre, radius := reach(c.w, c.h, func(x, y float64) sphere.Sky { return sphere.SkyVec(p.camFromSky.Inv().Apply(p.lens.Cam(x, y).Vec())) })
	n = max(n, 40)
	var in []stars.Star
	k.deepEnough(n, float64(radius), 1.2, func(limit float64) int {
		list := k.list.Cone(nil, centre, radius*1.02, limit, k.epoch)
		in = slices.DeleteFunc(list, func(s stars.Star) bool {
			x, y, ok := p.project(s.Pos.Vec())
			return !(ok && x > -20 && y > -20 && x < c.w+20 && y < c.h+20)
		})
		return len(in)
	})
	slices.SortFunc(in, func(a, b stars.Star) int { return cmp.Compare(a.V, b.V) })
	return in[:min(n, len(in))]
}

// capArea returns the area of a cap of the sky in square degrees.
func capArea(radius float64) float64 {
	return 2 * math.Pi * (1 - math.Cos(radius)) * (180 / math.Pi) * (180 / math.Pi)
}

func solution(f *detect.Field, all *cloud, list []stars.Star, pairs []pairing, p *pose) *Solution {
	if len(pairs) < minStars {
		return nil
	}
	s := &Solution{Lens: p.lens, CamFromSky: p.camFromSky, W: f.W, H: f.H}
	sum := 0.0
	for _, q := range pairs {
		pt := &all.pts[q.point]
		s.Matches = append(s.Matches, Match{Detected: pt.star, Star: list[q.star], DX: q.ex, DY: q.ey})
		sum += q.ex*q.ex + q.ey*q.ey
	}
	s.RMS = sphere.Angle(math.Sqrt(sum/float64(len(pairs))) / p.lens.F)
	return s
}

// pairing is a point of the cloud and a star of the list.
type pairing struct {
	point, star int
	ex, ey      float64
}

// pair finds, for each star, the point nearest to its predicted place within
// the gate (px), which is widened by the point's own error. A point that falls to several stars goes to the brightest,
// unless another is nearly as bright and nearer.
func pair(all *cloud, list []stars.Star, p *pose, gate float64) []pairing {
	owner := make([]int32, len(all.pts)) // 1 + place in out
	out := make([]pairing, 0, len(all.pts))
	for i, s := range list {
		x, y, ok := p.project(s.Pos.Vec())
		if !ok || x < -gate || y < -gate || x > all.w+gate || y > all.h+gate {
			continue
		}
		best, d2 := -1, 1.0
		all.near(x, y, 2*gate+1, func(j int, q *point) {
			if e := ((q.x-x)*(q.x-x) + (q.y-y)*(q.y-y)) / (gate*gate + min(12*q.variance, 3*gate*gate)); e < d2 {
				best, d2 = j, e
			}
		})
		if best < 0 {
			continue
		}
		q := &all.pts[best]
		n := pairing{best, i, q.x - x, q.y - y}
		if o := owner[best]; o > 0 {
			old := &out[o-1]
			dv := float64(s.V - list[old.star].V)
			nearer := n.ex*n.ex+n.ey*n.ey < old.ex*old.ex+old.ey*old.ey
			if dv < -0.7 || dv < 0.7 && nearer {
				*old = n
			}
			continue
		}
		out = append(out, n)
		owner[best] = int32(len(out))
	}
	return out
}

// fit moves the pose to the least-squares solution over the pairs, one
// Gauss-Newton step, with weights that fall with the residual (Geman-McClure)
// so that wrong pairs do no harm. It returns the robust rms of a coordinate.
func fit(p *pose, prior vector, all *cloud, list []stars.Star, pairs []pairing) (rms float64, ok bool) {
	if len(pairs) < minStars {
		return 0, false
	}
	// Scatter of a coordinate from the median distance of the pairs (Rayleigh).
	d := make([]float64, len(pairs))
	for i, q := range pairs {
		d[i] = math.Hypot(q.ex, q.ey)
	}
	scatter := max(median(d)/1.1774, 0.02)
	n := mat.NewSymDense(unknowns, nil)
	g := make([]float64, unknowns)
	for i := range unknowns {
		if i >= iK1 {
			n.SetSym(i, i, 1/(prior[i]*prior[i]))
		}
	}
	mean := p.beyond(all)
	for i := iK1; i < unknowns; i++ {
		g[i] = -mean[i] / (prior[i] * prior[i])
	}
	for _, q := range pairs {
		x, y, dx, dy, ok := p.derivatives(list[q.star].Pos.Vec())
		if !ok {
			continue
		}
		pt := &all.pts[q.point]
		ex, ey := pt.x-x, pt.y-y
		cat := float64(list[q.star].Err) * p.lens.F
		v := pt.variance + cat*cat + scatter*scatter
		t := 1 + (ex*ex+ey*ey)/(9*v)
		w := 1 / (v * t * t)
		for i := range unknowns {
			g[i] += w * (dx[i]*ex + dy[i]*ey)
			for j := i; j < unknowns; j++ {
				n.SetSym(i, j, n.At(i, j)+w*(dx[i]*dx[j]+dy[i]*dy[j]))
			}
		}
	}
	for i := range iK1 { // a trace of prior keeps the system regular
		n.SetSym(i, i, n.At(i, i)+1e-6)
	}
	var k lsq.Normal
	if !k.Factorize(n) {
		return 0, false
	}
	mv := vector(k.Solve(g))
	if !finite(&mv) {
		return 0, false
	}
	p.move(&mv)
	return scatter, true
}

// finite is true when no unknown is lost.
func finite(v *vector) bool {
	for _, x := range v {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}

func median(x []float64) float64 {
	s := append([]float64(nil), x...)
	return quickselect(s, len(s)/2)
}

// quickselect returns the k-th smallest value and reorders s.
func quickselect(s []float64, k int) float64 {
	lo, hi := 0, len(s)-1
	for lo < hi {
		pivot := s[(lo+hi)/2]
		i, j := lo, hi
		for i <= j {
			for s[i] < pivot {
				i++
			}
			for s[j] > pivot {
				j--
			}
			if i <= j {
				s[i], s[j] = s[j], s[i]
				i++
				j--
			}
		}
		if k <= j {
			hi = j
		} else if k >= i {
			lo = i
		} else {
			break
		}
	}
	return s[k]
}
