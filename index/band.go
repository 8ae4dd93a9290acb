// Package index builds star patterns of each size from a star list, keeps them
// on disk, and finds the ones of a given shape.
package index

import (
	"fmt"
	"math"

	"pintle/index/sphere"
)

// level is one density of stars. The sky is cut into squares, and of each the
// brightest stars are taken, so that a level has about the same number of
// stars everywhere, yet within a square, which is about as large as the frames
// the level is for, those that a photograph would show. Patterns are made of a
// star and three of its nearest neighbours on the level: which those are can
// be told from a photograph without knowing where it points, but for stars it
// lacks.
type level struct {
	square     sphere.Angle // side of a square
	neighbours int          // patterns take three of that many
}

// reach is how far neighbours may be apart, radians.
func (l level) reach() float64 { return 0.9 * float64(l.square) }

// perSquare is how many stars a level takes of each square (no source, chosen on
// made-up fields, as are the next two).
const perSquare = 16

// Patterns of a level are between these multiples of its square across.
const (
	narrowest = 0.15
	widest    = 1.2
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
	// The first and the last band of a set serve the frames beyond, too.
	first, last bool
}

// String returns the name of the band.
func (b Band) String() string { return b.Name() }

// Name is the band's folder in the store.
func (b Band) Name() string { return fmt.Sprintf("band-%d", b.Number) }

// Frames returns the range of frame diagonals in which, at the mean density,
// one of the band's levels has between few and many stars.
func (b Band) Frames(few, many float64) (lo, hi sphere.Angle) {
	diagonal := func(l level, stars float64) sphere.Angle {
		return l.square * sphere.Angle(SquaresAcross(stars))
	}
	return diagonal(b.levels[0], few), diagonal(b.levels[len(b.levels)-1], many)
}

// Square returns the side of the squares of a level.
func (b Band) Square(level int) sphere.Angle { return b.levels[level].square }

// SquaresAcross returns the diagonal, in sides of a level's squares, of a frame
// that has so many of the level's stars, at the mean density. Frames are taken
// to be 3 to 4.
func SquaresAcross(stars float64) float64 { return math.Sqrt(stars / perSquare / 0.48) }

// Suits reports whether patterns of this band are of use for frames of the
// given diagonal. The first and the last band of [Bands] serve everything
// beyond, and the first of [DeepBands] everything below.
func (b Band) Suits(diagonal sphere.Angle) bool {
	lo, hi := b.Frames(6, 110)
	return (diagonal >= lo || b.first) && (diagonal <= hi || b.last)
}

// bands is the whole set, for frames of 0.6 to 60 degrees diagonal: each level
// has half as many stars as the one before, the first nearly all there are.
var bands []Band

func init() { bands = makeBands() }

// makeBands lays out the levels. Wider ones have few stars and can afford more
// patterns of each.
func makeBands() []Band {
	layout := []struct {
		cells      int
		neighbours []int
	}{
		{32, []int{6}}, {32, []int{6, 6}}, {24, []int{7, 6, 6}}, {16, []int{9, 9, 9, 9}}, {16, []int{12, 12, 12, 12}},
	}
	var all []Band
	square := 0.5 * sphere.Degree
	for i, l := range layout {
		b := Band{Number: i, Min: narrowest * square, cells: l.cells}
		for _, n := range l.neighbours {
			b.Max = widest * square
			b.levels = append(b.levels, level{square, n})
			square *= math.Sqrt2
		}
		all = append(all, b)
	}
	all[0].first, all[len(all)-1].last = true, true
	return all
}

// Bands returns the whole set, narrowest first.
func Bands() []Band { return append([]Band(nil), bands...) }
