package main

import (
	"maps"
	"math"
	"slices"

	"github.com/hebl/gofa"
)

// Both catalogues, and the two parts of the second, are numbered by right ascension
// at the equinox 1860 (Dreyer 1888, 1895, 1908), so that a number says where about
// an object must be.
const (
	around    = 12        // neighbours on either side that are compared with
	allowed   = 0.7       // degrees along the parallel (no source; the originals' own errors are mostly smaller, and so what is left serves exposures)
	firstOfIC = 1530      // of the second part of the IC
	julian60  = 2400410.5 // 1860 January 3, near enough
)

// misplaced is an object that stands elsewhere than its number says.
type misplaced struct {
	number
	object
	off float64 // degrees along the parallel
}

// outOfSequence finds the objects whose right ascension is not that of their
// neighbours by number.
func outOfSequence(objects map[number]object) (out []misplaced) {
	parts := map[int][]number{}
	for _, n := range slices.SortedFunc(maps.Keys(objects), number.compare) {
		part := 0
		if n.ic {
			part = 1
			if n.n >= firstOfIC {
				part = 2
			}
		}
		parts[part] = append(parts[part], n)
	}
	for part := range 3 {
		out = append(out, outOfOrder(parts[part], objects)...)
	}
	return out
}

func outOfOrder(row []number, objects map[number]object) (out []misplaced) {
	ra := make([]float64, len(row))
	for i, n := range row {
		ra[i] = of1860(objects[n])
	}
	for i, n := range row {
		var off []float64
		for k := 1; k <= around; k++ { // the end is beside the beginning, at 0 h
			before, after := ra[(i+len(row)-k)%len(row)], ra[(i+k)%len(row)]
			off = append(off, math.Remainder(ra[i]-before, 360), math.Remainder(ra[i]-after, 360))
		}
		slices.Sort(off)
		o := objects[n]
		// Beyond the middle half of the neighbours: where numbers are sparse these
		// are far apart.
		beyond := max(off[len(off)/4], -off[len(off)-1-len(off)/4])
		if d := beyond * math.Cos(o.dec*math.Pi/180); d > allowed {
			out = append(out, misplaced{n, o, d})
		}
	}
	return out
}

// of1860 is the right ascension at the mean equinox of 1860, degrees, by the
// precession of IAU 1976.
func of1860(o object) float64 {
	var zeta, z, theta float64
	gofa.Prec76(2451545, 0, julian60, 0, &zeta, &z, &theta)
	var r [3][3]float64
	gofa.Ir(&r)
	gofa.Rz(-zeta, &r)
	gofa.Ry(theta, &r)
	gofa.Rz(-z, &r)
	var p, q [3]float64
	gofa.S2c(o.ra*math.Pi/180, o.dec*math.Pi/180, &p)
	gofa.Rxp(r, p, &q)
	return math.Atan2(q[1], q[0]) * 180 / math.Pi
}
