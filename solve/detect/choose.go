package detect

import (
	"cmp"
	"slices"
)

// starLevel returns the pyramid's level on which the frame's stars stand out
// best as single peaks. The strongest peaks vote.
func (p *picture) starLevel(all []peak) int {
	const voters = 400 // no source
	strong := p.calm(all)
	slices.SortFunc(strong, func(a, b peak) int { return cmp.Compare(b.snr, a.snr) })
	g := newGrid(p.im.W, p.im.H, 32)
	var votes [levels]float64
	var count, broken [levels]int
	n := 0
	for i, k := range strong {
		taken, pieces := false, false
		g.near(k.x, k.y, 24, func(id int) bool {
			q := strong[id]
			r := float32(int(3) << max(k.level, q.level))
			taken = abs(q.x-k.x) < r && abs(q.y-k.y) < r
			return !taken
		})
		if taken {
			continue
		}
		g.add(k.x, k.y, i)
		if p.brightest(k) >= p.full {
			continue
		}
		// A disc or a ring falls to pieces on too fine a level.
		for _, q := range strong[i+1:] {
			if q.snr < 0.6*k.snr {
				break
			}
			r := float32(int(6) << k.level)
			pieces = pieces || q.level == k.level && abs(q.x-k.x) < r && abs(q.y-k.y) < r
		}
		count[k.level]++
		if pieces {
			broken[k.level]++
		}
		votes[k.level] += min(float64(k.rise), 30)
		if n++; n >= voters {
			break
		}
	}
	best := 0
	for l, v := range votes {
		if v > votes[best] {
			best = l
		}
	}
	for best < levels-1 && 5*broken[best] > 2*count[best] {
		best++
	}
	return best
}

// calm returns the peaks that lie in no tile where sharp edges cross; all when
// there are hardly any others.
func (p *picture) calm(all []peak) []peak {
	out := make([]peak, 0, len(all))
	for _, k := range all {
		if !p.mesh.tornAt(k.x, k.y) {
			out = append(out, k)
		}
	}
	if len(out) < 20 {
		return slices.Clone(all)
	}
	return out
}

// brightest returns the highest pixel of a peak's inner part.
func (p *picture) brightest(k peak) float32 {
	r := int(1) << k.level
	x, y := int(k.x+0.5), int(k.y+0.5)
	top := float32(0)
	for j := max(y-r, 0); j <= min(y+r, p.im.H-1); j++ {
		for i := max(x-r, 0); i <= min(x+r, p.im.W-1); i++ {
			top = max(top, at(p.im, i, j))
		}
	}
	return top
}

// pick returns the peaks that are worth measuring: those of the stars' level,
// of the next coarser ones where a star is wider or its core is full, and of
// the next finer one where two stars are close.
func (p *picture) pick(all []peak, level, limit int) []peak {
	n := 0
	for _, k := range all {
		if int(k.level) == level {
			n++
		}
	}
	list := make([]peak, 0, n)
	g := newGrid(p.im.W, p.im.H, 32)
	g.things = make([]thing, 0, n)
	take := func(n int, ok func(k peak) bool) {
		for _, k := range all {
			if int(k.level) != n || !ok(k) {
				continue
			}
			r := 2.5 * float32(int(1)<<max(n, level))
			free := true
			g.near(k.x, k.y, r, func(id int) bool {
				q := list[id]
				free = abs(q.x-k.x) > r || abs(q.y-k.y) > r
				return free
			})
			if free {
				g.add(k.x, k.y, len(list))
				list = append(list, k)
			}
		}
	}
	take(level, func(k peak) bool { return true })
	for n := level + 1; n < levels; n++ {
		take(n, func(k peak) bool { return n == level+1 || p.brightest(k) >= p.full })
	}
	if level > 0 {
		take(level-1, func(k peak) bool { return true })
	}
	slices.SortFunc(list, func(a, b peak) int { return cmp.Compare(b.light(), a.light()) })
	return p.thin(list, limit+limit/4+50)
}

// thin keeps n of the peaks, sorted by brightness: the brightest quarter, then
// the brightest of each part of the frame in turn.
func (p *picture) thin(list []peak, n int) []peak {
	if len(list) <= n {
		return list
	}
	keep := spread(len(list), n, func(i int) (x, y float64) { return float64(list[i].x), float64(list[i].y) }, p.im.W, p.im.H)
	out := make([]peak, 0, n)
	for _, i := range keep {
		out = append(out, list[i])
	}
	return out
}

// spread chooses n of count things in order of brightness: the first quarter
// whatever their place, then the first of every part of the frame, then the
// second of every part, and so on. The indices come sorted.
func spread(count, n int, place func(i int) (x, y float64), w, h int) []int {
	if n >= count {
		keep := make([]int, count)
		for i := range keep {
			keep[i] = i
		}
		return keep
	}
	const parts = 8 // a side; no source
	var rank [parts * parts]int
	type entry struct{ i, rank int }
	var rest []entry
	keep := make([]int, 0, n)
	for i := range count {
		if i < n/4 {
			keep = append(keep, i)
			continue
		}
		x, y := place(i)
		c := min(max(int(x*parts/float64(w)), 0), parts-1) + parts*min(max(int(y*parts/float64(h)), 0), parts-1)
		rest = append(rest, entry{i, rank[c]})
		rank[c]++
	}
	slices.SortStableFunc(rest, func(a, b entry) int { return cmp.Compare(a.rank, b.rank) })
	for _, e := range rest[:n-len(keep)] {
		keep = append(keep, e.i)
	}
	slices.Sort(keep)
	return keep
}
