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

// chosen are the stars of one scale, by cell.
type chosen struct {
	grid  squares
	stars [][]point
}

// choose takes the brightest n stars of each cell. Of stars so close together
// that no frame of this size parts them (the catalogue has many pairs at one
// place) only the first is taken.
func choose(all []point, size sphere.Angle, n int) chosen {
	c := chosen{grid: makeSquares(size)}
	total := c.grid.total()
	c.stars = make([][]point, total)
	full := 0
	for _, p := range all {
		i := c.grid.cell(p.v)
		if len(c.stars[i]) < n && !crowded(c.stars[i], p, size) {
			c.stars[i] = append(c.stars[i], p)
			if len(c.stars[i]) == n {
				if full++; full == total {
					break
				}
			}
		}
	}
	return c
}

// crowded reports whether p is within a hundredth of size of a star.
func crowded(stars []point, p point, size sphere.Angle) bool {
	for _, s := range stars {
		if r3.Norm2(r3.Sub(s.v, p.v)) < float64(size*size)/1e4 {
			return true
		}
	}
	return false
}

// builder holds one goroutine's buffers.
type builder struct {
	c     chosen
	scale scale
	cells int

	near   []int
	pts    []point
	inner  []int
	lens   []int
	quads  []uint64 // candidates: sum of brightness ranks, then four places in pts
	use    []uint8
	result []entry
}

// cell adds the patterns whose middle, half-way between A and B, lies in the
// cell. Among all there are it prefers bright stars but no star again and again:
// a star that a frame lacks spoils every pattern it is part of.
func (w *builder) cell(number int, centre r3.Vec) {
	g := w.c.grid
	size := float64(w.scale.size)
	// A corner of the cell, and from there the farthest C or D can be.
	reach := size * (0.75 + step*math.Sqrt(3)/2)
	w.near = g.near(w.near[:0], centre, reach)
	w.pts = w.pts[:0]
	for rank := range w.scale.stars { // brightest of each cell first
		for _, i := range w.near {
			if s := w.c.stars[i]; rank < len(s) {
				w.pts = append(w.pts, s[rank])
			}
		}
	}
	w.pts = w.pts[:min(len(w.pts), 256)] // four places are packed into 32 bits
	if len(w.pts) < 4 {
		return
	}
	// A and B are half a pattern from a point of the cell.
	inner := size * (0.75 + step/2)
	w.inner = w.inner[:0]
	for i, p := range w.pts {
		if r3.Norm2(r3.Sub(p.v, centre)) < inner*inner {
			w.inner = append(w.inner, i)
		}
	}
	lo, hi := 2*math.Sin(size/2), 2*math.Sin(size*step/2)
	w.quads = w.quads[:0]
	for m, i := range w.inner {
		for _, j := range w.inner[m+1:] {
			p, q := w.pts[i].v, w.pts[j].v
			d2 := r3.Norm2(r3.Sub(p, q))
			if d2 < lo*lo || d2 >= hi*hi || g.cell(unit(r3.Add(p, q))) != number {
				continue
			}
			w.pair(i, j, d2)
		}
	}
	w.keep()
}

// perPair is the most stars that are tried as C and D of one pair A, B.
const perPair = 10

// pair lists the patterns whose widest pair is stars i and j.
func (w *builder) pair(i, j int, d2 float64) {
	p, q := w.pts[i].v, w.pts[j].v
	w.lens = w.lens[:0]
	for k, r := range w.pts {
		if k != i && k != j && r3.Norm2(r3.Sub(r.v, p)) < d2 && r3.Norm2(r3.Sub(r.v, q)) < d2 {
			if w.lens = append(w.lens, k); len(w.lens) == perPair {
				break
			}
		}
	}
	for m, k := range w.lens {
		for _, l := range w.lens[m+1:] {
			if r3.Norm2(r3.Sub(w.pts[k].v, w.pts[l].v)) < d2 {
				w.quads = append(w.quads, uint64(i+j+k+l)<<32|uint64(i<<24|j<<16|k<<8|l))
			}
		}
	}
}

// members returns the places in pts of a candidate's stars.
func members(c uint64) [4]int {
	return [4]int{int(c >> 24 & 255), int(c >> 16 & 255), int(c >> 8 & 255), int(c & 255)}
}

// keep stores the best of the listed patterns, at most scale.quads of them.
func (w *builder) keep() {
	want := w.scale.quads
	slices.Sort(w.quads)
	w.use = append(w.use[:0], make([]uint8, len(w.pts))...)
	// Each round allows every star some more uses.
	for allowed := max(3, want/6); len(w.quads) > 0 && want > 0 && allowed < 250; allowed *= 2 {
		rest := w.quads[:0]
		for _, c := range w.quads {
			s := members(c)
			if want == 0 {
				break
			}
			if int(max(w.use[s[0]], w.use[s[1]], w.use[s[2]], w.use[s[3]])) >= allowed {
				rest = append(rest, c)
				continue
			}
			for _, i := range s {
				w.use[i]++
			}
			w.result = append(w.result, w.pack(s))
			want--
		}
		w.quads = rest
	}
}

func (w *builder) pack(s [4]int) entry {
	p := [4]point{w.pts[s[0]], w.pts[s[1]], w.pts[s[2]], w.pts[s[3]]}
	q := MakeQuad([4]r3.Vec{p[0].v, p[1].v, p[2].v, p[3].v})
	key, offset := quantise(q.Code, w.cells)
	e := entry{key: key, offset: offset, a: p[q.Order[0]].id, b: p[q.Order[1]].id}
	if q.Mirror {
		e.a |= mirrorBit
	}
	return e
}

// patterns returns all patterns of a band, in no order. progress is called
// now and then, from several goroutines, with the share done.
func patterns(ctx context.Context, b Band, all []point, progress func(share float64)) ([]entry, error) {
	var out []entry
	work := 0.0
	for _, s := range b.scales {
		work += 1 / float64(s.size*s.size)
	}
	before := 0.0
	for _, s := range b.scales {
		c := choose(all, s.size, s.stars)
		var zone atomic.Int64
		zones := len(c.grid.first) - 1
		workers := make([]builder, runtime.GOMAXPROCS(0))
		share := 1 / float64(s.size*s.size) / work
		var wg sync.WaitGroup
		for i := range workers {
			w := &workers[i]
			*w = builder{c: c, scale: s, cells: b.cells}
			wg.Go(func() {
				for ctx.Err() == nil {
					z := int(zone.Add(1)) - 1
					if z >= zones {
						return
					}
					w.zone(z)
					progress(before + share*float64(z+1)/float64(zones))
				}
			})
		}
		wg.Wait()
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		before += share
		for i := range workers {
			out = append(out, workers[i].result...)
			workers[i].result = nil
		}
	}
	return out, nil
}

// zone adds the patterns of all cells of one zone.
func (w *builder) zone(z int) {
	g := w.c.grid
	dec := (float64(z)+0.5)*g.height - math.Pi/2
	n := g.first[z+1] - g.first[z]
	for i := range n {
		lon := 2 * math.Pi * (float64(i) + 0.5) / float64(n)
		w.cell(g.first[z]+i, sphere.SkyAt(sphere.Angle(lon), sphere.Angle(dec)).Vec())
	}
}
