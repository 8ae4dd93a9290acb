package solve

import (
	"math"
	"slices"

	"pintle/index/optics"
	"pintle/index/sphere"
	"pintle/index/stars"
)

// isWide reports whether the frame is one of which more than one kind of lens
// may be thought.
func (p *pose) isWide() bool {
	return manyKinds(&p.lens)
}

// manyKinds reports whether a lens is so wide that stars tell kinds apart.
func manyKinds(l *optics.Lens) bool {
	return l.Law != optics.Rectilinear || l.Diagonal() > narrowestWide
}

// priors returns what is thought of the lens before any star is seen.
func (p *pose) priors(w float64) vector {
	if p.isWide() {
		return widePriors(&p.lens, w)
	}
	return priors(w)
}

// laws are the laws that a wide frame is fitted with: the kinds that are made, and
// what lies between the rectilinear one and the next.
var laws = []optics.Law{optics.Rectilinear, 0.4, optics.Stereographic, optics.Equidistant, optics.Equisolid}

// usual returns the logarithm of how much likelier a lens is of this law than of
// others, before any star is seen: most are rectilinear, and few lie between the
// kinds (no source).
func usual(w optics.Law) float64 {
	switch w {
	case optics.Rectilinear:
		return 3
	case w.Kind():
		return 0
	}
	return -3
}

// otherLaws settles the pose of a wide frame with every law, and keeps the one
// that explains the frame best. Each is settled from the middle of the matches
// outward: one false pair far out can bend a lens that is known only in the middle, so
// that it finds no true one there. It returns the gate, px.
func otherLaws(p *pose, prior vector, c *cloud, list []stars.Star, gate float64) float64 {
	if !p.isWide() {
		return gate
	}
	pairs := pair(c, list, p, gate)
	start, best := *p, p.explains(prior, c, list)+usual(p.lens.Law)
	for _, share := range [...]float64{coreShare, 1} {
		core := reachOf(p, c, pairs, share)
		for _, law := range laws {
			q := start
			if !q.lens.As(law, offAxis(&start, core)) {
				continue
			}
			g, ok := outward(&q, prior, c, list, core)
			if !ok {
				continue
			}
			if e := q.explains(prior, c, list) + usual(law); e > best {
				*p, best, gate = q, e, g
			}
		}
	}
	return gate
}

const (
	// coreShare is the share of the matches, from the middle, by which a lens is
	// learnt first, and outStep how much farther out it is looked for others then. (No
	// source, chosen on made-up fields, see cmd/proof.)
	coreShare = 0.6
	outStep   = 1.2
)

// outward settles a pose by the pairs up to a distance from the axis, half-diagonals,
// then by those a little farther out, and so to the corners.
func outward(p *pose, prior vector, c *cloud, list []stars.Star, core float64) (gate float64, ok bool) {
	for r := max(core, 0.1); r < 1; r *= outStep {
		for range 2 {
			pairs := slices.DeleteFunc(pair(c, list, p, c.widest()), func(q pairing) bool { return p.rho(&c.pts[q.point]) > r })
			if _, ok := fit(p, prior, c, list, pairs); !ok {
				return 0, false
			}
		}
	}
	return settle(p, prior, c, list)
}

// rho is how far a point is from the axis, half-diagonals.
func (p *pose) rho(q *point) float64 { return math.Hypot(q.x-p.lens.CX, q.y-p.lens.CY) / p.lens.Half }

// reachOf returns how far from the axis a share of the matches reaches,
// half-diagonals.
func reachOf(p *pose, c *cloud, pairs []pairing, share float64) float64 {
	if len(pairs) == 0 {
		return 1
	}
	var far []float64
	for _, q := range pairs {
		far = append(far, p.rho(&c.pts[q.point]))
	}
	slices.Sort(far)
	return far[int(share*float64(len(far)-1))]
}

// offAxis returns the angle from the axis at so many half-diagonals from it.
func offAxis(p *pose, rho float64) sphere.Angle {
	v := p.lens.Cam(p.lens.CX+rho*p.lens.Half, p.lens.CY).Vec()
	return sphere.Angle(math.Atan2(math.Hypot(v.X, v.Y), v.Z))
}

// Told is what a solution says of the lens.
type Told struct {
	Kind  string  `json:"kind"` // rectilinear, stereographic, equidistant, equisolid or orthographic
	Law   float64 `json:"law"`  // see [optics.Law]
	Focal float64 `json:"focal_px"`
	AxisX float64 `json:"axis_x"`
	AxisY float64 `json:"axis_y"`
	K1    float64 `json:"k1"` // see [optics.Lens]
	K2    float64 `json:"k2"`
	// Diagonal is the angle between opposite corners of the frame, degrees.
	Diagonal float64 `json:"diagonal_deg"`
}

// Told returns what there is to say of the lens.
func (s *Solution) Told() Told {
	l := &s.Lens
	return Told{l.Law.String(), float64(l.Law), l.F, l.CX, l.CY, l.K1, l.K2, s.Diagonal().Degrees()}
}

// Diagonal returns the angle over the diagonal of the frame: the sum of those from
// the middle to two opposite corners.
func (s *Solution) Diagonal() sphere.Angle {
	m := s.Lens.Cam(float64(s.W-1)/2, float64(s.H-1)/2)
	return m.Sep(s.Lens.Cam(-0.5, -0.5)) + m.Sep(s.Lens.Cam(float64(s.W)-0.5, float64(s.H)-0.5))
}

// ManyKinds reports whether the frame is so wide that its stars tell kinds of lenses
// apart.
func (s *Solution) ManyKinds() bool {
	return manyKinds(&s.Lens)
}
