package night

import (
	"math"
	"math/rand/v2"

	"pintle/index/sphere"
	"pintle/solve/render"
)

// demoCamera invents a guide camera, a colour camera or a camera with a lens.
func demoCamera(rng *rand.Rand) Camera {
	c := Camera{W: 1280, H: 960, Pixel: 3.75, Nominal: pick(rng, 120., 130, 160, 180, 200, 240)}
	c.Aperture = c.Nominal / 4
	switch rng.IntN(4) {
	case 0:
		c.W, c.H, c.Pixel, c.Nominal = 1500, 1000, 7.52, pick(rng, 180., 250, 300)
		c.Aperture, c.Sensor.Mosaic = c.Nominal/4, "RGGB"
	case 1:
		c.W, c.H, c.Pixel, c.Nominal = 1536, 1024, 5.86, pick(rng, 50., 85, 105, 135)
		c.Aperture, c.K1 = c.Nominal/2.8, 0.02*rng.NormFloat64()
	}
	c.Focal = c.Nominal * (1 + 0.01*rng.NormFloat64())
	c.K1 += 0.005 * rng.NormFloat64()
	c.OffX, c.OffY = 0.005*float64(c.W)*rng.NormFloat64(), 0.005*float64(c.W)*rng.NormFloat64()
	c.Mirrored = c.W == 1280 && rng.IntN(5) == 0
	c.PSF.FWHM = between(rng, 2, 3)
	c.Vignette = between(rng, 0.1, 0.4)
	c.Sensor.Gain, c.Sensor.Bias, c.Sensor.Read, c.Sensor.FullWell = 0.4, 300, between(rng, 1.5, 3.5), 20000
	c.Defects = render.Defects{Hot: 30 + rng.IntN(100), Dead: rng.IntN(20), HotElectrons: 1500}
	return c
}

// anyCamera invents a camera of so many columns and rows with the given angle
// over the diagonal, but for distortion.
func anyCamera(rng *rand.Rand, diagonal sphere.Angle, size [2]int) Camera {
	c := Camera{W: size[0], H: size[1], Pixel: between(rng, 2.4, 9)}
	half := math.Hypot(float64(c.W), float64(c.H)) / 2 * c.Pixel * 1e-3
	c.Focal = half / (diagonal / 2).Tan()
	c.Aperture = math.Min(200, c.Focal/between(rng, 2, 6))
	if rng.IntN(4) > 0 {
		c.Nominal = math.Max(1, math.Round(c.Focal*(1+0.02*rng.NormFloat64())))
	}
	wide := math.Min(1, diagonal.Degrees()/15)
	c.K1, c.K2 = wide*between(rng, -0.05, 0.03), wide*between(rng, -0.01, 0.01)
	c.OffX, c.OffY = 0.008*float64(c.W)*rng.NormFloat64(), 0.008*float64(c.W)*rng.NormFloat64()
	c.Mirrored = rng.IntN(4) == 0
	c.Vignette = between(rng, 0, 0.6)
	c.PSF.FWHM = between(rng, 1.4, 4.5)
	if rng.IntN(6) == 0 {
		c.PSF.Beta = between(rng, 3, 5)
	}
	if rng.IntN(3) == 0 {
		c.Sensor.Mosaic = pick(rng, "RGGB", "BGGR", "GRBG", "GBRG")
	}
	c.Sensor.Bits = pick(rng, 16, 16, 14, 12, 8)
	c.Sensor.Read, c.Sensor.FullWell = between(rng, 1.2, 6), between(rng, 12000, 60000)
	c.Defects = render.Defects{Hot: rng.IntN(200), Dead: rng.IntN(30), HotElectrons: 1500}
	if rng.IntN(10) == 0 {
		c.Defects.HotColumns, c.Defects.DeadColumns = rng.IntN(3), rng.IntN(3)
	}
	return c
}

// adapt sets a gain that was left open so that the number format holds what the
// pixels hold; with 8 bits, so that the noise shows.
func adapt(s *Spec) {
	e := &s.Camera.Sensor
	switch e.Bits {
	case 8:
		e.Gain, e.Bias = math.Sqrt(s.level()+e.Read*e.Read), 12
		e.FullWell = 240 * e.Gain
	case 12, 14, 16:
		top := float64(int(1)<<e.Bits - 1)
		e.Bias = math.Round(0.02 * top)
		e.Gain = e.FullWell / (0.95 * top)
	}
}
