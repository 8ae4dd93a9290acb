package unrest

import (
	"math"

	"pintle/index/sphere"
)

// ImageMotion returns the standard deviation, per coordinate, of the slow part of a
// star's motion by the air, which moves all stars near it alike. Aperture in metres,
// exposure in seconds.
//
// Instantaneous motion: variance 0.18 wavelength^2 aperture^(-1/3) r0^(-5/3)
// (Sarazin & Roddier 1990, A&A 227, 294), with r0 = 0.98 wavelength / seeing. An
// exposure averages what is faster than it: the power below the wind's speed over
// the aperture falls as f^(-2/3) (Martin 1987, PASP 99, 1360), of which the share
// (aperture / (wind exposure))^(1/3) is left. From memory; wind 10 m/s. The outer
// scale of the turbulence, which makes it less, is left out.
func ImageMotion(aperture, exposure float64, seeing sphere.Angle) sphere.Angle {
	const wavelength, wind = 0.55e-6, 10
	r0 := 0.98 * wavelength / float64(seeing)
	v := 0.18 * wavelength * wavelength * math.Pow(aperture, -1/3.) * math.Pow(r0, -5/3.)
	return sphere.Angle(math.Sqrt(v * math.Min(1, math.Pow(aperture/(wind*exposure), 1/3.))))
}
