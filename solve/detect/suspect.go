package detect

import "math"

// spike tells a bright pixel, or the track of a particle, by its neighbours:
// they hold much less than a star's would.
func (s *stamp) spike(f *fit, p *profile) bool {
	if _, short, _ := p.q.axes(); short > 3 {
		return false // so wide that the filter has taken care of it
	}
	x, y := int(math.Round(f.x)), int(math.Round(f.y))
	var got, want, top, wantTop float64
	for j := max(y-1, 0); j <= min(y+1, s.h-1); j++ {
		for i := max(x-1, 0); i <= min(x+1, s.w-1); i++ {
			v := float64(s.v[j*s.w+i])
			if v != v {
				continue
			}
			g, _, _, _ := p.at(float64(i)-f.x, float64(j)-f.y)
			m := f.amp[s.classAt(s.x0+i, s.y0+j)] * g
			got += v
			want += m
			if v > top {
				top, wantTop = v, m
			}
		}
	}
	if !(wantTop > 0) {
		return true
	}
	return got-top < 0.3*(want-wantTop)*top/wantTop-3*s.sigma[0]
}

// streak tells a piece of a line: beyond the star's image, light goes on in
// two opposite directions.
func (s *stamp) streak(f *fit, p *profile) bool {
	const directions = 16 // 11 degrees apart; no source
	var amp, sigma float64
	for c := range s.classes {
		amp += f.amp[c] / float64(s.classes)
		sigma += s.sigma[c] / float64(s.classes)
	}
	for k := range directions {
		a := math.Pi * float64(k) / directions
		u, v := math.Cos(a), math.Sin(a)
		start := 1 + (cutoff-0.3)/math.Sqrt(p.ixx*u*u+2*p.ixy*u*v+p.iyy*v*v)
		one, n1 := s.ray(f.x, f.y, u, v, start)
		two, n2 := s.ray(f.x, f.y, -u, -v, start)
		n := min(n1, n2)
		if n < 3 {
			continue
		}
		low := math.Min(one, two)
		if low > 5*sigma/math.Sqrt(float64(3*n)) && low > 0.12*amp {
			return true
		}
	}
	return false
}

// ragged tells a gap between leaves or a notch in an edge: the surroundings
// vary much more than by noise (the rms of a pixel), and about as much as the
// peak is high.
func (s *stamp) ragged(f *fit, p *profile, noise float64) bool {
	for c := range s.classes {
		if s.sigma[c] < 1.5*noise {
			return false
		}
		s.ring = s.ring[:0]
		s.eachRing(f.x, f.y, radius(p.q), func(i, j int, v float32) {
			if int(s.classAt(s.x0+i, s.y0+j)) == c {
				s.ring = append(s.ring, abs(v))
			}
		})
		if f.amp[c] > 1.3*float64(quantile(s.ring, 0.95)) {
			return false
		}
	}
	return true
}

// gap reports whether a place in a torn tile is no brighter than the sky.
func (p *picture) gap(x, y float64) bool {
	sky, ok := p.mesh.ceiling(x, y)
	if !ok {
		return false
	}
	i0, j0 := int(math.Floor(x)), int(math.Floor(y))
	if i0 < 0 || j0 < 0 || i0+1 >= p.im.W || j0+1 >= p.im.H {
		return false
	}
	mean := (at(p.im, i0, j0) + at(p.im, i0+1, j0) + at(p.im, i0, j0+1) + at(p.im, i0+1, j0+1)) / 4
	return float64(mean-sky) < p.pixelNoise(x, y)
}

// ray returns the mean of three neighbouring lines of pixels from a distance
// to the stamp's end.
func (s *stamp) ray(x, y, u, v, start float64) (mean float64, n int) {
	var sum float64
	k := 0
	for t := start; ; t++ {
		cx, cy := x+t*u, y+t*v
		if cx < 1 || cy < 1 || cx > float64(s.w-2) || cy > float64(s.h-2) {
			break
		}
		n++
		for side := -1.0; side <= 1; side++ {
			q := s.v[int(cy+side*u+0.5)*s.w+int(cx-side*v+0.5)]
			if q == q && q != inf {
				sum += float64(q)
				k++
			}
		}
	}
	if k == 0 {
		return 0, 0
	}
	return sum / float64(k), n
}

// peak returns the highest pixel near a place.
func (s *stamp) peak(x, y float64) float64 {
	top := float32(0)
	for j := max(int(y+0.5)-1, 0); j <= min(int(y+0.5)+1, s.h-1); j++ {
		for i := max(int(x+0.5)-1, 0); i <= min(int(x+0.5)+1, s.w-1); i++ {
			if v := s.v[j*s.w+i]; v > top && v < inf {
				top = v
			}
		}
	}
	return float64(top)
}
