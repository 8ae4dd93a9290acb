package solve

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index"
	"pintle/index/sphere"
)

// proposal is a pattern of the frame that matches one of the index.
type proposal struct {
	a, b     int // points of the cloud
	starA    uint32
	starB    uint32
	mirrored bool
}

// pass is one way of going through a frame's patterns. Passes go from quick and
// strict to slow and tolerant.
type pass struct {
	points  int     // brightest points that patterns are made of
	maxSets int     // patterns looked up at most
	sigma   float64 // tolerance of the code in standard deviations of the places
	slack   float64 // tolerance for what the lens model leaves, fraction
	k1      float64 // distortion that is assumed
}

// sets calls f with each set of four of n points, those of the brightest
// points first, until f returns false.
func sets(n int, f func(s [4]int) bool) {
	for d := 3; d < n; d++ {
		for c := 2; c < d; c++ {
			for b := 1; b < c; b++ {
				for a := range b {
					if !f([4]int{a, b, c, d}) {
						return
					}
				}
			}
		}
	}
}

// flat returns the directions of points under a lens so long that the sky is
// flat, whose unit is the half-diagonal.
func flat(c *cloud, order []int, k1 float64) []r3.Vec {
	const far = 1000
	half := math.Hypot(c.w, c.h) / 2
	out := make([]r3.Vec, len(order))
	for i, j := range order {
		u, v := (c.pts[j].x-(c.w-1)/2)/half, (c.pts[j].y-(c.h-1)/2)/half
		g := 1 - k1*(u*u+v*v)
		out[i] = r3.Unit(r3.Vec{X: u * g, Y: v * g, Z: far})
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
				a: points[q.Order[0]], b: points[q.Order[1]],
				starA: h.A, starB: h.B,
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

// focal returns the focal length in half-diagonals at which a pattern l
// half-diagonals long has the middle size of a band.
func focal(b index.Band, l float64) float64 {
	return l / float64(sphere.Angle(math.Sqrt(float64(b.Min)*float64(b.Max))))
}
