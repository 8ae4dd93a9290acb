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
	starA    uint32
	starB    uint32
	mirrored bool
}

// pass is one way of going through a frame's patterns. Passes go from quick and
// strict to slow and tolerant.
type pass struct {
	points     []int   // patterns are made of so many of the brightest points
	neighbours int     // of a point and three of that many nearest ones
	sigma      float64 // tolerance of the code in standard deviations of the places
	slack      float64 // tolerance for what the lens model leaves, fraction
	k1         float64 // distortion that is assumed
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

// flat returns the points on the picture's plane, in half-diagonals from its
// middle, with an assumed distortion taken off.
func flat(c *cloud, order []int, k1 float64) []r3.Vec {
	half := math.Hypot(c.w, c.h) / 2
	out := make([]r3.Vec, len(order))
	for i, j := range order {
		u, v := (c.pts[j].x-(c.w-1)/2)/half, (c.pts[j].y-(c.h-1)/2)/half
		g := 1 - k1*(u*u+v*v)
		out[i] = r3.Vec{X: u * g, Y: v * g}
	}
	return out
}

// lookup finds the stored patterns of one set of four points in one band.
type lookup struct {
	session *index.Session
	band    index.Band
	quads   []index.Quad
	hits    []index.Hit
}

// find calls f with the proposals of the set. v are the directions of its four
// points under some lens, whose tangent plane is all that matters; points are
// the numbers of the points in the cloud.
func (l *lookup) find(v [4]r3.Vec, points [4]int, eps float64, f func(proposal) bool) (bool, error) {
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
			if f(p) {
				return true, nil
			}
		}
	}
	return false, nil
}
