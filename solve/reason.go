package solve

import (
	"fmt"
	"strings"

	"pintle/solve/detect"
)

// reasonTied is the reason of a frame that is like two places.
const reasonTied = "two parts of the sky fit its stars nearly as well: expose longer, or point where there are more stars"

// reason says in plain words why a frame was not recognised, as far as the
// frame tells, and what a person can do about it.
func (s *Solver) reason(f *detect.Field) string {
	n, narrowest := len(f.Stars), 0.6
	if s.Deep != nil {
		narrowest = 0.15
	}
	if n == 0 && f.Found == 0 && f.FWHM == 0 && f.Background == 0 {
		return "no stars found: is the lens uncovered and in focus, and the sky clear and dark?"
	}
	var troubles []string
	for _, t := range f.Troubles() {
		if n < 12 && t.Kind == detect.FewStars {
			continue // said below, with advice
		}
		troubles = append(troubles, t.String())
	}
	switch {
	case n < minStars:
		troubles = append(troubles, fmt.Sprintf("%s found, at least %d are needed: is the lens uncovered and in focus? if so, expose longer or point at clear sky", countStars(n), minStars))
	case n < 12:
		troubles = append(troubles, fmt.Sprintf("%d stars found, too few to be sure: expose longer, or point where there are more stars and no cloud", n))
	case len(troubles) == 0:
		troubles = append(troubles, fmt.Sprintf("none of the patterns of its %d brightest spots is one of the sky: cloud, trees, lamps or noise taken for stars, or a field of view outside %.2g to 180 degrees", min(n, maxPoints), narrowest))
	default:
		troubles = append(troubles, "no pattern of its stars is one of the sky")
	}
	if f.W == 2*f.H {
		troubles = append(troubles, "twice as wide as high, it may be a panorama of 360 x 180 degrees, which no lens draws: give a photograph that it was made of")
	}
	return strings.Join(troubles, "; ")
}

// countStars writes a number of stars.
func countStars(n int) string {
	if n == 1 {
		return "1 star"
	}
	return fmt.Sprintf("%d stars", n)
}
