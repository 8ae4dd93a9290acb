package solve

import (
	"fmt"

	"pintle/solve/detect"
)

// reason says in plain words why a frame was not recognised, as far as the
// frame tells. The likeliest cause a person can do something about comes first.
func reason(f *detect.Field) string {
	n := len(f.Stars)
	switch {
	case n == 0:
		return "no stars found: is the lens uncovered, in focus, and the sky clear and dark?"
	case n < minStars:
		return fmt.Sprintf("only %d stars found, at least %d are needed: expose longer or point at clear sky", n, minStars)
	case f.Elongation > 2.5:
		return fmt.Sprintf("the stars are trailed (%.1f times as long as wide): expose shorter, or let the mount track and settle first", f.Elongation)
	case n < 12:
		return fmt.Sprintf("only %d stars found, too few to be sure: expose longer, or point where there are more stars and no cloud", n)
	case f.FWHM > 12:
		return fmt.Sprintf("the stars are %.0f pixels wide: focus first", f.FWHM)
	}
	return fmt.Sprintf("none of the patterns of its %d brightest spots is one of the sky: cloud, trees, lamps or noise taken for stars, or a field of view outside %.1f to %.0f degrees", min(n, 30), 0.6, 60.0)
}
