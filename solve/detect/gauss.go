package detect

import "math"

// gaussStep is the distance, in the squared radius, between entries of gaussAt.
const gaussStep = 1.0 / 16

// gaussAt holds exp(-e/2) at the multiples of gaussStep up to gaussEnd.
var gaussAt = func() (t [gaussEnd/gaussStep + 2]float64) {
	for i := range t {
		t[i] = math.Exp(-float64(i) * gaussStep / 2)
	}
	return t
}()

// gaussEnd is how far gauss goes by the table.
const gaussEnd = 64

// gauss returns exp(-e/2) for a squared radius e, in rms widths,
// good to 1e-9 of itself: the nearest lower entry of a table times Taylor's
// polynomial for the rest. Profiles are asked for it at every pixel of a star.
func gauss(e float64) float64 {
	if !(e >= 0 && e < gaussEnd) {
		return math.Exp(-e / 2)
	}
	i := int(e * (1 / gaussStep))
	r := (float64(i)*gaussStep - e) / 2 // 0 to -1/32
	return gaussAt[i] * (1 + r*(1+r*(1.0/2+r*(1.0/6+r/24))))
}
