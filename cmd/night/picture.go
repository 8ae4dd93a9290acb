package night

import (
	"math"

	"pintle/index/sphere"
	"pintle/solve/frame"
	"pintle/solve/render"
)

// Render photographs frame i, counted from 0.
func (n *Night) Render(i int) *frame.Image { return n.shots[i].render() }

// RenderWith photographs frame i after change has put more into the scene than
// a Spec can say. What it does to the stars' images is not known to Stars.
func (n *Night) RenderWith(i int, change func(*render.Scene)) *frame.Image {
	return n.shots[i].renderWith(change)
}

func (s *shot) render() *frame.Image { return s.renderWith(func(*render.Scene) {}) }

func (s *shot) renderWith(change func(*render.Scene)) *frame.Image {
	spec := &s.night.spec
	c := &spec.Camera
	scene := render.Scene{
		W: c.W, H: c.H, Seed: spec.Seed ^ uint64(s.start.UnixNano())*0x9e3779b97f4a7c15,
		PSF: c.PSF, Sensor: c.Sensor,
		Sky: render.Sky{Level: spec.level(), DX: spec.Sky.DX, DY: spec.Sky.DY, Vignette: c.Vignette, Red: 0.9, Blue: 0.75},
	}
	scene.PSF.Trail = 0
	scene.Block = s.block(scene.Sky.Level)
	change(&scene)
	im := scene.Render(s.drawn(s.stars()))
	for _, p := range s.night.spots() {
		p.spoil(im)
	}
	return im
}

// drawn returns the stars as the renderer wants them. A trail becomes a row of
// points; each step of the exposure has its share of the light.
func (s *shot) drawn(list []Star) []render.Star {
	c := &s.night.spec.Camera
	out := make([]render.Star, 0, len(list))
	for _, st := range list {
		red, blue := tint(st.BV)
		p := render.Star{X: st.X, Y: st.Y, Flux: st.Flux, Red: red, Blue: blue}
		if len(st.Way) < 2 || st.path() < 0.25*c.PSF.FWHM {
			out = append(out, p)
			continue
		}
		p.Flux /= float64(len(st.Way) - 1)
		for i, to := range st.Way[1:] {
			out = appendLine(out, p, st.Way[i], to, 0.25*c.PSF.FWHM)
		}
	}
	return out
}

// appendLine appends a star as a row of points no more than gap apart.
func appendLine(out []render.Star, p render.Star, from, to [2]float64, gap float64) []render.Star {
	dx, dy := to[0]-from[0], to[1]-from[1]
	n := max(1, int(math.Ceil(math.Hypot(dx, dy)/gap)))
	p.Flux /= float64(n)
	for k := range n {
		u := (float64(k) + 0.5) / float64(n)
		p.X, p.Y = from[0]+u*dx, from[1]+u*dy
		out = append(out, p)
	}
	return out
}

// block returns what hides the sky, nil when nothing does.
func (s *shot) block(level float64) func(x, y int) (pass, own float32) {
	spec := &s.night.spec
	c := &spec.Camera
	ground := s.ground()
	if spec.Sky.Cloud == 0 {
		if ground == nil {
			return nil
		}
		return func(x, y int) (float32, float32) {
			p := ground(x, y)
			return p, (1 - p) * float32(0.05*level)
		}
	}
	const step = 8
	cloud := render.Cloud(c.W/step+2, c.H/step+2, spec.Sky.Cloud, 1, spec.Seed^uint64(s.start.Unix()/60))
	thick := newMesh(c.W, c.H, step, func(i, j int) float32 { _, own := cloud(i, j); return own })
	return func(x, y int) (float32, float32) {
		t, p := thick.at(x, y), float32(1)
		if ground != nil {
			p = ground(x, y)
		}
		return p * (1 - 0.98*t), (p*t*1.5 + (1-p)*0.05) * float32(level)
	}
}

// ground returns how much of each pixel is above the skyline, nil when all is.
func (s *shot) ground() func(x, y int) float32 {
	c := &s.night.spec.Camera
	t := s.truth()
	const step = 16
	skyline := max(0, s.night.spec.Sky.Skyline)
	lowest := sphere.Angle(math.Pi)
	alt := newMesh(c.W, c.H, step, func(i, j int) float32 {
		_, a := t.Local(float64(i*step), float64(j*step)).AzAlt()
		lowest = min(lowest, a)
		return float32((a - skyline) / t.Lens.Scale())
	})
	if lowest > skyline {
		return nil
	}
	return func(x, y int) float32 { return min(1, max(0, alt.at(x, y)+0.5)) }
}

// mesh holds values at every step-th pixel.
type mesh struct {
	step, w int
	v       []float32
}

func newMesh(w, h, step int, f func(i, j int) float32) *mesh {
	m := &mesh{step: step, w: w/step + 2}
	for j := range h/step + 2 {
		for i := range m.w {
			m.v = append(m.v, f(i, j))
		}
	}
	return m
}

// at interpolates linearly.
func (m *mesh) at(x, y int) float32 {
	i, j := x/m.step, y/m.step
	u, v := float32(x-i*m.step)/float32(m.step), float32(y-j*m.step)/float32(m.step)
	a := m.v[j*m.w+i:]
	b := m.v[(j+1)*m.w+i:]
	return (1-v)*((1-u)*a[0]+u*a[1]) + v*((1-u)*b[0]+u*b[1])
}
