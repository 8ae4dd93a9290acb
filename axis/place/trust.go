package place

import "pintle/index/sphere"

// Below lowest no star is trusted, from trustworthy on all are: refraction at 5
// degrees is uncertain by 20 arcsec with the air known, and by more with layers of
// warm and cold air above the ground; at 10 degrees by less than one. See
// [Place.ModelErr].
const (
	lowest      = 5 * sphere.Degree
	trustworthy = 10 * sphere.Degree
)

// Trust returns how far the place of a star that is seen at l can be trusted: 0 below
// 5 degrees altitude, where it must not carry a fit, 1 from 10 degrees on, and a
// straight line between. It is the factor on a star's weight before it is squared.
func Trust(l sphere.Local) float64 {
	_, alt := l.AzAlt()
	return float64(max(0, min(1, (alt-lowest)/(trustworthy-lowest))))
}
