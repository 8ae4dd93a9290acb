package detect

import "pintle/solve/frame"

// stream reads the picture's rows, mends single pixels that are hot, dead or
// no number, and pushes them into a pyramid.
type stream struct {
	p     *picture
	rows  [3][]float32 // y-1, y, y+1
	high  []uint32     // how many of the pixels that stand out have a value, for integer pixels
	top   float32      // the highest pixel that stands out
	tops  int          // how many pixels have that value
	mends int
}

// run streams all rows that the pyramid's own rows depend on.
func (p *picture) run(l *layer) *stream {
	s := &stream{p: p}
	im := p.im
	start := l.from&^(1<<(levels-1)-1) - margin
	for q := l; q != nil; q = q.next {
		q.y = start >> q.n
	}
	for i := range s.rows {
		s.rows[i] = make([]float32, im.W)
		s.read(start+i-1, s.rows[i])
	}
	for y := start; y < l.to+margin+1<<(levels-1); y++ {
		s.mend(y, y >= l.from && y < l.to)
		l.push(s.rows[1])
		s.rows[0], s.rows[1], s.rows[2] = s.rows[1], s.rows[2], s.rows[0]
		s.read(y+2, s.rows[2])
	}
	return s
}

// read copies row y, or the nearest that exists, with the background in place
// of what is no number.
func (s *stream) read(y int, dst []float32) {
	im := s.p.im
	y = min(max(y, 0), im.H-1)
	s.p.span(y, 0, im.W, dst)
	if im.F32 == nil {
		return
	}
	for x, v := range dst {
		if !finite(v) {
			dst[x], _ = s.p.mesh.at(float32(x), float32(y))
		}
	}
}

// mend replaces the single hot and dead pixels of the middle row. For own rows
// it also counts the highest pixels.
func (s *stream) mend(y int, own bool) {
	p, row := s.p, s.rows[1]
	if y < 1 || y >= p.im.H-1 {
		return
	}
	m := p.mesh
	j := min(y/m.size, m.ny-1)
	for i := range m.nx {
		x0, x1 := m.span(i, m.nx, p.im.W)
		k := j*m.nx + i
		odd := 2 * y & 2
		lo, hi := m.outlier(k, odd)
		if m.tint != nil {
			l, h := m.outlier(k, odd+1)
			lo, hi = min(lo, l), max(hi, h)
		}
		if allWithin(row[x0:x1], lo, hi) {
			continue
		}
		for x := x0; x < x1; x++ {
			v := row[x]
			if v <= hi && v >= lo {
				continue
			}
			if own && v > hi {
				s.note(at(p.im, x, y))
			}
			if x > 1 && x < p.im.W-2 && s.spike(k, x, y) {
				s.mends++
				if m.tint != nil {
					row[x] = (row[x-2] + row[x+2]) / 2
				} else {
					row[x] = (row[x-1] + row[x+1] + s.rows[0][x] + s.rows[2][x]) / 4
				}
			}
		}
	}
}

// note counts a high pixel.
func (s *stream) note(v float32) {
	if s.p.im.F32 == nil {
		if s.high == nil {
			s.high = make([]uint32, 1<<16)
		}
		s.high[int(v)]++
		return
	}
	if v > s.top {
		s.top, s.tops = v, 0
	}
	if v == s.top {
		s.tops++
	}
}

// spike tells a single bright or dark pixel from a star. Of a star of FWHM 1.2
// pixels the four neighbours together hold at least as much as the centre.
func (s *stream) spike(tile, x, y int) bool {
	v := func(dx, dy int) float32 {
		return s.rows[1+dy][x+dx] - s.p.mesh.colourLevel(tile, x+dx, y+dy)
	}
	c := v(0, 0)
	sides := v(-1, 0) + v(1, 0) + v(0, -1) + v(0, 1)
	if c < 0 {
		c, sides = -c, -sides
	}
	return sides < 0.4*c
}

// outlier returns the range of values beyond which a pixel of a tile stands
// out; c is its place in the 2 x 2 cell of a mosaic.
func (m *mesh) outlier(tile, c int) (lo, hi float32) {
	l := m.level[tile]
	if m.tint != nil {
		l += m.tint[tile][c]
	}
	return l - 14*m.noise[tile], l + 12*m.noise[tile]
}

// colourLevel returns the background of a pixel of a tile, of its colour.
func (m *mesh) colourLevel(tile, x, y int) float32 {
	if m.tint == nil {
		return m.level[tile]
	}
	return m.level[tile] + m.tint[tile][y&1*2+x&1]
}

// tints measures how far the four pixels of a mosaic's cell lie from their
// mean, in every tile.
func (m *mesh) tints(p *picture) {
	m.tint = make([][4]float32, m.nx*m.ny)
	p.parallel(m.ny, func(j int) {
		var v [4][]float32
		for i := range m.nx {
			x0, x1 := m.span(i, m.nx, p.im.W)
			y0, y1 := m.span(j, m.ny, p.im.H)
			for c := range v {
				v[c] = v[c][:0]
			}
			step := max(2, (x1-x0)/8&^1)
			for y := y0 &^ 1; y+1 < y1; y += step {
				for x := x0 &^ 1; x+1 < x1; x += step {
					cell(p.im, x, y, &v)
				}
			}
			var t [4]float32
			var mean float32
			for c := range v {
				t[c] = quantile(v[c], 0.5)
				mean += t[c] / 4
			}
			for c := range t {
				m.tint[j*m.nx+i][c] = t[c] - mean
			}
		}
	})
}

// cell appends the four pixels of a mosaic's cell to the four lists.
func cell(im *frame.Image, x, y int, v *[4][]float32) {
	for c := range v {
		if q := at(im, x+c&1, y+c>>1); finite(q) {
			v[c] = append(v[c], q)
		}
	}
}
