package detect

import (
	"slices"

	"pintle/solve/frame"
)

// shrink returns the picture averaged over blocks of by x by pixels, for
// measuring stars much larger than a pixel: nothing is lost and far less is to
// be computed. A block with a saturated pixel is saturated, one with a pixel
// that is no number is none. A mosaic's colours are merged.
func (p *picture) shrink(by int) *picture {
	w, h := p.im.W/by, p.im.H/by
	s := &picture{level: 1, blocky: p.blocky, step: p.step, workers: p.workers, full: p.full, least: p.least / float64(by)}
	s.im = &frame.Image{W: w, H: h, F32: make([]float32, w*h)}
	p.parallel(h, func(y int) {
		out := s.im.F32[y*w : (y+1)*w]
		full := make([]bool, w)
		row := make([]float32, w*by)
		for j := range by {
			limit := p.full - p.excess(y*by+j)
			for x, v := range p.span(y*by+j, 0, w*by, row) {
				out[x/by] += v
				full[x/by] = full[x/by] || v >= limit
			}
		}
		for x := range out {
			out[x] /= float32(by * by)
			if full[x] {
				out[x] = max(out[x], p.full)
			}
		}
	})
	m := *p.mesh
	m.size /= by
	m.tint = nil
	m.noise = slices.Clone(m.noise)
	for i := range m.noise {
		m.noise[i] /= float32(by) // of two by two blocks of the new pixels
	}
	s.mesh = &m
	for n := range levels {
		s.local[n] = slices.Clone(p.local[min(n+log2(by), levels-1)])
		for i := range s.local[n] {
			s.local[n][i] *= float32(by)
		}
	}
	return s
}

func log2(n int) (k int) {
	for n > 1 {
		n /= 2
		k++
	}
	return k
}

// shrunk returns a peak in the pixels of a picture shrunk by a factor.
func (k peak) shrunk(by int) peak {
	k.x = (k.x+0.5)/float32(by) - 0.5
	k.y = (k.y+0.5)/float32(by) - 0.5
	k.level -= min(k.level, uint8(log2(by)))
	return k
}

// grown returns a star of a shrunk picture in the pixels of the original.
func (s Star) grown(by float64) Star {
	s.X = (s.X+0.5)*by - 0.5
	s.Y = (s.Y+0.5)*by - 0.5
	s.ErrX *= by
	s.ErrY *= by
	s.Flux *= by * by
	s.ErrFlux *= by * by
	s.FWHM *= by
	return s
}
