package index

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

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

// middle returns three axes of cell k: east and north at its middle, and the
// direction of its middle.
func (g squares) middle(k int) (e, n, c r3.Vec) {
	z := sort.SearchInts(g.first, k+1) - 1
	sl, cl := math.Sincos(2 * math.Pi * (float64(k-g.first[z]) + 0.5) / float64(g.first[z+1]-g.first[z]))
	sb, cb := math.Sincos((float64(z)+0.5)*g.height - math.Pi/2)
	return r3.Vec{X: -sl, Y: cl}, r3.Vec{X: -sb * cl, Y: -sb * sl, Z: cb}, r3.Vec{X: cb * cl, Y: cb * sl, Z: sb}
}
