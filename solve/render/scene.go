// Package render makes synthetic photographs of star fields from a list of
// stars, for tests, measurements and demonstrations.
package render

import "pintle/solve/frame"

// Star is a point of light. X, Y is the centroid of its image in pixels, (0, 0)
// being the centre of the first pixel of the first row; Flux is what its whole
// image brings on a bare or a green pixel grid, in electrons.
type Star struct {
	X, Y, Flux float64
	// Red and Blue are the response of red and blue mosaic pixels relative to
	// green; 0 stands for 1. Without a mosaic they have no effect.
	Red, Blue float64
}

// Scene is everything about a photograph but its stars. The zero value of each
// part leaves that part out; W, H and PSF.FWHM are needed.
type Scene struct {
	W, H    int
	Seed    uint64 // the same scene and seed give the same pixels on any machine of one architecture
	PSF     PSF
	Sky     Sky
	Sensor  Sensor
	Defects Defects
	Lights  []Light // nebulae, planets, the Moon
	Streaks []Streak
	// Block, when set, returns the share of sky light that reaches a pixel
	// (1 = clear, 0 = blocked) and the electrons that the obstacle itself
	// brings there: see Roof, Trees and Cloud.
	Block func(x, y int) (pass, own float32)
}

// Sky is the background light.
type Sky struct {
	Level    float64 // electrons per pixel at the frame's centre
	DX, DY   float64 // change across the whole width and height, as a fraction of Level
	Vignette float64 // fraction of all light lost in the corner, growing with the square of the radius
	Red      float64 // response of red mosaic pixels to the sky, relative to green; 0 stands for 1
	Blue     float64 // the same for blue
	Glow     float64 // amplifier glow in electrons at the corner of first row and last column
	GlowSize float64 // its 1/e length in pixels; 0 stands for a tenth of the width
}

// Sensor turns electrons into numbers.
type Sensor struct {
	Gain     float64 // electrons per unit of the picture; 0 stands for 1
	Bias     float64 // units added to every pixel
	Read     float64 // read noise, electrons rms
	FullWell float64 // electrons at which a pixel is full; 0 leaves only the limit of the number format
	Bloom    bool    // what a full pixel cannot hold runs along its column
	Bits     int     // 8 or 16 significant bits; 0 stands for 16; 12 and 14 leave the upper bits unused
	Mosaic   string  // such as "RGGB"; empty for a sensor without colour filters
	NoNoise  bool    // leave out photon and read noise
}

// Defects of the sensor, at places drawn from the seed.
type Defects struct {
	Hot, Dead               int // pixels
	HotColumns, DeadColumns int
	HotElectrons            float64 // mean strength of a hot pixel; 0 stands for 3000. Hot columns carry a tenth.
}

// Light is a round patch: a disc with a sharp rim (Sharp) such as the Moon, or
// a Gaussian glow such as a nebula.
type Light struct {
	X, Y, Radius float64 // pixels; the glow's sigma
	Peak         float64 // electrons per pixel at the centre
	Sharp        bool
}

// Streak is a line of light: a satellite, a meteor, a wire against the glow.
type Streak struct {
	X1, Y1, X2, Y2 float64 // ends, pixels
	Width          float64 // FWHM of its profile, pixels; 0 stands for the PSF's
	Flux           float64 // electrons per pixel of length; negative for a dark wire in front of all
}

// Render draws the stars and returns the picture: 8-bit pixels when
// Sensor.Bits is 8, else 16-bit.
func (s *Scene) Render(stars []Star) *frame.Image {
	light := s.Light(stars)
	s.expose(light)
	im := s.digitise(light)
	s.spoil(im)
	return im
}

// Light returns the electrons expected on each pixel, row-major: stars and sky
// through optics and obstacles, before the sensor adds noise or limits.
func (s *Scene) Light(stars []Star) []float32 {
	light := make([]float32, s.W*s.H)
	s.drawStars(light, stars)
	for _, k := range s.Streaks {
		if k.Flux > 0 {
			s.drawStreak(light, k)
		}
	}
	s.drawSky(light)
	for _, k := range s.Streaks {
		if k.Flux < 0 {
			s.drawStreak(light, k)
		}
	}
	return light
}
