package detect

import "math"

// findBanding looks for a pattern of rows brighter and darker than their
// neighbours, which many sensors write into faint pictures, and measures it
// when there is one.
func (p *picture) findBanding() {
	const pairs = 100 // of rows: the median is then good to an eighth of its scatter
	if p.im.H < 32 || p.im.W < 32 || p.im.Mosaic != "" {
		return
	}
	var diff, scatter []float32
	var buf []float32
	for k := range pairs {
		y := k * (p.im.H - 1) / pairs
		a, s := p.rowOffset(y, &buf)
		b, _ := p.rowOffset(y+1, &buf)
		diff = append(diff, abs(a-b))
		scatter = append(scatter, s)
	}
	pixel := quantile(scatter, 0.5)
	n := float64(len(buf))
	chance := pixel * float32(1.3*math.Sqrt(2/n))
	if d := quantile(diff, 0.5) / 0.6745; d < 2.5*chance || d < 0.1*pixel {
		return
	}
	rows := make([]float32, p.im.H)
	p.parallel(16, func(k int) {
		var buf []float32
		for y := k; y < p.im.H; y += 16 {
			rows[y], _ = p.rowOffset(y, &buf)
		}
	})
	p.rows = rows
}

// rowOffset returns how far a row lies above the mesh, from the middle part of
// its pixels, and the rms of these.
func (p *picture) rowOffset(y int, buf *[]float32) (mean, scatter float32) {
	const most = 400 // pixels: the mean is then good to a twentieth of their scatter
	v := (*buf)[:0]
	step := max(1, p.im.W/most)
	for x := y % step; x < p.im.W; x += step {
		level, _ := p.mesh.at(float32(x), float32(y))
		if q := at(p.im, x, y); finite(q) {
			v = append(v, q-level)
		}
	}
	*buf = v
	if len(v) < 16 {
		return 0, 0
	}
	lo, hi := quantile(v, 0.1), quantile(v, 0.8)
	var sum float64
	n := 0
	for _, q := range v {
		if q >= lo && q <= hi {
			sum += float64(q)
			n++
		}
	}
	return float32(sum / float64(max(n, 1))), (hi - lo) / 2.12 // 10 % and 80 % lie 2.12 rms apart
}

// excess returns what a row has too much.
func (p *picture) excess(y int) float32 {
	if p.rows == nil {
		return 0
	}
	return p.rows[y]
}

// span copies the pixels x0 <= x < x1 of row y into dst, the row's pattern
// taken off.
func (p *picture) span(y, x0, x1 int, dst []float32) []float32 {
	dst = span(p.im, y, x0, x1, dst)
	if e := p.excess(y); e != 0 {
		for i := range dst {
			dst[i] -= e
		}
	}
	return dst
}
