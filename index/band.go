// Package index builds star patterns of each size from a star list, keeps them
// on disk, and finds the ones of a given shape.
package index

import (
	"fmt"
	"math"

	"pintle/index/sphere"
)

// scale is one step of pattern size. Stars are chosen so that each square of
// one size holds about the same number of them wherever it lies, the brightest
// there; patterns so that each square is the middle of about the same number.
type scale struct {
	size  sphere.Angle // patterns are size to size*step across
	stars int          // stars chosen per square of one size
	quads int          // patterns kept per square of one size, at most
}

// step is the ratio of neighbouring scales.
const step = math.Sqrt2

// Band is a range of pattern sizes (the distance of the two farthest stars)
// that is built and opened as a whole.
type Band struct {
	Number   int
	Min, Max sphere.Angle
	// cells is the number of cells of a code's unit length: finer for bands
	// with many patterns.
	cells  int
	scales []scale
}

// Name is the band's folder in the store.
func (b Band) Name() string { return fmt.Sprintf("band-%d", b.Number) }

// Suits reports whether patterns of this band are of use for frames of the
// given diagonal: between about 1/5 and the whole of it.
func (b Band) Suits(diagonal sphere.Angle) bool {
	return b.Max > diagonal/5 && b.Min < diagonal*0.8
}

// bands is the whole set, for frames of 0.6 to 60 degrees diagonal. The
// numbers of patterns per square are what 500 MB allow: a field holds several
// hundred of its own size, so that with half of them spoilt by stars that the
// frame lacks some are left (measured in DEVELOPERS.md).
var bands = makeBands()

func makeBands() []Band {
	quads := []int{16, 26, 38, 54, 80, 120, 180, 260, 400, 700, 900, 1200, 1200, 1200}
	stars := []int{4, 4, 5, 5, 6, 6, 7, 7, 8, 8, 8, 8, 8, 8}
	layout := []struct{ scales, cells int }{{2, 32}, {2, 32}, {2, 24}, {3, 20}, {5, 16}}
	var all []Band
	size, at := 0.2*sphere.Degree, 0
	for i, l := range layout {
		b := Band{Number: i, Min: size, cells: l.cells}
		for range l.scales {
			b.scales = append(b.scales, scale{size, stars[at], quads[at]})
			size *= step
			at++
		}
		b.Max = size
		all = append(all, b)
	}
	return all
}

// Bands returns the whole set, narrowest first.
func Bands() []Band { return append([]Band(nil), bands...) }
