package solve

import (
	"fmt"

	"pintle/index/sphere"
	"pintle/solve/detect"
)

// Reason says why a frame was not recognised, as far as the frame tells.
type Reason struct {
	Kind     ReasonKind
	Troubles []detect.Trouble // of the picture
	// Stars is how many were found, Tried how many of them were looked up, the
	// brightest, and Least how many it takes.
	Stars, Tried, Least int
	Narrowest           sphere.Angle // field of view that is known, over the diagonal
	// Panorama says that the picture is twice as wide as high, as are those of the whole
	// sky that no lens draws.
	Panorama bool
}

// ReasonKind is a kind of reason.
type ReasonKind int

// The kinds.
const (
	NoStars   ReasonKind = iota // none was found, nor anything else
	TooFew                      // fewer than Least
	FewStars                    // too few to be sure
	NoPattern                   // none of the patterns of the Tried spots is one of the sky
	Tied                        // two parts of the sky fit nearly as well
)

// String tells the reason to developers; people read what package words makes of
// it.
func (r Reason) String() string {
	name := [...]string{"no stars", "too few stars", "few stars", "no pattern", "tied"}[r.Kind]
	return fmt.Sprintf("%s of %d, troubles %v", name, r.Stars, r.Troubles)
}

// reasonTied is the reason of a frame that is like two places.
var reasonTied = Reason{Kind: Tied}

// fewStars are too few to be sure of a frame (see the table of DEVELOPERS.md: from
// 10 true ones on nearly all are recognised).
const fewStars = 12

// narrowest and deepNarrowest are the fields of view that the lists of stars are
// told to serve.
const (
	narrowest     = 0.6 * sphere.Degree
	deepNarrowest = 0.15 * sphere.Degree
)

// reason says why a frame was not recognised.
func (s *Solver) reason(f *detect.Field) Reason {
	n := len(f.Stars)
	r := Reason{Kind: NoPattern, Stars: n, Tried: min(n, maxPoints), Least: minStars, Narrowest: narrowest}
	if s.Deep != nil {
		r.Narrowest = deepNarrowest
	}
	switch {
	case n == 0 && f.Found == 0 && f.FWHM == 0 && f.Background == 0:
		r.Kind = NoStars
		return r
	case n < minStars:
		r.Kind = TooFew
	case n < fewStars:
		r.Kind = FewStars
	}
	r.Troubles, r.Panorama = f.Troubles(), f.W == 2*f.H
	return r
}
