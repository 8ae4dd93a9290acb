package detect

import (
	"cmp"
	"math"
	"slices"
)

// measure fits every peak and keeps those that are stars.
func (p *picture) measure(list []peak, m *model, least float64) []Star {
	got := make([]Star, len(list))
	p.parallel(len(list), func(i int) {
		got[i], _ = p.star(list[i], m, least)
	})
	out := got[:0]
	for _, s := range got {
		if s.Flux > 0 {
			out = append(out, s)
		}
	}
	slices.SortFunc(out, func(a, b Star) int { return cmp.Compare(b.Flux, a.Flux) })
	return p.distinct(out)
}

// star measures one peak.
func (p *picture) star(k peak, m *model, least float64) (st Star, ok bool) {
	q := m.at(float64(k.x), float64(k.y))
	long, _, _ := q.axes()
	inner := 3*long + 1.5
	var s stamp
	if int(k.level) > 0 {
		if r := float64(int(2) << k.level); p.brightest(k) >= p.full {
			inner = math.Max(inner, r+2*long)
		}
	}
	if !s.load(p, float64(k.x), float64(k.y), inner, inner+math.Max(4, 1.5*long)) {
		return st, false
	}
	x, y := float64(k.x)-float64(s.x0), float64(k.y)-float64(s.y0)
	if s.full > 0 {
		return p.saturated(&s, m, x, y, q)
	}
	f, ok := s.fit(m, x, y, q)
	if !ok || f.flux < (least-1)*f.eflx || s.spike(&f, q) {
		return st, false
	}
	st = Star{X: f.x + float64(s.x0), Y: f.y + float64(s.y0), ErrX: f.ex, ErrY: f.ey, Flux: f.flux, ErrFlux: f.eflx}
	st.FWHM, st.Elongation = q.fwhm(), q.elongation()
	if st.X < -0.5 || st.Y < -0.5 || st.X > float64(p.im.W)-0.5 || st.Y > float64(p.im.H)-0.5 {
		return st, false
	}
	st.Peak = s.peak(f.x, f.y)
	if s.edge {
		st.Flags |= Edge
	}
	if excess := f.chi2 / float64(f.pixels-f.n); excess > 1.5 {
		grow := math.Sqrt(excess)
		st.ErrX *= grow
		st.ErrY *= grow
		if excess > 4 {
			st.Flags |= Uncertain
		}
	}
	if f.flux > 15*f.eflx {
		return st, p.judge(&s, &st, &f, q)
	}
	return st, true
}

// judge compares a bright star's own shape with the model's and reports
// whether it can be a star at all.
func (p *picture) judge(s *stamp, st *Star, f *fit, q shape) bool {
	tone := f.amp
	var mean float64
	for c := range s.classes {
		mean += tone[c] / float64(s.classes)
	}
	for c := range tone {
		tone[c] = math.Max(tone[c]/mean, 0.05)
	}
	_, _, own, ok := s.moments(f.x, f.y, q, tone)
	if !ok {
		st.Flags |= Uncertain
		return f.chi2 < 3*float64(f.pixels)
	}
	st.FWHM, st.Elongation = own.fwhm(), own.elongation()
	area := math.Sqrt(own.det() / q.det())
	if area > 3 || area < 0.3 {
		return false
	}
	if st.Elongation > 1.4*q.elongation() {
		st.Flags |= Elongated
	}
	return true
}

// spike tells a bright pixel by its neighbours: they hold less than half of
// what the model expects of them.
func (s *stamp) spike(f *fit, q shape) bool {
	x, y := int(math.Round(f.x)), int(math.Round(f.y))
	if x < 1 || y < 1 || x >= s.w-1 || y >= s.h-1 {
		return false
	}
	det := q.det()
	var got, want, top, wantTop float64
	for j := y - 1; j <= y+1; j++ {
		for i := x - 1; i <= x+1; i++ {
			v := float64(s.v[j*s.w+i])
			if v != v {
				continue
			}
			dx, dy := float64(i)-f.x, float64(j)-f.y
			e := (q.yy*dx*dx - 2*q.xy*dx*dy + q.xx*dy*dy) / det
			m := f.amp[s.classAt(s.x0+i, s.y0+j)] * math.Exp(-e/2)
			got += v
			want += m
			if v > top {
				top, wantTop = v, m
			}
		}
	}
	noise := 3 * s.sigma[0]
	return got-top < 0.5*(want-wantTop)*top/math.Max(wantTop, 1e-30)-noise
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

// saturated measures a star whose core is full, from its flanks.
func (p *picture) saturated(s *stamp, m *model, x, y float64, q shape) (st Star, ok bool) {
	// Start in the middle of the full pixels nearest to the peak.
	var n, sx, sy float64
	for j := range s.h {
		for i := range s.w {
			if s.v[j*s.w+i] == inf {
				n++
				sx += float64(i)
				sy += float64(j)
			}
		}
	}
	x, y = sx/n, sy/n
	r2 := n / math.Pi // as if round
	wide := shape{q.xx + r2/2, q.xy, q.yy + r2/2}
	f, ok := s.fit(m, x, y, wide)
	if !ok {
		return st, false
	}
	st = Star{X: f.x + float64(s.x0), Y: f.y + float64(s.y0), Flux: f.flux, ErrFlux: 0.3 * f.flux, Peak: float64(p.full), Flags: Saturated}
	miss := math.Hypot(f.x-x, f.y-y)
	extra := 0.1 + 0.2*math.Sqrt(r2) + miss/2
	st.ErrX, st.ErrY = math.Hypot(f.ex, extra), math.Hypot(f.ey, extra)
	st.FWHM, st.Elongation = wide.fwhm(), wide.elongation()
	if s.edge {
		st.Flags |= Edge
	}
	return st, f.flux > 0
}

// distinct removes what coincides with a brighter star.
func (p *picture) distinct(stars []Star) []Star {
	g := newGrid(p.im.W, p.im.H, 32)
	out := stars[:0]
	for _, s := range stars {
		r := float32(0.5 * s.FWHM)
		free := true
		g.near(float32(s.X), float32(s.Y), 20, func(id int) bool {
			o := out[id]
			d := math.Hypot(o.X-s.X, o.Y-s.Y)
			lim := math.Max(float64(r), 0.5)
			if o.Flags&Saturated != 0 {
				lim = o.FWHM
			}
			free = d > lim
			return free
		})
		if free {
			g.add(float32(s.X), float32(s.Y), len(out))
			out = append(out, s)
		}
	}
	return out
}

// fill completes the field.
func (f *Field) fill(p *picture, m *model, stars []Star, limit int) {
	f.Found = len(stars)
	if m.stars > 0 {
		q := m.at(float64(f.W)/2, float64(f.H)/2)
		f.FWHM, f.Elongation = q.fwhm(), q.elongation()
		_, _, f.Angle = q.bare().axes()
	}
	if m.invGain > 0 {
		f.Gain = 1 / m.invGain
	}
	for _, i := range spread(len(stars), limit, func(i int) (x, y float64) { return stars[i].X, stars[i].Y }, f.W, f.H) {
		f.Stars = append(f.Stars, stars[i])
	}
}
