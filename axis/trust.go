package axis

import (
	"math"
	"slices"

	"pintle/axis/place"
)

// fewestTrusted is how many stars a frame must keep for those to be left out that are
// too low in the sky to be trusted.
const fewestTrusted = 8

// trusted returns the sighting without the stars that are too low to be trusted at
// all, see [place.Trust]; one that has hardly others stays as it is.
func (s Sighting) trusted() Sighting {
	low := func(m Match) bool { return place.Trust(s.Place.Observed(m.Sky)) == 0 }
	kept := slices.DeleteFunc(slices.Clone(s.Matches), low)
	if len(kept) >= fewestTrusted {
		s.Matches = kept
	}
	return s
}

// trusted returns the sightings without the stars that are too low.
func trusted(ss []Sighting) []Sighting {
	out := make([]Sighting, len(ss))
	for i, s := range ss {
		out[i] = s.trusted()
	}
	return out
}

// weighTrust raises the variances of a frame's stars by how much less they are to be
// trusted than the best of them.
func weighTrust(stars []star, trust []float64) {
	const least = 0.05
	best := slices.Max(append(trust, 0))
	for i := range stars {
		if best > 0 {
			t := math.Max(least, trust[i]/best)
			stars[i].variance /= t * t
		}
	}
}
