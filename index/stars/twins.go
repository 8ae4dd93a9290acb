package stars

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/spatial/r3"
)

// twinReach is the distance below which two stars of one magnitude are taken
// to be one: 0.05 arcsec, in fine steps (no source: above the errors of a place and
// far below what a ground-based catalogue resolves).
const twinReach = 500

// edgeMost bounds the memory for the stars along the edges of cells (no source).
const edgeMost = 1 << 20

// twins finds stars that were there before: in a cell by their order, across
// the edges of cells by cubes of space. Magnitudes are the same when they are
// within a thousandth.
type twins struct {
	edges map[[3]int32][]edgeStar
	count int // stars in edges
}

type edgeStar struct {
	vec r3.Vec
	v   int
}

// drop returns the stars of a cell without twins, in place; of a pair the
// brighter is kept. Cells come in order.
func (t *twins) drop(cell []item, a *axes) []item {
	kept := cell[:0]
	for _, it := range cell {
		if twinIn(kept, &it) || it.edge() && t.beyond(&it, a) {
			continue
		}
		kept = append(kept, it)
	}
	return kept
}

// twinIn looks for a twin of it among earlier stars of its cell.
func twinIn(kept []item, it *item) bool {
	x, v := it.x(), it.v()
	for dv := range 2 {
		from, to := itemKey(it.cell(), v-dv, x-twinReach, false), itemKey(it.cell(), v-dv, x+twinReach, true)
		i := sort.Search(len(kept), func(i int) bool { return kept[i].key >= from })
		for ; i < len(kept) && kept[i].key <= to; i++ {
			dx, dy := kept[i].x()-x, int(kept[i].y-it.y)
			if dx*dx+dy*dy <= twinReach*twinReach {
				return true
			}
		}
	}
	return false
}

// beyond looks for a twin of it in other cells, and keeps it for them if there
// is none.
func (t *twins) beyond(it *item, a *axes) bool {
	const reach = twinReach * fine
	p := a.at(float64(it.x())*fine, float64(it.y)*fine)
	cube := [3]int32{int32(math.Floor(p.X / reach)), int32(math.Floor(p.Y / reach)), int32(math.Floor(p.Z / reach))}
	for n := range int32(27) {
		near := [3]int32{cube[0] + n%3 - 1, cube[1] + n/3%3 - 1, cube[2] + n/9 - 1}
		for _, e := range t.edges[near] {
			if dv := e.v - it.v(); dv*dv <= 1 && r3.Norm2(r3.Sub(e.vec, p)) <= reach*reach {
				return true
			}
		}
	}
	if t.count < edgeMost {
		if t.edges == nil {
			t.edges = map[[3]int32][]edgeStar{}
		}
		t.edges[cube] = append(t.edges[cube], edgeStar{p, it.v()})
		t.count++
	}
	return false
}
