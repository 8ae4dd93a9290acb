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
	return p.lens.Law != optics.Rectilinear || p.lens.Diagonal() > narrowestWide
}

// priors returns what is thought of the lens before any star is seen.
func (p *pose) priors(w float64) vector {
	if p.isWide() {
		return widePriors(w)
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
