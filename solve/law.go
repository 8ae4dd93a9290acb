package solve

import (
	"math"

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
// that explains the frame best. It returns the gate, px.
func otherLaws(p *pose, prior vector, c *cloud, list []stars.Star, gate float64) float64 {
	if !p.isWide() {
		return gate
	}
	reach := matchedReach(p, c, pair(c, list, p, gate))
	start, best := *p, math.Inf(-1)
	for _, law := range laws {
		q := start
		if !q.lens.As(law, reach) {
			continue
		}
		g, ok := settle(&q, prior, c, list)
		if !ok {
			continue
		}
		if e := q.explains(prior, c, list) + usual(law); e > best {
			*p, best, gate = q, e, g
		}
	}
	return gate
}

// matchedReach returns how far off axis there are matches.
func matchedReach(p *pose, c *cloud, pairs []pairing) (off sphere.Angle) {
	for _, q := range pairs {
		v := p.lens.Cam(c.pts[q.point].x, c.pts[q.point].y).Vec()
		off = max(off, sphere.Angle(math.Atan2(math.Hypot(v.X, v.Y), v.Z)))
	}
	return off
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
