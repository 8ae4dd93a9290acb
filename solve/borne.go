package solve

import (
	"math"

	"pintle/index/sphere"
	"pintle/index/stars"
)

// A lens is known as far out as stars are found where it draws them. A wide frame that
// was recognised by the stars of one part may have the rest wrong by degrees, and
// false matches there: then what the middle says is right, and what the frame says as
// a whole is not. Ground, trees and haze take stars away, too, but seldom all around.
const (
	// bornCore is the share of the matches, from the middle, that the rest of the frame
	// is held against, and bornTo how far stars are asked for, in parts of the way to
	// the corner, or to the horizon of a fisheye if that is nearer: beyond it haze and
	// roofs are ordinary. bornShare is the share of the stars found in the core that
	// must be found around it; bornOdds the logarithm of the odds against that at
	// which the lens is not believed. (No source, chosen on made-up fields, see
	// cmd/proof.)
	bornCore  = 0.8
	bornTo    = 0.85
	bornShare = 0.4
	bornOdds  = 5
)

// borne reports whether a wide lens is borne by the stars around the core of its
// matches: not so when there are points, but those of the stars are found by chance
// only.
func borne(p *pose, c *cloud, list []stars.Star, pairs []pairing, gate float64) bool {
	edge := 1.0
	if horizon := sphere.Angle(math.Pi / 2); p.lens.Law.Reach() >= horizon {
		edge = min(1, p.lens.F*p.lens.Law.Radius(horizon)/p.lens.Half)
	}
	core := reachOf(p, c, pairs, bornCore)
	zone := func(rho float64) int {
		switch {
		case rho <= core:
			return 0
		case rho < bornTo*edge:
			return 1
		}
		return 2
	}
	var points, found, listed [3]float64
	for i := range c.pts {
		points[zone(p.rho(&c.pts[i]))]++
	}
	for _, q := range pairs {
		found[zone(p.rho(&c.pts[q.point]))]++
	}
	for i := range list {
		if x, y, ok := p.project(list[i].Pos.Vec()); ok && x >= 0 && y >= 0 && x < c.w && y < c.h {
			listed[zone(p.rho(&point{x: x, y: y}))]++
		}
	}
	chance := 1 - math.Exp(-c.density*math.Pi*gate*gate)
	share := bornShare * found[0] / max(1, listed[0])
	if share <= chance || points[1] < share*listed[1] {
		return true // nothing to tell
	}
	odds := found[1]*math.Log(share/chance) + (listed[1]-found[1])*math.Log((1-share)/(1-chance))
	return odds > -bornOdds
}
