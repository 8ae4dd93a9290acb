package detect

// levels of the pyramid: level n sees the picture averaged over blocks of 2^n
// pixels and smoothed by the binomial kernel 1 4 6 4 1 in both directions,
// near enough a Gaussian with a sigma of one block. Together the levels are
// matched filters for stars of FWHM 1 to 25 pixels; between two of them no
// more than 6 % of the signal to noise is lost. The kernel does not respond to
// a pattern that repeats every two pixels, so a filter mosaic leaves no trace.
const levels = 4

// reach is the distance, in blocks, at which a star's light must have fallen.
const reach = 4

// margin is the number of extra pixel rows on both sides of a stream that the
// coarsest level needs.
const margin = (reach + 3) << (levels - 1)

// layer streams the rows of one level through the filter and hands them to the
// next level. Only a few rows of each level are held at a time.
type layer struct {
	p    *picture
	n    int // level
	w    int // columns of this level
	y    int // row that is pushed next
	k    float32
	h    [5][]float32           // rows filtered along x
	f    [2*reach + 1][]float32 // rows filtered along both axes
	hits [2*reach + 1][]int32   // columns above the threshold in each of f
	cut  []float32              // threshold at the tile columns
	pair []float32              // averages for the next level's row
	half bool                   // the first row of a pair is in
	next *layer
	from int // the pixel rows from <= y < to are this stream's own
	to   int
	done func(l *layer, y int) // called when level row y has its neighbours
	calm *restless
}

// newPyramid returns level 0 of a stream for the pixel rows from <= y < to,
// with a threshold of k sigma; nil for a picture too small to have levels.
func newPyramid(p *picture, from, to int, k float32, done func(l *layer, y int)) *layer {
	var next *layer
	for n := levels - 1; n >= 0; n-- {
		w := p.im.W >> n
		if w < 8 || p.im.H>>n < 8 {
			continue
		}
		l := &layer{p: p, n: n, w: w, k: k, next: next, from: from, to: to, done: done, calm: newRestless(p.mesh, n)}
		for i := range l.h {
			l.h[i] = make([]float32, w)
		}
		for i := range l.f {
			l.f[i] = make([]float32, w)
		}
		l.cut = make([]float32, p.mesh.nx)
		l.pair = make([]float32, w/2+1)
		next = l
	}
	return next
}

// push takes the next row of this level.
func (l *layer) push(row []float32) {
	y := l.y
	l.y++
	smoothX(row[:l.w], l.h[mod(y, len(l.h))])
	l.smoothY(y - 2)
	l.done(l, y-2-reach)
	if l.next == nil {
		return
	}
	if y&1 == 0 {
		halve(row, l.pair)
		l.half = true
	} else if l.half {
		addHalf(row, l.pair)
		l.next.push(l.pair[:l.next.w])
	}
}

// row returns the filtered row y, one of the last 2*reach + 1.
func (l *layer) row(y int) []float32 { return l.f[mod(y, len(l.f))] }

func mod(a, n int) int {
	if a %= n; a < 0 {
		a += n
	}
	return a
}

// smoothY completes the filter for row y and notes where it is above the
// threshold, which is linear between the centres of the mesh's tiles.
func (l *layer) smoothY(y int) {
	var r [5][]float32
	for i := range r {
		r[i] = l.h[mod(y-2+i, len(r))]
	}
	slot := mod(y, len(l.f))
	out, hits := l.f[slot], l.hits[slot][:0]
	m := l.p.mesh
	scale := float32(int(1) << l.n)
	m.threshold((float32(y)+0.5)*scale-0.5, l.k*l.p.noise[l.n], l.cut)
	tile := float32(m.size) / scale
	x := 0
	for i := -1; i < m.nx && x < l.w; i++ {
		// From the centre of tile i to that of the next one; the margins of the
		// frame take the threshold of the outermost tiles.
		end := l.w
		if i < m.nx-1 {
			end = min(int((float32(i)+1.5)*tile), l.w)
		}
		t, dt := l.cut[max(i, 0)], float32(0)
		if i >= 0 && i < m.nx-1 {
			dt = (l.cut[i+1] - t) / tile
			t += dt * (float32(x) + 0.5 - (float32(i)+0.5)*tile)
		}
		hits = smoothPart(&r, out, x, end, t, dt, hits)
		x = end
	}
	l.hits[slot] = hits
}
