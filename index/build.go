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
	v0 float32 // magnitude
}

// looks are the magnitudes to which the stars of a strip are gone through in turn, until
// all its squares have what they hold: most levels do without the faint ones, which are
// most of a list (no source).
var looks = [...]float64{6, 8, 10, math.Inf(1)}

// chosen returns the stars of one level in a strip.
func (s strip) chosen(ctx context.Context, list *stars.List, square sphere.Angle, base int) (c chosen) {
	room := (s.grid.first[s.load.to] - s.grid.first[s.load.from]) * perSquare
	for _, faintest := range looks {
		all := s.brightest(ctx, list, faintest)
		if len(all) < room && !math.IsInf(faintest, 1) {
			continue
		}
		if c = choose(all, s, square, base); c.full || ctx.Err() != nil {
			break
		}
	}
	return c
}

// brightest returns the stars of a strip that are not fainter than a magnitude, in order
// of brightness.
func (s strip) brightest(ctx context.Context, list *stars.List, faintest float64) []point {
	const slack = sphere.Arcsecond // for rounding; the zone decides
	south, north := s.grid.edges(s.load)
	var all []point
	if math.IsInf(faintest, 1) {
		all = make([]point, 0, list.CountBetween(south-slack, north+slack))
	}
	list.EachBetween(south-slack, north+slack, faintest, Epoch, func(st stars.Star) bool {
		p := point{st.Pos.Vec(), st.ID, st.V}
		if z := s.grid.zone(p.v.Z); z >= s.load.from && z < s.load.to {
			all = append(all, p)
		}
		return len(all)%1024 != 0 || ctx.Err() == nil
	})
	slices.SortFunc(all, func(x, y point) int {
		if c := cmp.Compare(x.v0, y.v0); c != 0 {
			return c
		}
		return cmp.Compare(x.id, y.id)
	})
	return all
}

// chosen are the stars of one level in a strip, cell by cell, with their
// neighbours.
type chosen struct {
	strip
	first []int // of each loaded cell in stars; the last entry is the total
	stars []point
	slots []uint32  // of each star in the band
	near  [][]int32 // nearest neighbours of each star, nearest first
	full  bool      // every square has as many as it holds: fainter stars change nothing
}

// choose takes the brightest stars of each square. Of stars so close together
// that no frame of this size parts them (the catalogue has many pairs at one
// place) only the first is taken.
// The first slot of the level in its band is base.
func choose(all []point, s strip, square sphere.Angle, base int) chosen {
	c := chosen{strip: s}
	start := s.grid.first[s.load.from]
	total := s.grid.first[s.load.to] - start
	cells := make([][perSquare]int32, total)
	count := make([]uint8, total)
	full := 0
	for i, p := range all {
		k := s.grid.cell(p.v) - start
		n := count[k]
		if n == perSquare || crowded(all, cells[k][:n], p, square) {
			continue
		}
		cells[k][n] = int32(i)
		count[k]++
		if n+1 == perSquare {
			if full++; full == total {
				c.full = true
				break
			}
		}
	}
	c.first = make([]int, total+1)
	for k, n := range count {
		for _, i := range cells[k][:n] {
			c.slots = append(c.slots, uint32(base+(start+k)*perSquare+len(c.stars)-c.first[k]))
			c.stars = append(c.stars, all[i])
		}
		c.first[k+1] = len(c.stars)
	}
	return c
}

// cell returns the range of the stars of a cell of the grid.
func (c *chosen) cell(k int) (from, to int) {
	k -= c.grid.first[c.load.from]
	return c.first[k], c.first[k+1]
}

// zone returns the range of the stars of a zone of the grid.
func (c *chosen) zone(z int) (from, to int) {
	start := c.grid.first[c.load.from]
	return c.first[c.grid.first[z]-start], c.first[c.grid.first[z+1]-start]
}

// crowded reports whether p is within 1/200 of a square of a star.
func crowded(all []point, taken []int32, p point, square sphere.Angle) bool {
	for _, i := range taken {
		if r3.Norm2(r3.Sub(all[i].v, p.v)) < float64(square*square)/4e4 {
			return true
		}
	}
	return false
}

// meet finds the nearest neighbours of every star of the strip and of its
// inner margin.
func (c *chosen) meet(ctx context.Context, l level) {
	c.near = make([][]int32, len(c.stars))
	store := make([]int32, len(c.stars)*l.neighbours)
	shared(ctx, c.meeting.to-c.meeting.from, func() func(z int) {
		var cells []int
		type far struct {
			d2 float64
			i  int32
		}
		var list []far
		return func(z int) {
			first, next := c.zone(c.meeting.from + z)
			for i := first; i < next; i++ {
				p := c.stars[i].v
				list = list[:0]
				reach := l.reach()
				cells = c.grid.near(cells[:0], p, reach)
				for _, m := range cells {
					from, to := c.cell(m)
					for j := from; j < to; j++ {
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
	})
}

// patterns appends the patterns of star i that no earlier star has too.
func (c *chosen) patterns(dst []entry, i int32, l level, lay layout) []entry {
	near := c.near[i]
	for a := range near {
		for b := range a {
			for d := range b {
				s := [4]int32{i, near[a], near[b], near[d]}
				if c.earlier(s) {
					continue
				}
				if e, ok := c.entry(s, l, lay); ok {
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
func (c *chosen) entry(s [4]int32, l level, lay layout) (e entry, ok bool) {
	var v [4]r3.Vec
	for i, j := range s {
		v[i] = c.stars[j].v
	}
	q := MakeQuad(v)
	ia, ib := s[q.Order[0]], s[q.Order[1]]
	a, b := c.stars[ia], c.stars[ib]
	size := math.Sqrt(r3.Norm2(r3.Sub(a.v, b.v))) / float64(l.square)
	if size < narrowest || size > widest {
		return e, false
	}
	return lay.pack(q.Code, q.Mirror, c.slots[ia], c.slots[ib])
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

// made is a band before it is written.
type made struct {
	entries sorter
	pairs   int    // different pairs of stars A, B
	sky     []byte // the stars, slot by slot
}

// patterns makes the patterns of a band, strip by strip. progress is called now
// and then, from several goroutines, with the share done. The caller closes
// the entries, whose files go to the folder scratch.
func patterns(ctx context.Context, b Band, list *stars.List, lim limits, scratch string, progress func(share float64)) (*made, error) {
	grids, base := b.grids()
	m := &made{entries: sorter{dir: scratch, limit: lim.entries}}
	m.sky = make([]byte, 0, base[len(base)-1]*slotSize)
	lay := b.layout()
	for n, l := range b.levels {
		for _, s := range strips(grids[n], l, list, lim) {
			from, to := grids[n].first[s.own.from]*perSquare+base[n], grids[n].first[s.own.to]*perSquare+base[n]
			share := func(x float64) { progress((float64(from) + x*float64(to-from)) / float64(base[len(base)-1])) }
			if err := m.strip(ctx, s, l, list, base[n], lay, share); err != nil {
				m.entries.close()
				return nil, err
			}
		}
	}
	return m, nil
}

// strip adds the patterns and the stars of a strip of a level.
func (m *made) strip(ctx context.Context, s strip, l level, list *stars.List, base int, lay layout, progress func(share float64)) error {
	c := s.chosen(ctx, list, l.square, base)
	if err := ctx.Err(); err != nil {
		return err
	}
	m.sky = c.tabulate(m.sky)
	c.meet(ctx, l)
	zones := s.own.to - s.own.from
	parts := make([][]entry, zones)
	pairs := make([]int, zones)
	shared(ctx, zones, func() func(z int) {
		var seen []uint64
		var list []entry
		return func(z int) {
			list, seen = list[:0], seen[:0]
			from, to := c.zone(s.own.from + z)
			for i := from; i < to; i++ {
				list = c.patterns(list, int32(i), l, lay)
			}
			parts[z] = slices.Clone(list)
			for _, e := range parts[z] {
				a, b := lay.slots(e.bits)
				seen = append(seen, uint64(min(a, b))<<32|uint64(max(a, b)))
			}
			slices.Sort(seen)
			pairs[z] = len(slices.Compact(seen))
			progress(float64(z) / float64(zones))
		}
	})
	if err := ctx.Err(); err != nil {
		return err
	}
	total := 0
	for _, p := range parts {
		total += len(p)
	}
	m.entries.grow(total)
	for z, p := range parts {
		if err := m.entries.add(p); err != nil {
			return err
		}
		m.pairs += pairs[z]
		parts[z] = nil
	}
	return nil
}
