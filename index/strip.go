package index

import (
	"math"

	"pintle/index/sphere"
	"pintle/index/stars"
)

// limits bound the memory that a build takes.
type limits struct {
	stars   int // of the list in a strip
	cells   int // in a strip
	entries int // sorted in memory
}

// The lists up to so many stars, as the embedded one, are treated as a whole.
// The others take some 500 MB, whatever their length.
const wholeStars = 3 << 20

var (
	unlimited = limits{math.MaxInt, math.MaxInt, math.MaxInt}
	bounded   = limits{1 << 19, 1 << 18, 4 << 20}
)

func limitsFor(list *stars.List) limits {
	l := bounded
	if list.Len() <= wholeStars {
		l.stars, l.entries = math.MaxInt, math.MaxInt
	}
	return l
}

// zones is a range of zones: from the first to before the last.
type zones struct{ from, to int }

// strip is a run of zones of a level that is built at once. Patterns are made
// of its own stars. To do so, the neighbours of their neighbours must be known
// as well, so there is a margin of two reaches on either side.
type strip struct {
	grid               squares
	own, meeting, load zones
}

// strips cuts a level. A strip has at least one zone of its own.
func strips(g squares, l level, list *stars.List, lim limits) (all []strip) {
	total := len(g.first) - 1
	margin := int(l.reach()/g.height) + 1
	around := func(z zones, n int) zones { return zones{max(0, z.from-n), min(total, z.to+n)} }
	for from := 0; from < total; {
		own := zones{from, from + 1}
		for own.to < total {
			more := zones{from, own.to + 1}
			if g.first[more.to]-g.first[from] > lim.cells || list.CountBetween(g.edges(more)) > lim.stars {
				break
			}
			own = more
		}
		all = append(all, strip{g, own, around(own, margin), around(own, 2*margin)})
		from = own.to
	}
	return all
}

// edges returns the declinations of the edges of zones.
func (g squares) edges(z zones) (south, north sphere.Angle) {
	return sphere.Angle(float64(z.from)*g.height - math.Pi/2), sphere.Angle(float64(z.to)*g.height - math.Pi/2)
}
