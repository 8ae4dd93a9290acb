// Package index builds star patterns of each size from a star list, keeps them
// on disk, and finds the ones of a given shape.
package index

import (
	"fmt"
	"math"

	"pintle/index/sphere"
)

// level is one density of stars. The sky is cut into squares, and of each the
// brightest few stars are taken, so that a level has about the same number of
// stars everywhere. Patterns are made of a star and three of its nearest
// neighbours on the level: which those are can be told from a photograph
// without knowing where it points, but for stars it lacks.
type level struct {
	square     sphere.Angle // side of a square
	neighbours int          // patterns take three of that many
}

// perSquare is how many stars a level takes of each square.
const perSquare = 4

// Patterns of a level are between these multiples of its square across.
const (
	narrowest = 0.3
	widest    = 2.4
)

// Band is a run of levels that is built and opened as a whole.
type Band struct {
	Number int
	// Min and Max bound the distance of the two farthest stars of a pattern.
	Min, Max sphere.Angle
	// cells is the number of cells of a code's unit length: finer for bands
	// with many patterns.
	cells  int
	levels []level
}

// Name is the band's folder in the store.
func (b Band) Name() string { return fmt.Sprintf("band-%d", b.Number) }

// Frames returns the range of frame diagonals for which patterns of this band
// are of use: one of its levels then has between 6 and 110 stars in a frame of
// common shape. The first and the last band serve everything beyond.
func (b Band) Frames() (lo, hi sphere.Angle) {
	diagonal := func(l level, stars float64) sphere.Angle {
		return l.square * sphere.Angle(math.Sqrt(stars/perSquare/0.48))
	}
	lo, hi = diagonal(b.levels[0], 6), diagonal(b.levels[len(b.levels)-1], 110)
	if b.Number == 0 {
		lo = 0
	}
	if b.Number == len(bands)-1 {
		hi = math.Pi
	}
	return lo, hi
}

// Suits reports whether patterns of this band are of use for frames of the
// given diagonal.
func (b Band) Suits(diagonal sphere.Angle) bool {
	lo, hi := b.Frames()
	return diagonal >= lo && diagonal <= hi
}

// bands is the whole set, for frames of 0.6 to 60 degrees diagonal: each level
// has half as many stars as the one before, the first nearly all there are.
var bands []Band

func init() { bands = makeBands() }

func makeBands() []Band {
	layout := []struct{ levels, neighbours, cells int }{
		{1, 5, 32}, {2, 6, 32}, {3, 7, 24}, {4, 8, 16}, {4, 9, 16},
	}
	var all []Band
	square := 0.25 * sphere.Degree
	for i, l := range layout {
		b := Band{Number: i, Min: narrowest * square, cells: l.cells}
		for range l.levels {
			b.Max = widest * square
			b.levels = append(b.levels, level{square, l.neighbours})
			square *= math.Sqrt2
		}
		all = append(all, b)
	}
	return all
}

// Bands returns the whole set, narrowest first.
func Bands() []Band { return append([]Band(nil), bands...) }
