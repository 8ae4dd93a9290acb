package detect

import (
	"math"
	"slices"
)

// mesh is the background in tiles: level and scatter of 2 x 2 pixel blocks,
// robust against what stands on the background. Blocks hold every colour of a
// filter mosaic once, so the mesh is the same with and without one.
type mesh struct {
	size   int // of a tile, pixels
	nx, ny int
	level  []float32 // mean of a pixel
	sigma  []float32 // rms of a block's mean
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
	m.level = make([]float32, m.nx*m.ny)
	m.sigma = make([]float32, m.nx*m.ny)
	floor := quantum(p)
	p.parallel(m.ny, func(j int) {
		var buf []float32
		for i := range m.nx {
			buf = m.blocks(p, i, j, buf[:0])
			l, s := modeAndSpread(buf)
			m.level[j*m.nx+i] = l
			m.sigma[j*m.nx+i] = max(s, floor)
		}
	})
	m.level = median3(m.level, m.nx, m.ny)
	m.sigma = median3(m.sigma, m.nx, m.ny)
	return m
}

// quantum is the least credible rms of a block: that of rounding, for integer
// pixels.
func quantum(p *picture) float32 {
	if p.im.F32 != nil {
		return 1e-12
	}
	return 0.29 / 2
}

// tile returns the pixel range of tile index i along an axis of length n. The
// last tile takes the remainder.
func (m *mesh) tile(i, count, n int) (lo, hi int) {
	lo, hi = i*m.size, (i+1)*m.size
	if i == count-1 {
		hi = n
	}
	return lo, hi
}

// blocks appends the means of a sample of a tile's 2 x 2 blocks.
func (m *mesh) blocks(p *picture, i, j int, dst []float32) []float32 {
	x0, x1 := m.tile(i, m.nx, p.im.W)
	y0, y1 := m.tile(j, m.ny, p.im.H)
	stepX, stepY := max(2, (x1-x0)/16&^1), max(2, (y1-y0)/16&^1)
	for y := y0; y+1 < y1; y += stepY {
		// Shift every other row so that columns are not always the same.
		for x := x0 + (y/stepY&1)*(stepX/2&^1); x+1 < x1; x += stepX {
			v := (at(p.im, x, y) + at(p.im, x+1, y) + at(p.im, x, y+1) + at(p.im, x+1, y+1)) / 4
			if finite(v) {
				dst = append(dst, v)
			}
		}
	}
	return dst
}

// modeAndSpread returns the level of the undisturbed background among the
// values and its rms. Stars only ever add light, so the spread comes from the
// lower half, unless that is cut off at the end of the number range.
func modeAndSpread(v []float32) (level, sigma float32) {
	if len(v) == 0 {
		return 0, 0
	}
	slices.Sort(v)
	n := len(v)
	med := v[n/2]
	low := med - v[n*16/100]
	if v[n*16/100] == v[0] {
		low = max(low, min(v[n*84/100]-med, 4*(med-v[0])+1))
	}
	// Clip what stands out and take the mean of the rest around the median.
	hi, lo := med+3*low, med-3*low
	a, _ := slices.BinarySearch(v, lo)
	b, _ := slices.BinarySearch(v, hi)
	if b <= a {
		return med, low
	}
	m2 := v[(a+b)/2]
	var sum float64
	for _, x := range v[a:b] {
		sum += float64(x)
	}
	mean := float32(sum / float64(b-a))
	// Mode of a skewed distribution from mean and median (Pearson's rule, with
	// the factors usual for clipped star fields).
	level = 2.5*m2 - 1.5*mean
	if math.Abs(float64(mean-m2)) > 0.3*float64(low) || level > m2 {
		level = m2
	}
	return level, low
}

// median3 replaces every tile by the median of itself and its neighbours.
func median3(v []float32, nx, ny int) []float32 {
	out := make([]float32, len(v))
	var near [9]float32
	for j := range ny {
		for i := range nx {
			n := near[:0]
			for y := max(0, j-1); y <= min(ny-1, j+1); y++ {
				n = append(n, v[y*nx+max(0, i-1):y*nx+min(nx-1, i+1)+1]...)
			}
			slices.Sort(n)
			out[j*nx+i] = n[len(n)/2]
			if len(n)%2 == 0 {
				out[j*nx+i] = (n[len(n)/2-1] + n[len(n)/2]) / 2
			}
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

// at returns level and block rms at a pixel.
func (m *mesh) at(x, y float32) (level, sigma float32) {
	i, t := m.cell(x, m.nx)
	j, u := m.cell(y, m.ny)
	lerp := func(v []float32) float32 {
		a := j*m.nx + i
		right, down := 0, 0
		if m.nx > 1 {
			right = 1
		}
		if m.ny > 1 {
			down = m.nx
		}
		top := v[a] + t*(v[a+right]-v[a])
		bot := v[a+down] + t*(v[a+down+right]-v[a+down])
		return top + u*(bot-top)
	}
	return lerp(m.level), lerp(m.sigma)
}

// threshold fills dst, one value per tile column, with level + k sigma at row y.
func (m *mesh) threshold(y, k float32, dst []float32) {
	j, u := m.cell(y, m.ny)
	down := 0
	if m.ny > 1 {
		down = m.nx
	}
	for i := range m.nx {
		a := j*m.nx + i
		v := m.level[a] + k*m.sigma[a]
		w := m.level[a+down] + k*m.sigma[a+down]
		dst[i] = v + u*(w-v)
	}
}

// typical returns the median level and the median rms of a pixel.
func (m *mesh) typical() (level, noise float64) {
	l := slices.Sorted(slices.Values(m.level))
	s := slices.Sorted(slices.Values(m.sigma))
	return float64(l[len(l)/2]), 2 * float64(s[len(s)/2])
}
