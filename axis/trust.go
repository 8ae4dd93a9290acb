package axis

import (
	"slices"

	"pintle/axis/place"
)

// trusted returns the sighting without the stars that are too low to be trusted at
// all; see [place.Trust].
func (s Sighting) trusted() Sighting {
	low := func(m Match) bool { return place.Trust(s.Place.Observed(m.Sky)) == 0 }
	if slices.ContainsFunc(s.Matches, low) {
		s.Matches = slices.DeleteFunc(slices.Clone(s.Matches), low)
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
