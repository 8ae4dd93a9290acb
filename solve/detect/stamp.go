package detect

import (
	"math"
	"sync"
)

// stamp is the surroundings of one star, its local background removed.
type stamp struct {
	x0, y0, w, h int
	v            []float32  // above the background; NaN where masked
	sigma        [4]float64 // background rms of a pixel by colour class
	full         int        // saturated pixels
	edge         bool       // cut by the frame's edge
	ring         []float32
	around       []ringPixel
	class        [4]uint8 // colour class of the pixels of a 2 x 2 cell
	classes      int
}

// stamps are kept for use again: fresh memory takes longer than what is done in it.
var stamps = sync.Pool{New: func() any { return new(stamp) }}

// classesOf numbers the colours of a filter mosaic.
func classesOf(mosaic string) (class [4]uint8, n int) {
	if len(mosaic) != 4 {
		return class, 1
	}
	for i := range 4 {
		class[i] = uint8(n)
		for j := range i {
			if mosaic[j] == mosaic[i] && mosaic[i] != '?' {
				class[i] = class[j]
			}
		}
		if class[i] == uint8(n) {
			n++
		}
	}
	return class, n
}

func (s *stamp) classAt(x, y int) uint8 { return s.class[y&1*2+x&1] }

// load cuts the stamp of half width outer around a pixel and removes a plane
// per stamp and a level per colour, measured beyond the radius inner. Before
// that, clean (if not nil) may take other light out. It reports false when too
// little of the surroundings is usable.
func (s *stamp) load(p *picture, cx, cy float64, inner, outer float64, clean func(s *stamp)) bool {
	s.class, s.classes = classesOf(p.im.Mosaic)
	x, y := int(math.Round(cx)), int(math.Round(cy))
	r := int(outer)
	s.x0, s.y0 = max(x-r, 0), max(y-r, 0)
	x1, y1 := min(x+r+1, p.im.W), min(y+r+1, p.im.H)
	s.w, s.h = x1-s.x0, y1-s.y0
	if s.w < 3 || s.h < 3 {
		return false
	}
	if cap(s.v) < s.w*s.h {
		s.v = make([]float32, (2*r+1)*(2*r+1))
	}
	s.v = s.v[:s.w*s.h]
	s.full = 0
	for j := range s.h {
		full := p.full - p.excess(s.y0+j)
		row := p.span(s.y0+j, s.x0, x1, s.v[j*s.w:(j+1)*s.w])
		for i, v := range row {
			if !finite(v) {
				row[i] = nan
			} else if v >= full {
				s.full++
				row[i] = inf
			}
		}
	}
	s.edge = cx-inner < 0 || cy-inner < 0 || cx+inner > float64(p.im.W-1) || cy+inner > float64(p.im.H-1)
	if clean != nil {
		clean(s)
	}
	return s.flatten(p, cx-float64(s.x0), cy-float64(s.y0), inner)
}

// ringPixel is a pixel around a star: where from the star, its value and its
// class of colour.
type ringPixel struct {
	dx, dy float64
	v      float32
	class  int
}

var nan = float32(math.NaN())

// flatten measures and removes the background; (cx, cy) counts from the stamp.
func (s *stamp) flatten(p *picture, cx, cy, inner float64) bool {
	// The pixels are gone through several times: their list is made once.
	s.around = s.around[:0]
	s.eachRing(cx, cy, inner, func(i, j int, v float32) {
		s.around = append(s.around, ringPixel{float64(i) - cx, float64(j) - cy, v, int(s.classAt(s.x0+i, s.y0+j))})
	})
	var g ground
	if !s.levels(&g, p.least) {
		return false
	}
	// Least squares for a level per colour and a common slope, twice clipped.
	for pass := range 3 {
		if !s.settle(&g, pass, p.least) {
			return false
		}
	}
	s.sigma = g.sigma
	n := s.classes + 2
	for j := range s.h {
		for i := range s.w {
			c := s.classAt(s.x0+i, s.y0+j)
			k := j*s.w + i
			s.v[k] -= float32(g.par[c] + g.par[n-2]*(float64(i)-cx) + g.par[n-1]*(float64(j)-cy))
		}
	}
	s.maskLines(cx, cy, inner)
	return true
}

// ground is the background around a star: a level of each colour, then the slope to
// the right and down, and the scatter of each colour.
type ground struct {
	par   [6]float64
	sigma [4]float64
}

// levels gives the ground the median of each colour of the ring and the scatter about
// it; false when a colour has too few pixels.
func (s *stamp) levels(g *ground, least float64) bool {
	for c := range s.classes {
		s.ring = s.ring[:0]
		for i := range s.around {
			if s.around[i].class == c {
				s.ring = append(s.ring, s.around[i].v)
			}
		}
		if len(s.ring) < 12 {
			return false
		}
		// Neighbours add light: the scatter comes from the lower half.
		g.par[c] = float64(quantile(s.ring, 0.5))
		low := nth(s.ring[:len(s.ring)/2+1], len(s.ring)*16/100)
		g.sigma[c] = max(g.par[c]-float64(low), least)
	}
	return true
}

// settle fits the ground to the pixels of the ring that are near it, and in the last
// pass, 2, only measures the scatter; false when too few are.
func (s *stamp) settle(g *ground, pass int, least float64) bool {
	n := s.classes + 2
	par, sigma := g.par, g.sigma
	var a [36]float64
	var b [6]float64
	var sum, count [4]float64
	for i := range s.around {
		q := &s.around[i]
		c, dx, dy := q.class, q.dx, q.dy
		res := float64(q.v) - par[c] - par[n-2]*dx - par[n-1]*dy
		if math.Abs(res) > 2.5*sigma[c] {
			continue
		}
		sum[c] += res * res
		count[c]++
		if pass == 2 {
			continue
		}
		w := 1 / (sigma[c] * sigma[c])
		a[c*n+c] += w
		a[(n-2)*n+c] += w * dx
		a[(n-1)*n+c] += w * dy
		a[(n-2)*n+n-2] += w * dx * dx
		a[(n-1)*n+n-2] += w * dx * dy
		a[(n-1)*n+n-1] += w * dy * dy
		b[c] += w * res
		b[n-2] += w * res * dx
		b[n-1] += w * res * dy
	}
	for c := range s.classes {
		if count[c] < 6 {
			return false
		}
		// 0.9113 is the variance left of a normal distribution cut at 2.5 sigma.
		if s2 := math.Sqrt(sum[c] / count[c] / 0.9113); pass > 0 {
			g.sigma[c] = max(s2, least)
		}
	}
	if pass == 2 {
		return true
	}
	if !solveSym(a[:n*n], b[:n], n) {
		return false
	}
	for i := range n {
		g.par[i] += b[i]
	}
	return true
}

// maskLines masks the columns and rows of the stamp that are brighter or darker
// than the rest on both sides of the star: defects of the sensor.
func (s *stamp) maskLines(cx, cy, inner float64) {
	bad := func(count int, value func(i int) float32, middle, across float64) bool {
		reach := math.Sqrt(math.Max(inner*inner-across*across, 0))
		var sum, n [2]float64
		for i := range count {
			d := float64(i) - middle
			v := value(i)
			if math.Abs(d) <= reach || v != v || v == inf {
				continue
			}
			side := 0
			if d > 0 {
				side = 1
			}
			sum[side] += math.Min(math.Max(float64(v)/s.sigma[0], -8), 8)
			n[side]++
		}
		if n[0] < 3 || n[1] < 3 {
			return false
		}
		a, b := sum[0]/math.Sqrt(n[0]), sum[1]/math.Sqrt(n[1])
		return a > 3 && b > 3 && a+b > 9 || a < -3 && b < -3 && a+b < -9
	}
	for i := range s.w {
		if bad(s.h, func(j int) float32 { return s.v[j*s.w+i] }, cy, float64(i)-cx) {
			for j := range s.h {
				s.v[j*s.w+i] = nan
			}
		}
	}
	for j := range s.h {
		if bad(s.w, func(i int) float32 { return s.v[j*s.w+i] }, cx, float64(j)-cy) {
			for i := range s.w {
				s.v[j*s.w+i] = nan
			}
		}
	}
}

var inf = float32(math.Inf(1))

// eachRing calls f for the usable pixels beyond radius r.
func (s *stamp) eachRing(cx, cy, r float64, f func(i, j int, v float32)) {
	for j := range s.h {
		dy := float64(j) - cy
		for i, v := range s.v[j*s.w : (j+1)*s.w] {
			dx := float64(i) - cx
			if dx*dx+dy*dy > r*r && v == v && v < inf {
				f(i, j, v)
			}
		}
	}
}
