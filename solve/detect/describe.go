package detect

import (
	"math"
)

// survey tells what the picture is like, stars aside.
func (f *Field) survey(p *picture) {
	f.Background, f.Noise = p.mesh.typical()
	f.Mended = p.mends
	if p.full < math.MaxFloat32 {
		f.Full = float64(p.full)
	}
	tiles := float64(len(p.mesh.level))
	flat := true
	for k, level := range p.mesh.level {
		if level >= blown*p.full {
			f.Blown += 1 / tiles
		}
		if p.mesh.torn[k] {
			f.Torn += 1 / tiles
		}
		flat = flat && p.mesh.noise[k] <= quantum(p)
	}
	f.Flat = flat
}

// fill puts the stars into the field, no more than limit.
func (f *Field) fill(stars []Star, limit int) {
	f.Found = len(stars)
	f.Empty = emptiness(stars, f.W, f.H)
	for _, i := range spread(len(stars), limit, func(i int) (x, y float64) { return stars[i].X, stars[i].Y }, f.W, f.H) {
		f.Stars = append(f.Stars, stars[i])
	}
}

// describe tells what the frame's stars are like, from the picture they were
// measured on and the model, in pixels of the given size.
func (f *Field) describe(p *picture, m *model, size float64) {
	f.Rejected = map[string]int{}
	for v, n := range p.verdicts {
		if n > 0 && verdict(v) != star {
			f.Rejected[verdictNames[v]] = n
		}
	}
	if m.stars >= 3 {
		q := m.at(m.w/2, m.h/2)
		f.FWHM, f.Elongation = size*q.fwhm(), q.elongation()
		_, _, f.Angle = q.bare().axes()
		if m.rest != nil {
			pr := m.profile(q)
			middle, _, _, _ := pr.at(0, 0)
			f.Hollow = middle < 0.8*m.rest.top()
		}
	}
	if m.invGain > 0 {
		f.Gain = 1 / (m.invGain * size * size)
	}
}

// top returns the highest value of a profile at the rest's nodes.
func (r *rest) top() float64 {
	half := float64(r.n-1) / 2
	top := math.Inf(-1)
	for j := range r.n {
		for i := range r.n {
			u, v := (float64(i)-half)*r.step, (float64(j)-half)*r.step
			top = math.Max(top, math.Exp(-(u*u+v*v)/2)+r.v[j*r.n+i])
		}
	}
	return top
}

// emptiness returns the share of the frame that holds so few stars, in view of
// the rest, as chance gives to one part in a thousand.
func emptiness(stars []Star, w, h int) float64 {
	const parts = 6 // a side; no source
	var count [parts * parts]float64
	for _, s := range stars {
		i := min(max(int((s.X+0.5)*parts/float64(w)), 0), parts-1)
		j := min(max(int((s.Y+0.5)*parts/float64(h)), 0), parts-1)
		count[j*parts+i]++
	}
	sorted := count
	usual := quantile(sorted[:], 0.75)
	empty := 0.0
	for _, n := range count {
		if n < usual/4 && poissonTail(n, usual) < 1e-3 {
			empty++
		}
	}
	return empty / (parts * parts)
}

// poissonTail returns the chance of n or fewer where mean are expected.
func poissonTail(n, mean float64) float64 {
	p := math.Exp(-mean)
	sum := p
	for k := 1.0; k <= n; k++ {
		p *= mean / k
		sum += p
	}
	return sum
}
