package solve

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index"
)

// proposal is a pattern of the frame that matches one of the index.
type proposal struct {
	points   [4]int // of the cloud, as A, B, C and D
	flip     bool   // the points' code is to be mirrored before it is compared
	code     index.Code
	starA    uint32 // slots in the band
	starB    uint32
	mirrored bool
}

// pass is one way of going through a frame's patterns. Passes go from quick and
// strict to slow and tolerant.
type pass struct {
	points     []int   // patterns are made of so many of the brightest points
	least      int     // the pass is left out for frames of fewer points
	neighbours int     // of a point and three of that many nearest ones
	sigma      float64 // tolerance of the code in standard deviations of the places
	slack      float64 // tolerance for what the lens model leaves, fraction
	k1         float64 // distortion that is assumed
	bite       int     // patterns in the first piece, see bites
	budget     float64 // bound of the work, in proposals that chance makes
	wide       bool    // the bright stars of the whole sky instead of stored patterns
	chance     float64 // of a wide pass: how likely chance may bring a pair as many stars as are asked for
	sweep      bool    // all pairs of stars instead of stored patterns; of the rest slack counts
}

// sets lists the patterns of a pass as places in order, which ranks the
// points: each point with three of its nearest neighbours, as the index has
// them. Near neighbours come first, and of those the bright points.
func (p pass) sets(c *cloud, order []int) [][4]int {
	var out [][4]int
	seen := map[[4]int]bool{}
	for _, n := range p.points {
		n = min(n, len(order))
		near := nearest(c, order[:n], p.neighbours)
		for m := 2; m < p.neighbours; m++ { // the farthest neighbour that takes part
			for i, list := range near {
				if m >= len(list) {
					continue
				}
				for a := range m {
					for b := range a {
						s := [4]int{i, list[m], list[a], list[b]}
						slices.Sort(s[:])
						if !seen[s] {
							seen[s] = true
							out = append(out, s)
						}
					}
				}
			}
		}
		if n == len(order) {
			break
		}
	}
	return out
}

// pattern is four points that are looked up in the index.
type pattern struct {
	points    [4]int  // of the cloud
	faintest  int     // place in order of the last of them
	size      float64 // px
	tolerance float64 // how far the code of the points may be from that of their stars
	cost      float64 // of trying it, in proposals that chance makes
}

// patterns lists what a pass tries, those that chance matches seldom first. It
// leaves out what would cost too much: patterns so uncertain, for their errors
// or their size, that nearly any place in the sky has their like.
func (p pass) patterns(c *cloud, order []int) (out []pattern) {
	for _, s := range p.sets(c, order) {
		q := p.pattern(c, [4]int{order[s[0]], order[s[1]], order[s[2]], order[s[3]]}, s[3])
		if q.size >= math.Hypot(c.w, c.h)/20 {
			out = append(out, q)
		}
	}
	class := func(q pattern) int { return int(math.Log2(q.cost / lookupCost)) }
	slices.SortStableFunc(out, func(a, b pattern) int { return cmp.Compare(class(a), class(b)) })
	total := 0.0
	for i, q := range out {
		if total += q.cost; total > p.budget {
			return out[:i]
		}
	}
	return out
}

// What a pattern costs: lookupCost, and a proposal for each of the stored
// patterns that chance brings within the tolerance (stored: counted, see the
// table of bands in DEVELOPERS.md; the rest: no source, measured).
const (
	lookupCost = 20
	stored     = 65e6
	ballShare  = 26 // volume of a ball in the space of codes, over that of the space
)

func (p pass) pattern(c *cloud, points [4]int, faintest int) pattern {
	variance, size := 0.0, 0.0
	for i := range 4 {
		a := &c.pts[points[i]]
		variance = max(variance, a.variance)
		for j := range i {
			b := &c.pts[points[j]]
			size = max(size, math.Hypot(a.x-b.x, a.y-b.y))
		}
	}
	eps := p.slack + 1.3*p.sigma*math.Sqrt(variance)/size
	return pattern{points, faintest, size, eps, lookupCost + stored*ballShare*eps*eps*eps*eps}
}

// nearest lists for each of the ordered points the places in order of its k
// nearest neighbours.
func nearest(c *cloud, order []int, k int) [][]int {
	out := make([][]int, len(order))
	type far struct {
		d2 float64
		i  int
	}
	var list []far
	for i, p := range order {
		list = list[:0]
		for j, q := range order {
			if i != j {
				dx, dy := c.pts[p].x-c.pts[q].x, c.pts[p].y-c.pts[q].y
				list = append(list, far{dx*dx + dy*dy, j})
			}
		}
		slices.SortFunc(list, func(a, b far) int { return cmp.Compare(a.d2, b.d2) })
		for _, f := range list[:min(k, len(list))] {
			out[i] = append(out[i], f.i)
		}
	}
	return out
}

// lookup finds the stored patterns of one set of four points in one band.
type lookup struct {
	session *index.Session
	band    index.Band
	chances float64 // logarithm of the number of pairs of stars, and of points, that there are
	quads   []index.Quad
	hits    []index.Hit
}

// find calls f with the proposals of the set. v are the directions of its four
// points under some lens, whose tangent plane is all that matters; points are
// the numbers of the points in the cloud.
func (l *lookup) find(v [4]r3.Vec, points [4]int, eps float64, f func(proposal) (bool, error)) (bool, error) {
	l.quads = index.Variants(l.quads[:0], v, eps)
	for _, q := range l.quads {
		var err error
		l.hits, err = l.session.Find(l.hits[:0], q.Code, eps)
		if err != nil {
			return false, err
		}
		for _, h := range l.hits {
			p := proposal{
				points: [4]int{points[q.Order[0]], points[q.Order[1]], points[q.Order[2]], points[q.Order[3]]},
				flip:   q.Mirror, code: h.Code, starA: h.A, starB: h.B,
				// Camera and sky frames are both right-handed, so an ordinary
				// picture keeps the pattern's sense of turning.
				mirrored: h.Mirror != q.Mirror,
			}
			if done, err := f(p); done || err != nil {
				return done, err
			}
		}
	}
	return false, nil
}
