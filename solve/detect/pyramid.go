package detect

import "math"

// levels of the pyramid: level n sees the picture summed over blocks of 2^n
// pixels and smoothed by the binomial kernel 1 4 6 4 1 in both directions,
// near enough a Gaussian with a sigma of one block. Together the levels are
// matched filters for stars of FWHM 1 to 25 pixels; between two of them no
// more than 6 % of the signal to noise is lost. The kernel's response to a
// 2 x 2 pattern is zero, so that a filter mosaic leaves no trace.
const levels = 4

// reach is the distance, in blocks, at which a peak must have fallen.
const reach = 4

// peak is a local maximum of a level.
type peak struct {
	x, y  float32 // pixels
	f     float32 // filtered value above the background, per pixel
	snr   float32 // f over its rms
	rise  float32 // the least rise above its surroundings, over the same rms
	level uint8
}

// layer streams one level's rows through the filter.
type layer struct {
	p     *picture
	n     int // level
	w     int // columns of this level
	y     int // row that is pushed next
	k     float32
	h     [5][]float32           // rows filtered along x
	f     [2*reach + 1][]float32 // rows filtered along both
	hits  [2*reach + 1][]int32   // columns above the threshold in each of f
	limit []float32              // threshold at the tile columns
	pair  []float32              // sums of the first row of a pair, for the next level
	half  bool                   // pair is filled
	next  *layer
	from  int // rows y (pixels) from <= y < to are this stream's own
	to    int
	sink  func(l *layer, y int) // called with a complete set of rows around level row y
}

// newPyramid returns level 0 of a stream for the pixel rows from..to, with the
// threshold k sigma.
func newPyramid(p *picture, from, to int, k float32, sink func(l *layer, y int)) *layer {
	var next *layer
	for n := levels - 1; n >= 0; n-- {
		w := p.im.W >> n
		if w < 8 || p.im.H>>n < 8 {
			continue
		}
		l := &layer{p: p, n: n, w: w, k: k, next: next, from: from, to: to, sink: sink}
		for i := range l.h {
			l.h[i] = make([]float32, w)
		}
		for i := range l.f {
			l.f[i] = make([]float32, w)
		}
		l.limit = make([]float32, p.mesh.nx)
		l.pair = make([]float32, w/2+1)
		next = l
	}
	return next
}

// margin is the number of extra pixel rows on both sides that the coarsest
// level needs.
const margin = (reach + 3) << (levels - 1)

// run streams the picture's rows through all levels.
func (l *layer) run() {
	im := l.p.im
	start := (l.from &^ (1<<(levels-1) - 1)) - margin
	for q := l; q != nil; q = q.next {
		q.y = start >> q.n
	}
	row := make([]float32, im.W)
	for y := start; y < l.to+margin+1<<(levels-1); y++ {
		span(im, min(max(y, 0), im.H-1), 0, im.W, row)
		if im.F32 != nil {
			l.mend(row, y)
		}
		l.push(row)
	}
}

// mend replaces pixels that are no numbers by the background.
func (l *layer) mend(row []float32, y int) {
	for x, v := range row {
		if v-v != 0 {
			row[x], _ = l.p.mesh.at(float32(x), float32(y))
		}
	}
}

// push takes the next row of this level: means over a block.
func (l *layer) push(row []float32) {
	y := l.y
	l.y++
	l.smoothX(row, l.h[mod(y, 5)])
	l.smoothY(y - 2)
	l.sink(l, y-2-reach)
	if l.next == nil {
		return
	}
	if y&1 == 0 {
		halve(row, l.pair)
		l.half = true
		return
	}
	if l.half {
		addHalf(row, l.pair)
		l.next.push(l.pair[:l.next.w])
	}
}

func mod(a, n int) int {
	a %= n
	if a < 0 {
		a += n
	}
	return a
}

// halve sets dst to a quarter of the sums of neighbouring pairs.
func halve(row, dst []float32) {
	dst = dst[:len(row)/2]
	for i := range dst {
		dst[i] = 0.25 * (row[2*i] + row[2*i+1])
	}
}

func addHalf(row, dst []float32) {
	dst = dst[:len(row)/2]
	for i := range dst {
		dst[i] += 0.25 * (row[2*i] + row[2*i+1])
	}
}

// smoothX filters a row by 1 4 6 4 1, not normalised; ends are repeated.
func (l *layer) smoothX(row, dst []float32) {
	n := len(dst)
	row = row[:n]
	clamp := func(i int) float32 { return row[min(max(i, 0), n-1)] }
	for _, i := range []int{0, 1, n - 2, n - 1} {
		dst[i] = clamp(i-2) + clamp(i+2) + 4*(clamp(i-1)+clamp(i+1)) + 6*clamp(i)
	}
	for i := 2; i < n-2; i++ {
		dst[i] = row[i-2] + row[i+2] + 4*(row[i-1]+row[i+1]) + 6*row[i]
	}
}

// smoothY completes the filter for level row y and notes where it exceeds the
// threshold.
func (l *layer) smoothY(y int) {
	r0, r1, r2, r3, r4 := l.h[mod(y-2, 5)], l.h[mod(y-1, 5)], l.h[mod(y, 5)], l.h[mod(y+1, 5)], l.h[mod(y+2, 5)]
	slot := mod(y, len(l.f))
	out, hits := l.f[slot], l.hits[slot][:0]
	n := len(out)
	r0, r1, r2, r3, r4 = r0[:n], r1[:n], r2[:n], r3[:n], r4[:n]
	m := l.p.mesh
	scale := float32(int(1) << l.n)
	m.threshold((float32(y)+0.5)*scale-0.5, l.k*l.p.noise[l.n], l.limit)
	const norm = 1.0 / 256
	x := 0
	tile := float32(m.size) / scale
	for i := 0; i < m.nx && x < n; i++ {
		// From this tile's centre to the next one's; the frame's margins
		// belong to the outermost tiles.
		end := int((float32(i) + 1.5) * tile)
		t, dt := l.limit[i], float32(0)
		if i < m.nx-1 {
			dt = (l.limit[i+1] - t) / tile
		} else {
			end = n
		}
		t += dt * (float32(x) + 0.5 - (float32(i)+0.5)*tile)
		if i == 0 {
			for ; x < n && float32(x)+0.5 < tile/2; x++ {
				v := norm * (r0[x] + r4[x] + 4*(r1[x]+r3[x]) + 6*r2[x])
				out[x] = v
				if v > l.limit[0] {
					hits = append(hits, int32(x))
				}
			}
			t = l.limit[0] + dt*(float32(x)+0.5-0.5*tile)
		}
		for end = min(end, n); x < end; x++ {
			v := norm * (r0[x] + r4[x] + 4*(r1[x]+r3[x]) + 6*r2[x])
			out[x] = v
			if v > t {
				hits = append(hits, int32(x))
			}
			t += dt
		}
	}
	l.hits[slot] = hits
}

// peaks returns all local maxima above k sigma, on all levels.
func (p *picture) peaks(k float64) []peak {
	strips := max(1, min(2*p.workers, p.im.H/256))
	found := make([][]peak, strips)
	p.parallel(strips, func(s int) {
		from, to := s*p.im.H/strips, (s+1)*p.im.H/strips
		if l := newPyramid(p, from, to, float32(k), func(l *layer, y int) {
			found[s] = l.collect(y, found[s])
		}); l != nil {
			l.run()
		}
	})
	var all []peak
	for _, f := range found {
		all = append(all, f...)
	}
	return all
}

// collect appends the peaks of level row y, which has all its neighbours.
func (l *layer) collect(y int, dst []peak) []peak {
	scale := float32(int(1) << l.n)
	py := (float32(y)+0.5)*scale - 0.5
	if py < float32(l.from)-0.5 || py >= float32(l.to)-0.5 {
		return dst
	}
	nf := len(l.f)
	up, row, down := l.f[mod(y-1, nf)], l.f[mod(y, nf)], l.f[mod(y+1, nf)]
	for _, hx := range l.hits[mod(y, nf)] {
		x := int(hx)
		v := row[x]
		xl, xr := max(x-1, 0), min(x+1, l.w-1)
		if v <= row[xl] && x > 0 || v < row[xr] || v <= up[xl] || v <= up[x] || v <= up[xr] || v < down[xl] || v < down[x] || v < down[xr] {
			continue
		}
		px := (float32(x)+0.5)*scale - 0.5
		level, sigma := l.p.mesh.at(px, py)
		sigma *= l.p.noise[l.n]
		rise := (v - l.ridge(x, y)) / sigma
		if rise < 0.6*l.k {
			continue
		}
		dx := vertex(row[xl], v, row[xr])
		dy := vertex(up[x], v, down[x])
		dst = append(dst, peak{x: px + dx*scale, y: py + dy*scale, f: v - level, snr: (v - level) / sigma, rise: rise, level: uint8(l.n)})
	}
	return dst
}

// ridge returns the height of the highest ridge through a peak: of opposite
// points around it the lower one counts, so that an edge or a line is as high
// as the peak on it, and a neighbour on one side does not matter.
func (l *layer) ridge(x, y int) float32 {
	nf := len(l.f)
	a, b, c := l.f[mod(y-reach, nf)], l.f[mod(y, nf)], l.f[mod(y+reach, nf)]
	d, e := l.f[mod(y-reach+1, nf)], l.f[mod(y+reach-1, nf)]
	x0, x1 := max(x-reach, 0), min(x+reach, l.w-1)
	x2, x3 := max(x-reach+1, 0), min(x+reach-1, l.w-1)
	high := max(min(b[x0], b[x1]), min(a[x], c[x]))
	return max(high, min(d[x2], e[x3]), min(d[x3], e[x2]))
}

// vertex returns where the parabola through three equidistant values peaks.
func vertex(a, b, c float32) float32 {
	curve := 2*b - a - c
	if curve <= 0 {
		return 0
	}
	d := 0.5 * (c - a) / curve
	return min(max(d, -0.5), 0.5)
}

// measureNoise finds how the rms of each level's background relates to that of
// blocks. For white noise it is 0.273 pixel rms on level 0 and half as much on
// each next level; compression, colour interpolation and resizing correlate
// the noise, clouds and nebulae add to the coarse levels.
func (p *picture) measureNoise() {
	const size = 128
	nx, ny := max(1, p.im.W/size), max(1, p.im.H/size)
	step := max(1, int(math.Sqrt(float64(nx*ny)/150)))
	var spots [][2]int
	for j := step / 2; j < ny; j += step {
		for i := step / 2; i < nx; i += step {
			spots = append(spots, [2]int{i * size, j * size})
		}
	}
	ratios := make([][levels]float32, len(spots))
	p.parallel(len(spots), func(k int) {
		ratios[k] = p.patchNoise(spots[k][0], spots[k][1], size)
	})
	white := float32(0.273 * 2)
	for n := range levels {
		var list []float32
		for _, r := range ratios {
			if r[n] > 0 {
				list = append(list, r[n])
			}
		}
		p.noise[n] = white / float32(int(1)<<n)
		if len(list) > 0 {
			p.noise[n] = max(quantile(list, 0.5), 0.7*p.noise[n])
		}
	}
}

// patchNoise measures one square patch of the picture.
func (p *picture) patchNoise(x0, y0, size int) (ratio [levels]float32) {
	x1, y1 := min(x0+size, p.im.W), min(y0+size, p.im.H)
	sub := &picture{im: crop(p.im, x0, y0, x1, y1), workers: 1}
	sub.noise = p.noise
	_, sigma := p.mesh.at(float32(x0+x1)/2, float32(y0+y1)/2)
	if x1-x0 < 16 || y1-y0 < 16 || sigma <= 0 {
		return ratio
	}
	sub.mesh = &mesh{size: size, nx: 1, ny: 1, level: []float32{math.MaxFloat32}, sigma: []float32{0}}
	var got [levels][]float32
	l := newPyramid(sub, 0, y1-y0, 0, func(l *layer, y int) {
		scale := 1 << l.n
		if y < 0 || (y+1)*scale > y1-y0 {
			return
		}
		row := l.f[mod(y, len(l.f))]
		step := 4 >> l.n
		if step > 1 && y%step != 0 {
			return
		}
		for x := 0; x < len(row); x += max(1, step) {
			mid, _ := p.mesh.at(float32(x0+x*scale), float32(y0+y*scale))
			got[l.n] = append(got[l.n], row[x]-mid)
		}
	})
	if l == nil {
		return ratio
	}
	l.run()
	for n, v := range got {
		if len(v) >= 30 {
			_, s := modeAndSpread(v)
			ratio[n] = s / sigma
		}
	}
	return ratio
}
