package solve

import (
	"cmp"
	"math"
	"slices"

	"pintle/solve/detect"
)

// point is a detected star as the search needs it.
type point struct {
	x, y     float64
	variance float64 // of x and of y, px^2
	star     int     // place in the list of detected stars
	mag      float64 // -2.5 log10 of the flux
	alike    float64 // share of the points that are as bright, a mag; see compare
}

// cloud is a set of points with a grid for finding the ones near a place.
type cloud struct {
	w, h    float64
	pts     []point
	cell    float64
	nx, ny  int
	first   []int32 // of each cell, into order
	order   []int32
	density float64 // points per px^2
}

// minError is the least error that is believed of a detected place, px: what
// an unmodelled point spread and the catalogue add (no source, chosen on real
// photographs).
const minError = 0.1

// makeCloud takes the detected stars, brightest first, up to limit of them.
func makeCloud(f *detect.Field, limit int) *cloud { return makeShared(f, limit, limit) }

// makeBalanced does the same, but takes no more than half as many again as its share
// of any part of the frame: where ground is in the picture, its lights may outshine
// all stars.
func makeBalanced(f *detect.Field, limit int) *cloud {
	return makeShared(f, limit, limit*3/2/(shares*shares))
}

// shares squared is the number of parts of a frame.
const shares = 4

// makeShared takes up to limit detected stars, no more than most of each part of the
// frame.
func makeShared(f *detect.Field, limit, most int) *cloud {
	c := &cloud{w: float64(f.W), h: float64(f.H)}
	var taken [shares * shares]int
	for i, s := range f.Stars {
		if len(c.pts) == limit {
			break
		}
		v := max(s.ErrX*s.ErrX, s.ErrY*s.ErrY, minError*minError)
		if !(s.X >= -0.5 && s.X < c.w && s.Y >= -0.5 && s.Y < c.h) || math.IsInf(v, 1) || math.IsNaN(v) {
			continue
		}
		part := &taken[min(shares-1, max(0, int(s.Y/c.h*shares)))*shares+min(shares-1, max(0, int(s.X/c.w*shares)))]
		if *part == most {
			continue
		}
		*part++
		c.pts = append(c.pts, point{x: s.X, y: s.Y, variance: v, star: i, mag: -2.5 * math.Log10(max(s.Flux, 1e-30))})
	}
	c.density = float64(len(c.pts)) / (c.w * c.h)
	c.index()
	return c
}

// depth is the number of points that a search for stars counts with: of very few it
// takes some more to be missing (no source).
func (c *cloud) depth() int { return max(12, len(c.pts)) }

// alikeWidth is the standard deviation of the Gaussian, mag, by which points count
// as alike in brightness (no source, chosen on made-up fields, see cmd/proof).
const alikeWidth = 0.8

// compare tells each point how many are as bright: what chance draws from.
func (c *cloud) compare() {
	for i := range c.pts {
		sum := 0.0
		for j := range c.pts {
			d := (c.pts[i].mag - c.pts[j].mag) / alikeWidth
			sum += math.Exp(-d * d / 2)
		}
		c.pts[i].alike = sum / float64(len(c.pts)) / (alikeWidth * math.Sqrt(2*math.Pi))
	}
}

func (c *cloud) index() {
	c.cell = max(8, math.Sqrt(c.w*c.h/float64(len(c.pts)+1)))
	c.nx, c.ny = int(c.w/c.cell)+1, int(c.h/c.cell)+1
	c.first = make([]int32, c.nx*c.ny+1)
	for _, p := range c.pts {
		c.first[c.at(p.x, p.y)+1]++
	}
	for i := 1; i < len(c.first); i++ {
		c.first[i] += c.first[i-1]
	}
	next := slices.Clone(c.first)
	c.order = make([]int32, len(c.pts))
	for i, p := range c.pts {
		k := c.at(p.x, p.y)
		c.order[next[k]] = int32(i)
		next[k]++
	}
}

func (c *cloud) at(x, y float64) int {
	i := max(0, min(c.nx-1, int(x/c.cell)))
	j := max(0, min(c.ny-1, int(y/c.cell)))
	return j*c.nx + i
}

// near calls f with each point whose column and row are within r of x and y.
func (c *cloud) near(x, y, r float64, f func(i int, p *point)) {
	i0, i1 := max(0, int((x-r)/c.cell)), min(c.nx-1, int((x+r)/c.cell))
	j0, j1 := max(0, int((y-r)/c.cell)), min(c.ny-1, int((y+r)/c.cell))
	for j := j0; j <= j1; j++ {
		row := j * c.nx
		if i0 > i1 {
			return
		}
		for _, k := range c.order[c.first[row+i0]:c.first[row+i1+1]] {
			p := &c.pts[k]
			if math.Abs(p.x-x) <= r && math.Abs(p.y-y) <= r {
				f(int(k), p)
			}
		}
	}
}

// ranking orders the points for making patterns: bright ones first, but in
// each part of the frame by turns, as the index prefers stars that are bright
// for their neighbourhood. Points closer together than minSep, which a pattern
// cannot tell apart, follow last.
func (c *cloud) ranking(limit int) []int {
	const parts = 3 // a side; no source
	type ranked struct{ i, round int }
	var seen [parts * parts]int
	var list []ranked
	const minSep = 6.0 // px, two widths of a star or so; no source
	for i := range c.pts {
		p := &c.pts[i]
		part := min(parts-1, int(p.y/c.h*parts))*parts + min(parts-1, int(p.x/c.w*parts))
		round := seen[part] / 2
		c.near(p.x, p.y, minSep, func(j int, _ *point) {
			if j < i {
				round = math.MaxInt
			}
		})
		seen[part]++
		list = append(list, ranked{i, round})
	}
	slices.SortStableFunc(list, func(a, b ranked) int { return cmp.Compare(a.round, b.round) })
	out := make([]int, 0, min(limit, len(list)))
	for _, r := range list {
		if len(out) == limit || r.round == math.MaxInt {
			break
		}
		out = append(out, r.i)
	}
	return out
}
