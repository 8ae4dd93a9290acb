package index

import (
	"cmp"
	"context"
	"math"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
	"pintle/index/stars"
)

// Epoch is the Julian year for whose star places patterns are built. Proper
// motion of the few fast stars spoils their patterns slowly; 25 years move all
// but a hundred stars by less than the patterns' tolerance.
const Epoch = 2027.0

// point is a star as the builder needs it.
type point struct {
	v  r3.Vec
	id uint32
}

// entry is a pattern as it is stored: its cell, its place within the cell, and
// the stars A and B. What C and D are follows from the code.
type entry struct {
	key    uint32
	offset uint32 // 4 times 6 bits
	a, b   uint32 // star numbers; the mirror flag is the top bit of a
}

// brightest returns the stars of a list in order of brightness.
func brightest(list *stars.List) []point {
	type ranked struct {
		point
		mag float32
	}
	all := make([]ranked, 0, list.Len())
	list.Each(math.Inf(1), Epoch, func(s stars.Star) bool {
		all = append(all, ranked{point{s.Pos.Vec(), s.ID}, s.V})
		return true
	})
	slices.SortFunc(all, func(x, y ranked) int {
		if c := cmp.Compare(x.mag, y.mag); c != 0 {
			return c
		}
		return cmp.Compare(x.id, y.id)
	})
	out := make([]point, len(all))
	for i, s := range all {
		out[i] = s.point
	}
	return out
}

// squares cuts the sky into zones of declination and each zone into cells,
// nearly square and of nearly one area.
type squares struct {
	height float64 // of a zone, radians
	first  []int   // number of a zone's first cell; the last entry is the total
}

func makeSquares(size sphere.Angle) squares {
	zones := max(1, int(math.Ceil(math.Pi/float64(size))))
	g := squares{height: math.Pi / float64(zones), first: make([]int, zones+1)}
	for z := range zones {
		mid := (float64(z)+0.5)*g.height - math.Pi/2
		n := max(1, int(math.Round(2*math.Pi*math.Cos(mid)/g.height)))
		g.first[z+1] = g.first[z] + n
	}
	return g
}

func (g squares) total() int { return g.first[len(g.first)-1] }

// zone returns the zone of a height z of the unit vector.
func (g squares) zone(z float64) int {
	n := int((math.Asin(max(-1, min(1, z))) + math.Pi/2) / g.height)
	return max(0, min(len(g.first)-2, n))
}

// cell returns the number of the cell that holds v.
func (g squares) cell(v r3.Vec) int {
	z := g.zone(v.Z)
	n := g.first[z+1] - g.first[z]
	lon := math.Atan2(v.Y, v.X)/(2*math.Pi) + 1
	return g.first[z] + int(lon*float64(n))%n
}

// near appends the cells that may hold points within radius of v.
func (g squares) near(dst []int, v r3.Vec, radius float64) []int {
	dec := math.Asin(max(-1, min(1, v.Z)))
	lon := math.Atan2(v.Y, v.X)/(2*math.Pi) + 1
	lo, hi := g.zone(math.Sin(max(-math.Pi/2, dec-radius))), g.zone(math.Sin(min(math.Pi/2, dec+radius)))
	for z := lo; z <= hi; z++ {
		n := g.first[z+1] - g.first[z]
		half := 0.5 // of a turn
		if c := math.Cos(dec); dec+radius < math.Pi/2 && dec-radius > -math.Pi/2 && math.Sin(radius) < c {
			half = math.Asin(math.Sin(radius)/c) / (2 * math.Pi)
		}
		from, to := int(math.Floor((lon-half)*float64(n))), int(math.Floor((lon+half)*float64(n)))
		if to-from >= n {
			from, to = 0, n-1
		}
		for i := from; i <= to; i++ {
			dst = append(dst, g.first[z]+((i%n)+n)%n)
		}
	}
	return dst
}

// chosen are the stars of one level, cell by cell, with their neighbours.
type chosen struct {
	grid  squares
	first []int // of each cell in stars; the last entry is the total
	stars []point
	near  [][]int32 // nearest neighbours of each star, nearest first
}

// choose takes the brightest stars of each square. Of stars so close together
// that no frame of this size parts them (the catalogue has many pairs at one
// place) only the first is taken.
func choose(all []point, square sphere.Angle) chosen {
	c := chosen{grid: makeSquares(square)}
	total := c.grid.total()
	cells := make([][perSquare]int32, total)
	count := make([]uint8, total)
	full := 0
	for i, p := range all {
		k := c.grid.cell(p.v)
		n := count[k]
		if n == perSquare || crowded(all, cells[k][:n], p, square) {
			continue
		}
		cells[k][n] = int32(i)
		count[k]++
		if n+1 == perSquare {
			if full++; full == total {
				break
			}
		}
	}
	c.first = make([]int, total+1)
	for k, n := range count {
		for _, i := range cells[k][:n] {
			c.stars = append(c.stars, all[i])
		}
		c.first[k+1] = len(c.stars)
	}
	return c
}

// crowded reports whether p is within a hundredth of a square of a star.
func crowded(all []point, taken []int32, p point, square sphere.Angle) bool {
	for _, i := range taken {
		if r3.Norm2(r3.Sub(all[i].v, p.v)) < float64(square*square)/1e4 {
			return true
		}
	}
	return false
}

// meet finds the nearest neighbours of every star.
func (c *chosen) meet(ctx context.Context, l level) {
	c.near = make([][]int32, len(c.stars))
	store := make([]int32, len(c.stars)*l.neighbours)
	zones := len(c.grid.first) - 1
	shared(ctx, zones, func() func(z int) {
		var cells []int
		type far struct {
			d2 float64
			i  int32
		}
		var list []far
		return func(z int) {
			for k := c.grid.first[z]; k < c.grid.first[z+1]; k++ {
				for i := c.first[k]; i < c.first[k+1]; i++ {
					p := c.stars[i].v
					list = list[:0]
					reach := 1.7 * float64(l.square)
					cells = c.grid.near(cells[:0], p, reach)
					for _, m := range cells {
						for j := c.first[m]; j < c.first[m+1]; j++ {
							d2 := r3.Norm2(r3.Sub(c.stars[j].v, p))
							if j == i || d2 > reach*reach {
								continue
							}
							// Insertion into the list of the nearest.
							if len(list) < l.neighbours {
								list = append(list, far{})
							} else if d2 >= list[len(list)-1].d2 {
								continue
							}
							at := len(list) - 1
							for at > 0 && list[at-1].d2 > d2 {
								list[at] = list[at-1]
								at--
							}
							list[at] = far{d2, int32(j)}
						}
					}
					mine := store[i*l.neighbours : i*l.neighbours : (i+1)*l.neighbours]
					for _, f := range list {
						mine = append(mine, f.i)
					}
					c.near[i] = mine
				}
			}
		}
	})
}

// patterns returns the patterns of star i that no earlier star has too.
func (c *chosen) patterns(dst []entry, i int32, l level, cells int) []entry {
	near := c.near[i]
	for a := range near {
		for b := range a {
			for d := range b {
				s := [4]int32{i, near[a], near[b], near[d]}
				if c.earlier(s) {
					continue
				}
				if e, ok := c.entry(s, l, cells); ok {
					dst = append(dst, e)
				}
			}
		}
	}
	return dst
}

// earlier reports whether one of the neighbours comes before the first star
// and has all the others as neighbours: then the pattern is that star's.
func (c *chosen) earlier(s [4]int32) bool {
	for _, q := range s[1:] {
		if q > s[0] {
			continue
		}
		n := 0
		for _, r := range c.near[q] {
			if r == s[0] || r == s[1] || r == s[2] || r == s[3] {
				n++
			}
		}
		if n == 3 {
			return true
		}
	}
	return false
}

// entry packs the pattern of four stars; ok is false when its size is not one
// of the level.
func (c *chosen) entry(s [4]int32, l level, cells int) (e entry, ok bool) {
	var v [4]r3.Vec
	for i, j := range s {
		v[i] = c.stars[j].v
	}
	q := MakeQuad(v)
	a, b := c.stars[s[q.Order[0]]], c.stars[s[q.Order[1]]]
	size := math.Sqrt(r3.Norm2(r3.Sub(a.v, b.v))) / float64(l.square)
	if size < narrowest || size > widest {
		return e, false
	}
	key, offset := quantise(q.Code, cells)
	e = entry{key: key, offset: offset, a: a.id, b: b.id}
	if q.Mirror {
		e.a |= mirrorBit
	}
	return e, true
}

// shared runs work for 0 to n-1 on all processors; make returns a function
// with buffers of its own for each.
func shared(ctx context.Context, n int, make func() func(i int)) {
	var next atomic.Int64
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		work := make()
		wg.Go(func() {
			for i := int(next.Add(1)) - 1; i < n && ctx.Err() == nil; i = int(next.Add(1)) - 1 {
				work(i)
			}
		})
	}
	wg.Wait()
}

// patterns returns all patterns of a band, in no order. progress is called
// now and then, from several goroutines, with the share done.
func patterns(ctx context.Context, b Band, all []point, progress func(share float64)) ([]entry, error) {
	var out []entry
	for n, l := range b.levels {
		c := choose(all, l.square)
		c.meet(ctx, l)
		zones := len(c.grid.first) - 1
		parts := make([][]entry, zones)
		shared(ctx, zones, func() func(z int) {
			return func(z int) {
				for i := c.first[c.grid.first[z]]; i < c.first[c.grid.first[z+1]]; i++ {
					parts[z] = c.patterns(parts[z], int32(i), l, b.cells)
				}
				progress((float64(n) + float64(z)/float64(zones)) / float64(len(b.levels)))
			}
		})
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		total := len(out)
		for _, p := range parts {
			total += len(p)
		}
		out = slices.Grow(out, total-len(out))
		for z, p := range parts {
			out = append(out, p...)
			parts[z] = nil
		}
	}
	return out, nil
}
