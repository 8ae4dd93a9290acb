// Package detect finds the stars of a picture: places with their errors, and
// brightnesses. It needs to know nothing of the camera; noise, star size and
// brightness scale are measured on the picture itself.
package detect

import (
	"fmt"
	"runtime"

	"pintle/solve/frame"
)

// Flags of a star.
const (
	Saturated uint8 = 1 << iota // its core holds full pixels; the place comes from its flanks
	Edge                        // part of its image lies beyond the frame
	Blended                     // another star overlaps it
	Elongated                   // longer than the frame's stars at that place
	Uncertain                   // fits the shape of the frame's stars badly
)

// Star is a star image. Pixel (0, 0) is the centre of the first pixel of the
// first row. X counts columns, Y rows. A trailed star's place is the centre of
// its trail.
type Star struct {
	X, Y       float64
	ErrX, ErrY float64 // standard errors, pixels
	Flux       float64 // sum over its image above the background, in the picture's units
	ErrFlux    float64 // standard error of Flux
	Peak       float64 // highest pixel above the background
	FWHM       float64 // geometric mean of its two axes, pixels; of the frame's model at that place when too faint to measure
	Elongation float64 // long axis over short, at least 1
	Flags      uint8
}

// Options steer Find; the zero value is good for nearly every picture.
type Options struct {
	Limit   int     // at most so many stars, 0 = 1000
	Sigma   float64 // least signal to noise of a star, 0 = 5
	Workers int     // goroutines, 0 = as many as there are processors
}

// Field is what was found in a picture, and what the picture is like.
type Field struct {
	W, H  int
	Stars []Star // brightest first
	Found int    // stars measured before Options.Limit was applied; of very many only part are

	// Of the frame's stars; FWHM is 0 when there are none to tell.
	FWHM       float64 // in the middle of the frame, pixels, geometric mean of both axes
	Elongation float64 // long axis over short, at least 1
	Angle      float64 // direction of the long axis, radians from +x toward +y, in (-pi/2, pi/2]
	Hollow     bool    // their middle is darker than their rim: far out of focus

	// Of the picture, in its units.
	Background float64 // median level
	Noise      float64 // rms of a background pixel
	Full       float64 // value at which pixels are saturated, 0 when none are and nothing says
	Gain       float64 // electrons per unit, as far as the stars' own scatter tells; 0 when unknown
	Flat       bool    // nothing varies: a blank picture

	// Shares of the frame's area, 0 to 1.
	Blown float64 // the background itself is saturated
	Torn  float64 // sharp edges cross: branches, roofs, wires
	Empty float64 // far fewer stars than elsewhere: clouds, obstacles

	Mended   int            // single hot or dead pixels that were ignored
	Rejected map[string]int // what stood out and was no star, by kind, in plain words
}

// Find returns the stars of a picture. A picture without stars is no error:
// the Field then is empty and its other values tell what the picture is like.
func Find(im *frame.Image, o Options) (*Field, error) {
	if err := check(im); err != nil {
		return nil, err
	}
	if o.Limit <= 0 {
		o.Limit = 1000
	}
	if o.Sigma <= 0 {
		o.Sigma = 5
	}
	if o.Workers <= 0 {
		o.Workers = runtime.GOMAXPROCS(0)
	}
	f, p := seek(im, o)
	if p != nil && f.perhapsTrailed() {
		f.lookForTrails(p, o)
	}
	if p != nil {
		f.squeezeTrails(p, o)
	}
	return f, nil
}

// seek is Find on the pixels as they are; the picture is nil where they are too few.
func seek(im *frame.Image, o Options) (*Field, *picture) {
	f := &Field{W: im.W, H: im.H}
	if im.W < 8 || im.H < 8 {
		return f, nil
	}
	p := &picture{im: im, workers: o.Workers, step: stepOf(im)}
	p.least = max(0.3*float64(p.step), 1e-12)
	p.mesh = newMesh(p)
	if p.findBanding(); p.rows != nil {
		p.mesh = newMesh(p)
	}
	p.measureNoise()
	peaks := p.peaks(o.Sigma)
	f.survey(p)
	q, list, by := p.choose(peaks, o.Limit)
	model := q.learnShape(list, min(q.level, 1))
	stars := q.measure(list, model, o.Sigma)
	for i := range stars {
		stars[i] = stars[i].grown(float64(by))
	}
	f.fill(stars, o.Limit)
	f.describe(q, model, float64(by))
	return f, p
}

// choose finds the level of the frame's stars and returns the peaks to be
// measured and the picture to do it on, shrunk when the stars are large.
func (p *picture) choose(peaks []peak, limit int) (q *picture, list []peak, by int) {
	p.level = p.starLevel(peaks)
	list = p.pick(peaks, p.level, limit)
	if n := p.learnShape(list, p.level).level(); n > p.level {
		p.level = n
		list = p.pick(peaks, n, limit)
	}
	if p.level < 2 {
		return p, list, 1
	}
	by = 1 << (p.level - 1)
	for i, k := range list {
		list[i] = k.shrunk(by)
	}
	return p.shrink(by), list, by
}

// check refuses an image whose parts contradict each other.
func check(im *frame.Image) error {
	if im == nil {
		return fmt.Errorf("detect: no image")
	}
	if im.W < 0 || im.H < 0 {
		return fmt.Errorf("detect: image of %d x %d pixels", im.W, im.H)
	}
	for _, n := range []int{len(im.U8), len(im.U16), len(im.F32)} {
		if n != 0 && n != im.W*im.H {
			return fmt.Errorf("detect: %d pixel values for an image of %d x %d", n, im.W, im.H)
		}
	}
	if im.W*im.H > 0 && len(im.U8)+len(im.U16)+len(im.F32) != im.W*im.H {
		return fmt.Errorf("detect: image of %d x %d has not exactly one set of pixels", im.W, im.H)
	}
	return nil
}

// picture is an image with what was measured on it so far.
type picture struct {
	im      *frame.Image
	workers int
	step    float32 // of integer values, 0 for floats
	least   float64 // least credible rms of a pixel: that of rounding
	full    float32 // a pixel at or above is saturated
	mesh    *mesh
	rows    []float32 // what each row has too much; nil without such a pattern
	// noise[n] is the rms of level n's filtered background over the mesh's
	// block rms; see level.
	noise [levels]float32
	// local[n] is the same for each tile of the mesh.
	local    [levels][]float32
	level    int           // on which the frame's stars stand out best
	blocky   bool          // compressed so hard that most of the sky is flat squares
	verdicts [verdicts]int // how many peaks were judged so
	mends    int           // single pixels that were mended
}
