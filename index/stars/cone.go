package stars

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// margin is added to a cone's radius when cells are chosen, for the rounding
// of places.
const margin = float64(sphere.Arcsecond)

// Cone appends to dst the stars within radius of centre that are not fainter
// than maxV, at an epoch given as Julian year, such as 2026.9. They come in
// order of their ID: bright layers first (in the embedded list V below 6.5,
// 8.5, 10, 11, rest), by place within a layer. Nothing is appended when centre is
// not a direction, radius is negative, a number is NaN, or the epoch is more
// than 1000 years from 2025. Cone allocates only to make dst grow.
func (l *List) Cone(dst []Star, centre sphere.Sky, radius sphere.Angle, maxV, epoch float64) []Star {
	dt, ok := years(epoch)
	if !ok {
		return dst
	}
	errs := l.errors(dt)
	l.cone(centre, radius, maxV, dt, func(id int, r record, y layer, v r3.Vec) bool {
		dst = append(dst, newStar(id, r, y, v, &errs))
		return true
	})
	return dst
}

// ConeDots is Cone for a search that needs only direction, V and ID.
func (l *List) ConeDots(dst []Dot, centre sphere.Sky, radius sphere.Angle, maxV, epoch float64) []Dot {
	dt, ok := years(epoch)
	if !ok {
		return dst
	}
	l.cone(centre, radius, maxV, dt, func(id int, r record, y layer, v r3.Vec) bool {
		dst = append(dst, Dot{v, y.magnitude(r), uint32(id)})
		return true
	})
	return dst
}

// Each calls f for every star not fainter than maxV, in order of ID, until f
// returns false. The epoch is a Julian year; see Cone.
func (l *List) Each(maxV, epoch float64, f func(Star) bool) {
	dt, ok := years(epoch)
	if !ok {
		return
	}
	errs := l.errors(dt)
	l.cone(sphere.SkyAt(0, 0), math.Pi, maxV, dt, func(id int, r record, y layer, v r3.Vec) bool {
		return f(newStar(id, r, y, v, &errs))
	})
}

// visit receives a star; it returns false to end the search.
type visit func(id int, r record, y layer, v r3.Vec) bool

func (l *List) cone(centre sphere.Sky, radius sphere.Angle, maxV, dt float64, f visit) {
	c := centre.Vec()
	if math.IsNaN(maxV) || !(math.Abs(r3.Norm2(c)-1) < 1e-6) || !(radius >= 0) {
		return
	}
	// Chords are as exact as angles and need no trigonometry.
	chord := 2 * math.Sin(math.Min(float64(radius), math.Pi)/2)
	s := search{list: l, centre: c, chord2: chord * chord, dt: dt}
	if radius >= math.Pi {
		s.chord2 = math.Inf(1)
	}
	ra, dec := centre.RADec()
	var p patch
	reach := float64(radius) + l.reach(dt)
	l.grid.cover(&p, float64(ra), float64(dec), min(reach, math.Pi))
	for k, y := range l.header.Layers {
		if !s.enter(y, maxV) || !s.patch(&p, k, f) {
			return
		}
	}
}

// search is a cone search within one layer.
type search struct {
	list     *List
	centre   r3.Vec
	chord2   float64
	dt       float64
	layer    layer
	faintest uint8 // code of V
}

// enter goes on to a layer; ok is false when all its stars are fainter than maxV.
func (s *search) enter(y layer, maxV float64) (ok bool) {
	code := math.Floor((maxV*1000 - float64(y.V0) + 1e-6) / float64(y.Step))
	s.layer, s.faintest = y, uint8(max(0, min(code, 255)))
	return code >= 0
}

func (s *search) patch(p *patch, layer int, f visit) bool {
	for i := p.first; i <= p.last; i++ {
		z := &s.list.grid.zones[i]
		start, count := int(p.spans[i].start), int(p.spans[i].count)
		over := max(0, start+count-z.count) // cells beyond right ascension 0
		if !s.row(z, layer, 0, over, f) || !s.row(z, layer, start, start+count-over, f) {
			return false
		}
	}
	return true
}

// row searches the cells of a zone from start to before end.
func (s *search) row(z *zone, layer, start, end int, f visit) bool {
	for i := start; i < end; i++ {
		first, next := s.list.row(z.first+i, layer), s.list.row(z.first+i+1, layer)
		if first == next {
			continue
		}
		a := z.axes(i)
		if !s.cell(&a, first, next, f) {
			return false
		}
	}
	return true
}

func (s *search) cell(a *axes, first, next int, f visit) bool {
	for id := first; id < next; id++ {
		r := s.list.record(id)
		if r.v() > s.faintest {
			break // sorted by V
		}
		v := a.at(s.list.place(id, r, s.dt))
		if r3.Norm2(r3.Sub(v, s.centre)) <= s.chord2 && !f(id, r, s.layer, v) {
			return false
		}
	}
	return true
}
