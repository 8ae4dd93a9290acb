package detect

import (
	"math"
	"slices"

	"pintle/solve/frame"
)

// mesh is the background in tiles, robust against what stands on it. It is
// measured on 2 x 2 pixel blocks: they hold every colour of a filter mosaic
// once, so that a mosaic leaves no trace.
type mesh struct {
	size   int // of a tile, pixels
	nx, ny int
	level  []float32    // mean of a pixel
	noise  []float32    // rms of a block's mean, from differences of neighbours
	torn   []bool       // surfaces of different brightness meet: branches, a roof's edge
	tint   [][4]float32 // what the pixels of a mosaic's cell add to level
}

// tileSize adapts to the frame: large enough to hold a few unfocused stars,
// small enough to follow a gradient.
func tileSize(w, h int) int {
	switch m := min(w, h); {
	case m >= 768:
		return 64
	case m >= 192:
		return 32
	default:
		return 16
	}
}

// newMesh measures the background.
func newMesh(p *picture) *mesh {
	m := &mesh{size: tileSize(p.im.W, p.im.H)}
	m.nx = max(1, (p.im.W+m.size/2)/m.size)
	m.ny = max(1, (p.im.H+m.size/2)/m.size)
	n := m.nx * m.ny
	m.level, m.noise = make([]float32, n), make([]float32, n)
	tiles := make([]tile, n)
	p.parallel(m.ny, func(j int) {
		var s blocks
		for i := range m.nx {
			s.sample(m, p, i, j)
			k := j*m.nx + i
			tiles[k] = s.judge(quantum(p))
			m.level[k], m.noise[k] = tiles[k].level, tiles[k].noise
		}
	})
	m.level = median3(m.level, m.nx, m.ny)
	m.noise = median3(m.noise, m.nx, m.ny)
	m.tear(tiles)
	if p.im.Mosaic != "" {
		m.tints(p)
	}
	return m
}

// quantum is the least credible rms of a block: that of rounding.
func quantum(p *picture) float32 {
	return max(0.29/2*p.step, 1e-12)
}

// stepOf returns the step of an integer picture's values, the largest that all
// of a sample are apart by multiples of: 257 for 8 bits stretched to 16. It is
// 0 for floats.
func stepOf(im *frame.Image) float32 {
	const sample = 4000 // pixels: chance leaves no step out; no source
	n := im.W * im.H
	if im.F32 != nil || n == 0 {
		return 0
	}
	step, first := 0, int(at(im, 0, 0))
	for k := range min(sample, n) {
		i := k * (n / min(sample, n))
		a, b := step, int(at(im, i%im.W, i/im.W))-first
		for b != 0 { // Euclid
			a, b = b, a%b
		}
		if step = max(a, -a); step == 1 {
			break
		}
	}
	return float32(max(step, 1))
}

// blocks is the sample of one tile: means of 2 x 2 blocks and differences of
// diagonal neighbours, which show noise that whole rows or columns share.
type blocks struct{ mean, diff []float32 }

// span returns the pixel range of tile i of count along an axis of length n.
// The last tile takes the remainder.
func (m *mesh) span(i, count, n int) (lo, hi int) {
	lo, hi = i*m.size, (i+1)*m.size
	if i == count-1 {
		hi = n
	}
	return lo, hi
}

// sample takes pairs of blocks from all over a tile.
func (s *blocks) sample(m *mesh, p *picture, i, j int) {
	x0, x1 := m.span(i, m.nx, p.im.W)
	y0, y1 := m.span(j, m.ny, p.im.H)
	// Fewer from each where there are many tiles.
	along := 16
	if m.nx*m.ny > 2000 {
		along = 8
	}
	stepX, stepY := max(4, (x1-x0)/8&^1), max(2, (y1-y0)/along&^1)
	s.mean, s.diff = s.mean[:0], s.diff[:0]
	for y := y0; y+3 < y1; y += stepY {
		// Shift every other row so that columns are not always the same.
		for x := x0 + (y/stepY&1)*(stepX/2&^1); x+3 < x1; x += stepX {
			u, v := p.block(x, y), p.block(x+2, y+2)
			if finite(u) && finite(v) {
				s.mean = append(s.mean, u, v)
				s.diff = append(s.diff, u-v)
			}
		}
	}
}

// block returns the mean of the 2 x 2 pixels right of and below (x, y).
func (p *picture) block(x, y int) float32 {
	i := y*p.im.W + x
	j := i + p.im.W
	var sum float32
	switch {
	case p.im.U8 != nil:
		v := p.im.U8
		sum = float32(int(v[i]) + int(v[i+1]) + int(v[j]) + int(v[j+1]))
	case p.im.U16 != nil:
		v := p.im.U16
		sum = float32(int(v[i]) + int(v[i+1]) + int(v[j]) + int(v[j+1]))
	default:
		v := p.im.F32
		sum = v[i] + v[i+1] + v[j] + v[j+1]
	}
	if p.rows != nil {
		sum -= 2 * (p.rows[y] + p.rows[y+1])
	}
	return sum / 4
}

// tile is what the blocks of one tile say.
type tile struct {
	level  float32
	noise  float32 // rms of a block, from differences
	spread float32 // rms of the blocks below the level
	high   float32 // what the brightest tenth exceeds
	edges  float32 // share of neighbours that differ by more than noise
}

// judge evaluates the sample. Stars only ever add light: the spread comes from
// the lower half.
func (s *blocks) judge(floor float32) tile {
	if len(s.mean) == 0 {
		return tile{noise: floor, spread: floor}
	}
	// A slope adds the same to all differences.
	slope := quantile(s.diff, 0.5)
	for i, d := range s.diff {
		s.diff[i] = abs(d - slope)
	}
	t := tile{noise: quantile(s.diff, 0.5) / diffHalf}
	if t.noise < 2*floor {
		// Too coarse for a median: 0.79 is the rms of the lower nine tenths.
		nine := len(s.diff) * 9 / 10
		nth(s.diff, nine)
		t.noise = max(rootMeanSquare(s.diff[:nine])/(0.79*math.Sqrt2), floor)
	}
	for _, d := range s.diff {
		if d > 5*t.noise {
			t.edges += 1 / float32(len(s.diff))
		}
	}
	v := s.mean
	n := len(v)
	mid := nth(v, n/2)
	t.high = nth(v[n/2:], n*9/10-n/2)
	t.spread = max(mid-nth(v[:n/2+1], n*16/100), floor)
	t.level = mode(v, mid, t.spread)
	return t
}

// mode returns the most usual of the values v around mid, from the mean and
// the median of those within three times the spread (Pearson's rule, with the
// factor usual for star fields).
func mode(v []float32, mid, spread float32) float32 {
	lo, hi := mid-3*spread, mid+3*spread
	below, within := 0, 0
	var sum float64
	for _, x := range v {
		switch {
		case x < lo:
			below++
		case x <= hi:
			within++
			sum += float64(x)
		}
	}
	median, mean := nth(v, below+within/2), float32(sum/float64(max(within, 1)))
	if mean > median && mean-median < 0.3*spread {
		return median - 1.5*(mean-median)
	}
	return median
}

func rootMeanSquare(v []float32) float32 {
	var sum float64
	for _, x := range v {
		sum += float64(x) * float64(x)
	}
	return float32(math.Sqrt(sum / float64(max(len(v), 1))))
}

// tear marks tiles where surfaces of different brightness meet:
// their spread is not explained by noise and slope, and has sharp edges.
func (m *mesh) tear(tiles []tile) {
	m.torn = make([]bool, len(m.level))
	ratio := make([]float32, len(m.level))
	for k, t := range tiles {
		slope := m.slope(k%m.nx, k/m.nx)
		ratio[k] = t.spread * t.spread / (m.noise[k]*m.noise[k] + slope*slope*float32(m.size*m.size)/12)
	}
	// Correlated noise makes the spread larger than the differences say, all
	// over the frame.
	usual := min(max(quantile(slices.Clone(ratio), 0.3), 1), 9)
	for k, t := range tiles {
		m.torn[k] = t.edges > 0.04 && (ratio[k] > 6*usual || t.high-t.level > 6*t.noise)
	}
}

// tornAt reports whether a place is in a torn tile.
func (m *mesh) tornAt(x, y float32) bool {
	i, j := min(max(int(x), 0)/m.size, m.nx-1), min(max(int(y), 0)/m.size, m.ny-1)
	return m.torn != nil && m.torn[j*m.nx+i]
}

// ceiling returns the level of the unbroken sky near a place in a torn tile:
// the least of those brighter than the tile. What shines through a gap between
// leaves is no brighter. ok is false where there is none.
func (m *mesh) ceiling(x, y float64) (level float32, ok bool) {
	i, j := min(max(int(x), 0)/m.size, m.nx-1), min(max(int(y), 0)/m.size, m.ny-1)
	k := j*m.nx + i
	if !m.torn[k] {
		return 0, false
	}
	m.around(i, j, 4, func(q int) {
		if !m.torn[q] && m.level[q] > m.level[k]+6*m.noise[k] && (!ok || m.level[q] < level) {
			level, ok = m.level[q], true
		}
	})
	return level, ok
}

// slope returns the level's change per pixel around a tile: along either axis
// the smaller of the changes to both sides, since an edge is no slope.
func (m *mesh) slope(i, j int) float32 {
	k := j*m.nx + i
	var sum float32
	along := func(at, count, step int) {
		if at == 0 || at == count-1 {
			return
		}
		a, b := m.level[k]-m.level[k-step], m.level[k+step]-m.level[k]
		if a*b > 0 {
			d := min(abs(a), abs(b)) / float32(m.size)
			sum += d * d
		}
	}
	along(i, m.nx, 1)
	along(j, m.ny, m.nx)
	return float32(math.Sqrt(float64(sum)))
}

// around calls f for the tiles no further than r from tile (i, j).
func (m *mesh) around(i, j, r int, f func(k int)) {
	for y := max(0, j-r); y <= min(m.ny-1, j+r); y++ {
		for x := max(0, i-r); x <= min(m.nx-1, i+r); x++ {
			f(y*m.nx + x)
		}
	}
}

// median3 replaces every tile by the median of itself and its neighbours.
func median3(v []float32, nx, ny int) []float32 {
	m := mesh{nx: nx, ny: ny}
	out := make([]float32, len(v))
	var near [9]float32
	for j := range ny {
		for i := range nx {
			n := near[:0]
			m.around(i, j, 1, func(k int) { n = append(n, v[k]) })
			out[j*nx+i] = (nth(n, (len(n)-1)/2) + nth(n, len(n)/2)) / 2
		}
	}
	return out
}

// cell returns the tile left of x and the share of the next one for linear
// interpolation between tile centres.
func (m *mesh) cell(x float32, count int) (i int, t float32) {
	u := (x+0.5)/float32(m.size) - 0.5
	if !(u > 0) || count == 1 {
		return 0, 0
	}
	i = min(int(u), count-2)
	return i, min(u-float32(i), 1)
}

// at returns the background's level and a block's noise at a pixel.
func (m *mesh) at(x, y float32) (level, noise float32) {
	i, t := m.cell(x, m.nx)
	j, u := m.cell(y, m.ny)
	a, right, down := j*m.nx+i, min(1, m.nx-1), 0
	if m.ny > 1 {
		down = m.nx
	}
	lerp := func(v []float32) float32 {
		top := v[a] + t*(v[a+right]-v[a])
		low := v[a+down] + t*(v[a+down+right]-v[a+down])
		return top + u*(low-top)
	}
	return lerp(m.level), lerp(m.noise)
}

// threshold fills dst, one value per tile column, with level + k noise at row y.
func (m *mesh) threshold(y, k float32, dst []float32) {
	j, u := m.cell(y, m.ny)
	down := 0
	if m.ny > 1 {
		down = m.nx
	}
	for i := range m.nx {
		a := j*m.nx + i
		v := m.level[a] + k*m.noise[a]
		w := m.level[a+down] + k*m.noise[a+down]
		dst[i] = v + u*(w-v)
	}
}

// typical returns the median level and the median rms of a pixel.
func (m *mesh) typical() (level, noise float64) {
	return float64(quantile(slices.Clone(m.level), 0.5)), 2 * float64(quantile(slices.Clone(m.noise), 0.5))
}
