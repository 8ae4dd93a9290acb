package stars

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// EachBetween calls f for every star not fainter than maxV from one declination to
// another, both included, until f returns false. They come in order of ID. The epoch is
// a Julian year; see Cone.
func (l *List) EachBetween(south, north sphere.Angle, maxV, epoch float64, f func(Star) bool) {
	dt, ok := years(epoch)
	if !ok || !(south <= north) || math.IsNaN(maxV) {
		return
	}
	lo, hi := l.zones(float64(south)-l.reach(dt), float64(north)+l.reach(dt))
	errs := l.errors(dt)
	whole := south <= -math.Pi/2 && north >= math.Pi/2
	s := search{list: l, chord2: math.Inf(1), dt: dt}
	for k, y := range l.header.Layers {
		if !s.enter(y, maxV) {
			return
		}
		for i := lo; i <= hi; i++ {
			z := &l.grid.zones[i]
			if !s.row(z, k, 0, z.count, func(id int, r record, y layer, v r3.Vec) bool {
				st := newStar(id, r, y, v, &errs)
				if whole {
					return f(st)
				}
				_, dec := st.Pos.RADec()
				return dec < south || dec > north || f(st)
			}) {
				return
			}
		}
	}
}

// CountBetween returns the number of stars in the list's zones that two
// declinations are in and those between: never fewer than lie between the
// declinations in 2025. It costs next to nothing.
func (l *List) CountBetween(south, north sphere.Angle) int {
	if !(south <= north) {
		return 0
	}
	n := 0
	lo, hi := l.zones(float64(south)-margin, float64(north)+margin)
	first, end := l.grid.zones[lo].first, l.grid.zones[hi].first+l.grid.zones[hi].count
	for k := range l.header.Layers {
		n += l.row(end, k) - l.row(first, k)
	}
	return n
}

// reach is how far from its cell a star may be, dt years from the epoch.
func (l *List) reach(dt float64) float64 { return margin + l.header.MaxPM*mas*math.Abs(dt) }

// zones returns the zones of two declinations, radians.
func (l *List) zones(south, north float64) (lo, hi int) {
	zone := func(dec float64) int {
		return min(max(int(math.Floor((dec+math.Pi/2)/l.grid.height)), 0), len(l.grid.zones)-1)
	}
	return zone(south), zone(north)
}
