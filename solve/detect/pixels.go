package detect

import (
	"sync"
	"sync/atomic"

	"pintle/solve/frame"
)

// span copies the pixels x0 <= x < x1 of row y into dst.
func span(im *frame.Image, y, x0, x1 int, dst []float32) []float32 {
	dst = dst[:x1-x0]
	a, b := y*im.W+x0, y*im.W+x1
	switch {
	case im.U8 != nil:
		widenBytes(dst, im.U8[a:b])
	case im.U16 != nil:
		widenWords(dst, im.U16[a:b])
	default:
		copy(dst, im.F32[a:b])
	}
	return dst
}

// crop returns a copy of the pixels x0 <= x < x1, y0 <= y < y1.
func crop(im *frame.Image, x0, y0, x1, y1 int) *frame.Image {
	c := &frame.Image{W: x1 - x0, H: y1 - y0}
	switch n := c.W * c.H; {
	case im.U8 != nil:
		c.U8 = make([]uint8, 0, n)
	case im.U16 != nil:
		c.U16 = make([]uint16, 0, n)
	default:
		c.F32 = make([]float32, 0, n)
	}
	for y := y0; y < y1; y++ {
		a, b := y*im.W+x0, y*im.W+x1
		switch {
		case im.U8 != nil:
			c.U8 = append(c.U8, im.U8[a:b]...)
		case im.U16 != nil:
			c.U16 = append(c.U16, im.U16[a:b]...)
		default:
			c.F32 = append(c.F32, im.F32[a:b]...)
		}
	}
	return c
}

// at returns one pixel.
func at(im *frame.Image, x, y int) float32 {
	i := y*im.W + x
	switch {
	case im.U8 != nil:
		return float32(im.U8[i])
	case im.U16 != nil:
		return float32(im.U16[i])
	}
	return im.F32[i]
}

// finite reports whether a pixel is a number that can be reckoned with.
func finite(v float32) bool { return v > -1e30 && v < 1e30 }

// parallel calls f(k) for k = 0..n-1 from the picture's goroutines.
func (p *picture) parallel(n int, f func(k int)) {
	if p.workers == 1 || n == 1 {
		for k := range n {
			f(k)
		}
		return
	}
	var next atomic.Int64
	var wg sync.WaitGroup
	for range min(p.workers, n) {
		wg.Go(func() {
			for {
				k := int(next.Add(1)) - 1
				if k >= n {
					return
				}
				f(k)
			}
		})
	}
	wg.Wait()
}
