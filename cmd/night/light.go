package night

import "math"

// vega is the electrons a second that a star of V = 0 brings on a square
// centimetre of aperture: about 3e6 photons between 400 and 900 nm, half of
// which are counted (common practice, no source). A colour filter passes share.
const (
	vega  = 1.5e6
	share = 0.4
)

// zero returns the electrons of a star of magnitude 0 in one exposure.
func (c *Camera) zero() float64 {
	d := c.Aperture / 10
	z := vega * math.Pi / 4 * d * d * c.Exposure.Seconds()
	if c.Sensor.Mosaic != "" {
		z *= share
	}
	return z
}

// Level returns the electrons that the sky brings on one pixel of a bare or a
// green sensor.
func (n *Night) Level() float64 { return n.spec.level() }

// level returns the electrons that the sky brings on one pixel.
func (s *Spec) level() float64 {
	if s.Sky.Brightness == 0 {
		return 0
	}
	side := s.Camera.lens().Scale().Arcseconds()
	return s.Camera.zero() * math.Pow(10, -0.4*s.Sky.Brightness) * side * side
}

// trace is the ratio of a star's light to the noise under which nothing of it
// shows.
const trace = 0.7

// faintest returns the magnitude at which the light of a star over the noise
// behind it is least.
func (s *Spec) faintest(least float64) float64 {
	psf, read := s.Camera.PSF, s.Camera.Sensor.Read
	sigma := (psf.FWHM + psf.Defocus) / 2.355
	noise := 4 * math.Pi * sigma * sigma * (s.level() + read*read)
	q := least * least
	flux := (q + math.Sqrt(q*q+4*q*noise)) / 2
	return 2.5 * math.Log10(s.Camera.zero()/math.Max(flux, 1))
}

// tint returns the response of red and blue pixels relative to green for a star
// of colour B-V. A star like the Sun, 0.65, is taken as white; V-R is about half
// of B-V (common practice, no source).
func tint(bv float64) (red, blue float64) {
	if math.IsNaN(bv) {
		bv = 0.65
	}
	return 0.8 * math.Pow(10, 0.4*0.5*(bv-0.65)), 0.7 * math.Pow(10, -0.4*0.9*(bv-0.65))
}
