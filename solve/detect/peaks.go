package detect

import (
	"math"
	"sync"
)

// peak is a local maximum of a level.
type peak struct {
	x, y  float32 // pixels
	f     float32 // filtered value above the background, per pixel
	snr   float32 // f over its rms
	rise  float32 // the least rise above its surroundings, over the same rms
	level uint8
}

// leastRise is how far a peak must rise above its surroundings, over what it
// must rise above the background: less, since of several noisy ones the highest
// counts (no source).
const leastRise = 0.8

// light is proportional to a peak's flux.
func (k peak) light() float32 { return k.f * float32(int(1)<<(2*k.level)) }

// peaks returns all local maxima above a signal to noise of sigma, on all levels, and sets full.
func (p *picture) peaks(sigma float64) []peak {
	strips := max(1, min(2*p.workers, p.im.H/256))
	found := make([]pile, strips)
	streams := make([]*stream, strips)
	var calm [levels]*restless
	var mu sync.Mutex
	p.parallel(strips, func(s int) {
		from, to := s*p.im.H/strips, (s+1)*p.im.H/strips
		if l := newPyramid(p, from, to, float32(sigma), func(l *layer, y int) {
			found[s].last = l.collect(y, found[s].more())
		}); l != nil {
			streams[s] = p.run(l)
			mu.Lock()
			for ; l != nil; l = l.next {
				if calm[l.n] == nil {
					calm[l.n] = l.calm
				} else {
					calm[l.n].add(l.calm)
				}
			}
			mu.Unlock()
		}
	})
	p.fullScale(streams)
	p.blocky = calm[0] != nil && p.im.F32 == nil && blocky(calm[0])
	for n, r := range calm {
		if r != nil {
			p.local[n] = rms(r, p.noise[n], p.blocky)
		}
	}
	n := 0
	for i := range found {
		n += found[i].len()
	}
	all := make([]peak, 0, n)
	for i := range found {
		for k := range found[i].each {
			if k = p.settle(k); k.snr > float32(sigma) && k.rise > leastRise*float32(sigma) && !p.square(k) {
				all = append(all, k)
			}
		}
	}
	return all
}

// pile gathers peaks without moving those that are in it.
type pile struct {
	full [][]peak
	last []peak
}

// pilePart is how many peaks lie side by side, and pileRow how many a row may bring
// before the last ones are moved after all.
const (
	pilePart = 4096
	pileRow  = 256
)

// more returns the peaks to which more are appended.
func (p *pile) more() []peak {
	if cap(p.last)-len(p.last) < pileRow {
		p.full = append(p.full, p.last)
		p.last = make([]peak, 0, pilePart)
	}
	return p.last
}

func (p *pile) len() int {
	n := len(p.last)
	for _, f := range p.full {
		n += len(f)
	}
	return n
}

// each goes through all peaks, in their order.
func (p *pile) each(yield func(peak) bool) {
	for _, f := range append(p.full, p.last) {
		for _, k := range f {
			if !yield(k) {
				return
			}
		}
	}
}

// blown is the share of full scale at which a background counts as saturated (no
// source).
const blown = 0.97

// settle measures a peak by the noise of its surroundings; where noise changes
// at an edge, by that of its own tile if larger.
func (p *picture) settle(k peak) peak {
	m := p.mesh
	i, j := min(int(k.x)/m.size, m.nx-1), min(int(k.y)/m.size, m.ny-1)
	_, smooth := m.at(k.x, k.y)
	own := m.noise[j*m.nx+i]
	if m.level[j*m.nx+i] >= blown*p.full {
		return peak{}
	}
	f := p.noise[k.level] / p.local[k.level][j*m.nx+i] * smooth / max(smooth, own)
	k.snr *= f
	k.rise *= f
	return k
}

// square reports whether a peak lies in one of the flat squares of 8 x 8 pixels
// that JPEG leaves of faint light.
func (p *picture) square(k peak) bool {
	x0, y0 := min(max(int(k.x+0.5), 0), p.im.W-1)&^7, min(max(int(k.y+0.5), 0), p.im.H-1)&^7
	v := at(p.im, x0, y0)
	if p.im.U8 == nil || v >= p.full {
		return false
	}
	for y := y0; y < min(y0+8, p.im.H); y++ {
		for x := x0; x < min(x0+8, p.im.W); x++ {
			if at(p.im, x, y) != v {
				return false
			}
		}
	}
	return true
}

// fullScale sets the value at which pixels are saturated: what the image says,
// the end of the number range (8 bit pictures are often compressed: near the
// end), or a highest value that more pixels share than
// can by chance; the least of these.
func (p *picture) fullScale(streams []*stream) {
	p.full = math.MaxFloat32
	if p.im.Saturation > 0 {
		p.full = p.im.Saturation
	}
	switch {
	case p.im.U8 != nil:
		p.full = min(p.full, 250)
	case p.im.U16 != nil:
		p.full = min(p.full, 1<<16-1)
	}
	sum := &stream{}
	for _, s := range streams {
		if s != nil {
			sum.add(s)
		}
	}
	p.mends = sum.mends
	level, noise := p.mesh.typical()
	p.full = min(p.full, sum.plateau(float32(level+40*noise)+16*max(p.step, 1)))
}

// add takes in the counts of another part of the picture.
func (s *stream) add(o *stream) {
	s.mends += o.mends
	if s.high == nil {
		s.high = o.high
	} else {
		for v, n := range o.high {
			s.high[v] += n
		}
	}
	if o.top > s.top {
		s.top, s.tops = o.top, 0
	}
	if o.top == s.top {
		s.tops += o.tops
	}
}

// plateau returns the value at which the brightest pixels end: one that at
// least four of them have, more than exceed it (a few hot ones may), and many
// more than have a value somewhat below. It is not looked for below least.
func (s *stream) plateau(least float32) float32 {
	var above uint32
	for v := len(s.high) - 1; v > 0 && float32(v) > least; v-- {
		n := s.high[v]
		if n >= 4 && n > above {
			below := s.high[v-min(v, 4+v/16) : v]
			var sum uint32
			for _, b := range below {
				sum += b
			}
			if int(n)*len(below) > 5*int(sum) {
				return float32(v)
			}
		}
		above += n
	}
	if s.tops >= 4 && s.top > least {
		return s.top
	}
	return math.MaxFloat32
}

// collect appends the peaks of row y, which has all its neighbours.
func (l *layer) collect(y int, dst []peak) []peak {
	scale := float32(int(1) << l.n)
	py := (float32(y)+0.5)*scale - 0.5
	if py < float32(l.from)-0.5 || py >= float32(l.to)-0.5 {
		return dst
	}
	l.calm.see(y, l.row(y), l.row(y-reach))
	up, row, down := l.row(y-1), l.row(y), l.row(y+1)
	for _, h := range l.hits[mod(y, len(l.hits))] {
		x := int(h)
		v := row[x]
		a, b := max(x-1, 0), min(x+1, l.w-1)
		if v <= row[a] && x > 0 || v < row[b] || v <= up[a] || v <= up[x] || v <= up[b] || v < down[a] || v < down[x] || v < down[b] {
			continue
		}
		px := (float32(x)+0.5)*scale - 0.5
		level, sigma := l.p.mesh.at(px, py)
		sigma *= l.p.noise[l.n]
		rise := (v - l.ridge(x, y)) / sigma
		if rise < leastRise*l.k || rise < 0.3*(v-level)/sigma {
			continue
		}
		dst = append(dst, peak{
			x: px + scale*vertex(row[a], v, row[b]), y: py + scale*vertex(up[x], v, down[x]),
			f: v - level, snr: (v - level) / sigma, rise: rise, level: uint8(l.n),
		})
	}
	return dst
}

// around are half of the points around a peak; the others lie opposite.
var around = [8][2]int{{4, 0}, {4, 2}, {3, 3}, {2, 4}, {0, 4}, {-2, 4}, {-3, 3}, {-4, 2}}

// ridge returns the height of the highest ridge through a peak. Of opposite
// points around it the lower one counts: an edge or a line is as high as the
// peak on it, and a neighbour on one side does not matter.
func (l *layer) ridge(x, y int) float32 {
	high := float32(-math.MaxFloat32)
	for _, d := range around {
		a := l.row(y + d[1])[min(max(x+d[0], 0), l.w-1)]
		b := l.row(y - d[1])[min(max(x-d[0], 0), l.w-1)]
		high = max(high, min(a, b))
	}
	return high
}

// vertex returns where the parabola through three equidistant values peaks,
// from the middle one.
func vertex(a, b, c float32) float32 {
	curve := 2*b - a - c
	if curve <= 0 {
		return 0
	}
	return min(max(0.5*(c-a)/curve, -0.5), 0.5)
}

// whiteNoise is the rms of level 0 over that of a 2 x 2 block for white noise:
// 70/256 is the rms that the binomial kernel leaves of a pixel's.
const whiteNoise = 2 * 70.0 / 256

// measureNoise finds how the rms of each level's background relates to that of
// blocks. For white noise it is whiteNoise, and half as much on each next
// level. Compression, colour interpolation and resizing correlate the noise,
// clouds and nebulae add to the coarse levels.
func (p *picture) measureNoise() {
	const size, patches = 128, 30 // no source
	nx, ny := max(1, p.im.W/size), max(1, p.im.H/size)
	// Some thirty, evenly spaced along the rows one after the other: seldom two
	// in one column.
	var corners [][2]int
	for n := range min(patches, nx*ny) {
		k := (2*n + 1) * nx * ny / (2 * min(patches, nx*ny))
		corners = append(corners, [2]int{k % nx * size, k / nx * size})
	}
	ratios := make([][levels]float32, len(corners))
	p.parallel(len(corners), func(k int) {
		ratios[k] = p.patchNoise(corners[k][0], corners[k][1], size)
	})
	for n := range levels {
		white := whiteNoise / float32(int(1)<<n)
		var list []float32
		for _, r := range ratios {
			if r[n] > 0 {
				list = append(list, r[n])
			}
		}
		p.noise[n] = white
		if len(list) > 0 {
			// The calmer patches count: clouds, roofs and nebulae are no noise.
			p.noise[n] = max(quantile(list, 0.3), 0.7*white)
		}
	}
}

// patchNoise measures one square patch of the picture; 0 where it cannot.
func (p *picture) patchNoise(x0, y0, size int) (ratio [levels]float32) {
	x1, y1 := min(x0+size, p.im.W), min(y0+size, p.im.H)
	_, noise := p.mesh.at(float32(x0+x1)/2, float32(y0+y1)/2)
	if x1-x0 < 16 || y1-y0 < 16 || !(noise > 0) {
		return ratio
	}
	sub := &picture{step: p.step, im: crop(p.im, x0, y0, x1, y1), noise: p.noise}
	if p.rows != nil {
		sub.rows = p.rows[y0:y1]
	}
	sub.mesh = &mesh{size: size, nx: 1, ny: 1, level: []float32{math.MaxFloat32}, noise: []float32{noise}}
	l := newPyramid(sub, 0, y1-y0, 0, func(l *layer, y int) {
		if y >= 0 && y<<l.n < y1-y0 {
			l.calm.see(y, l.row(y), l.row(y-reach))
		}
	})
	if l == nil {
		return ratio
	}
	sub.run(l)
	for ; l != nil; l = l.next {
		ratio[l.n] = rms(l.calm, 0, false)[0]
	}
	return ratio
}
