package solve

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"pintle/index/sphere"
	"pintle/index/stars"
	"pintle/solve/detect"
)

// maxMatches bounds the work on the densest frames.
const maxMatches = 1500

// refine matches all detected stars with the catalogue and fits attitude and
// lens to them, by iterated least squares with the priors of the pose as
// further observations. Each round looks as far from the prediction as the
// last round's scatter makes sensible, at places that fall to one star only.
// It returns nil when the fit falls apart.
func refine(f *detect.Field, k *checker, p *pose) *Solution {
	all := makeCloud(f, maxMatches)
	centre := p.camFromSky.Inv().Apply(p.lens.Cam((all.w-1)/2, (all.h-1)/2).Vec())
	radius := 0.0
	for _, c := range [4][2]float64{{0, 0}, {all.w, 0}, {0, all.h}, {all.w, all.h}} {
		v := p.camFromSky.Inv().Apply(p.lens.Cam(c[0], c[1]).Vec())
		radius = max(radius, float64(sphere.SkyVec(v).Sep(sphere.SkyVec(centre))))
	}
	area := 2 * math.Pi * (1 - math.Cos(radius)) * (180 / math.Pi) * (180 / math.Pi)
	limit := magnitudeFor(max(2*float64(len(all.pts)), 20)/area) + 1
	list := k.list.Cone(nil, sphere.SkyVec(centre), sphere.Angle(radius*1.02), limit, k.epoch)

	var pairs []pairing
	gate := 6.0
	for range 8 {
		pairs = pair(all, list, p, gate)
		if len(pairs) < minStars {
			return nil
		}
		rms, ok := fit(p, k.prior, all, list, pairs)
		if !ok {
			return nil
		}
		gate = max(4*rms, 0.8)
	}
	pairs = pair(all, list, p, gate)
	if len(pairs) < minStars || !(p.lens.F > 0) {
		return nil
	}
	s := &Solution{Lens: p.lens, CamFromSky: p.camFromSky, W: f.W, H: f.H}
	sum := 0.0
	for _, q := range pairs {
		x, y, _ := p.project(list[q.star].Pos.Vec())
		pt := &all.pts[q.point]
		s.Matches = append(s.Matches, Match{Detected: pt.star, Star: list[q.star], DX: pt.x - x, DY: pt.y - y})
		sum += (pt.x-x)*(pt.x-x) + (pt.y-y)*(pt.y-y)
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
// the gate (px). A point that falls to several stars goes to the brightest,
// unless another is nearly as bright and nearer. Stars whose
// place is predicted within the gate of a brighter one are left out: which of
// the two was measured is not known.
func pair(all *cloud, list []stars.Star, p *pose, gate float64) []pairing {
	owner := make([]int32, len(all.pts)) // 1 + place in out
	out := make([]pairing, 0, len(all.pts))
	for i, s := range list {
		x, y, ok := p.project(s.Pos.Vec())
		if !ok || x < -gate || y < -gate || x > all.w+gate || y > all.h+gate {
			continue
		}
		best, d2 := -1, gate*gate
		all.near(x, y, gate, func(j int, q *point) {
			if e := (q.x-x)*(q.x-x) + (q.y-y)*(q.y-y); e < d2 {
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
	// Scatter of a coordinate from the median distance of the pairs (Rayleigh).
	d := make([]float64, len(pairs))
	for i, q := range pairs {
		d[i] = math.Hypot(q.ex, q.ey)
	}
	scatter := max(median(d)/1.1774, 0.02)
	n := mat.NewSymDense(unknowns, nil)
	g := mat.NewVecDense(unknowns, nil)
	for i := range unknowns {
		if i >= iK1 {
			n.SetSym(i, i, 1/(prior[i]*prior[i]))
		}
	}
	mean := [unknowns]float64{iK1: p.lens.K1, iK2: p.lens.K2, iCX: p.lens.CX - (all.w-1)/2, iCY: p.lens.CY - (all.h-1)/2}
	for i := iK1; i < unknowns; i++ {
		g.SetVec(i, -mean[i]/(prior[i]*prior[i]))
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
			g.SetVec(i, g.AtVec(i)+w*(dx[i]*ex+dy[i]*ey))
			for j := i; j < unknowns; j++ {
				n.SetSym(i, j, n.At(i, j)+w*(dx[i]*dx[j]+dy[i]*dy[j]))
			}
		}
	}
	for i := range iK1 { // a trace of prior keeps the system regular
		n.SetSym(i, i, n.At(i, i)+1e-6)
	}
	var ch mat.Cholesky
	if !ch.Factorize(n) {
		return 0, false
	}
	var step mat.VecDense
	if ch.SolveVecTo(&step, g) != nil {
		return 0, false
	}
	var mv vector
	for i := range unknowns {
		mv[i] = step.AtVec(i)
		if math.IsNaN(mv[i]) {
			return 0, false
		}
	}
	p.move(&mv)
	return scatter, true
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
