// Package compass holds the Earth's magnetic field by the World Magnetic
// Model 2025: what a compass needle shows at a place and date.
//
// Source: NOAA NCEI and BGS, The US/UK World Magnetic Model for 2025-2030; the
// coefficients are in the public domain. Spherical harmonics to degree and
// order 12 about the WGS84 ellipsoid, with a linear change from 2025.0. Valid
// from 2025.0 to 2030.0 and from 1 km below the ellipsoid to 850 km above.
//
// Left out, as in every model of the Earth's core: rock near the surface,
// steel, currents in the upper air. The published standard error of the
// declination, 0.26 degrees and more where the horizontal field is weak,
// allows for the rock and the currents and not for steel.
package compass
