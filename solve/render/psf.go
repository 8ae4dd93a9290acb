package render

import "math"

// PSF is the image of a star. Its centroid is the star's place.
type PSF struct {
	FWHM float64 // of the round core, pixels
	Beta float64 // 0: Gaussian; else a Moffat profile (1 + r^2/a^2)^-Beta, above 1
	// Corner is how much wider than the core the image is along the radius in
	// the frame's corner, as a fraction of FWHM; grows with the radius squared.
	Corner float64
	// Coma is the length of a tail away from the centre in the frame's corner,
	// pixels; grows with the radius.
	Coma    float64
	Trail   float64 // length of a straight trail, pixels
	Angle   float64 // its direction, radians from the column axis toward increasing rows
	Defocus float64 // diameter of the disc of an unfocused star, pixels
	Hole    float64 // diameter of the hole in that disc over its own
}

// sigma returns the Gaussian sigma of a FWHM.
func sigma(fwhm float64) float64 { return fwhm / (2 * math.Sqrt(2*math.Ln2)) }

// spot is one of the points whose blurred sum is the star's image.
type spot struct{ dx, dy, w float64 }

// spots returns the points for a star at (x, y) of a w x h frame, with weights
// of sum 1 and their centroid at 0, 0.
func (p PSF) spots(x, y float64, w, h int) []spot {
	list := []spot{{0, 0, 1}}
	step := 0.5 * sigma(p.FWHM)
	u, v := x-float64(w-1)/2, y-float64(h-1)/2
	r := math.Hypot(u, v) / (math.Hypot(float64(w), float64(h)) / 2)
	if l := math.Hypot(u, v); l > 0 {
		u, v = u/l, v/l
	}
	if p.Corner > 0 && r > 0 {
		wide := 1 + p.Corner*r*r
		list = spread(list, gaussLine(u, v, sigma(p.FWHM)*math.Sqrt(wide*wide-1), step))
	}
	if p.Coma > 0 && r > 0 {
		list = spread(list, tail(u, v, p.Coma*r, step))
	}
	if p.Trail > 0 {
		list = spread(list, line(math.Cos(p.Angle), math.Sin(p.Angle), p.Trail, step))
	}
	if p.Defocus > 0 {
		list = spread(list, disc(p.Defocus/2, p.Defocus*p.Hole/2, 2*step))
	}
	return centred(list)
}

// spread replaces every spot of a by the pattern b around it.
func spread(a, b []spot) []spot {
	out := make([]spot, 0, len(a)*len(b))
	for _, p := range a {
		for _, q := range b {
			out = append(out, spot{p.dx + q.dx, p.dy + q.dy, p.w * q.w})
		}
	}
	return out
}

func centred(list []spot) []spot {
	var x, y, w float64
	for _, p := range list {
		x, y, w = x+p.w*p.dx, y+p.w*p.dy, w+p.w
	}
	for i := range list {
		list[i] = spot{list[i].dx - x/w, list[i].dy - y/w, list[i].w / w}
	}
	return list
}

func line(u, v, length, step float64) []spot {
	n := int(length/step) + 1
	var list []spot
	for i := range n {
		t := length * ((float64(i)+0.5)/float64(n) - 0.5)
		list = append(list, spot{t * u, t * v, 1})
	}
	return list
}

func gaussLine(u, v, s, step float64) []spot {
	step = min(step, s)
	n := int(4*s/step) + 1
	var list []spot
	for i := -n; i <= n; i++ {
		t := 4 * s * float64(i) / float64(n)
		list = append(list, spot{t * u, t * v, math.Exp(-t * t / (2 * s * s))})
	}
	return list
}

// tail is a line whose light falls linearly to nothing and which widens on the
// way, as comatic images do.
func tail(u, v, length, step float64) []spot {
	n := int(length/step) + 1
	var list []spot
	for i := range n {
		t := (float64(i) + 0.5) / float64(n)
		for _, side := range []float64{-1, 0, 1} {
			a := side * 0.25 * t * length
			list = append(list, spot{t*length*u - a*v, t*length*v + a*u, 1 - t})
		}
	}
	return list
}

func disc(r, hole, step float64) []spot {
	n := int(r/step) + 1
	var list []spot
	for i := -n; i <= n; i++ {
		for j := -n; j <= n; j++ {
			x, y := r*float64(i)/float64(n), r*float64(j)/float64(n)
			if d := math.Hypot(x, y); d <= r && d >= hole {
				list = append(list, spot{x, y, 1})
			}
		}
	}
	if len(list) == 0 {
		list = append(list, spot{0, 0, 1})
	}
	return list
}

// drawStars adds the stars' electrons to light.
func (s *Scene) drawStars(light []float32, stars []Star) {
	c := newCanvas(s, light)
	for _, st := range stars {
		if !(st.Flux > 0) {
			continue
		}
		for _, p := range s.PSF.spots(st.X, st.Y, s.W, s.H) {
			if s.PSF.Beta > 0 {
				c.moffat(st, p)
			} else {
				c.gauss(st, p)
			}
		}
	}
}

// canvas draws single spots; it holds the work space of one star.
type canvas struct {
	s      *Scene
	light  []float32
	px, py []float64
	colour func(x, y int) byte
}

func newCanvas(s *Scene, light []float32) *canvas {
	return &canvas{s: s, light: light, colour: colours(s.Sensor.Mosaic)}
}

// colours returns the filter in front of a pixel, 'G' for a sensor without.
func colours(mosaic string) func(x, y int) byte {
	if len(mosaic) != 4 {
		return func(int, int) byte { return 'G' }
	}
	return func(x, y int) byte { return mosaic[(y&1)*2+x&1] }
}

// response returns the factor of a colour for a light of given red and blue.
func response(c byte, red, blue float64) float64 {
	f := 1.0
	switch c {
	case 'R':
		f = red
	case 'B':
		f = blue
	}
	if f == 0 {
		f = 1
	}
	return f
}

// box returns the pixels within r of v, clipped to 0..n-1.
func box(v, r float64, n int) (lo, hi int) {
	lo = max(0, int(math.Ceil(math.Max(v-r, -1))))
	hi = min(n-1, int(math.Floor(math.Min(v+r, float64(n)))))
	return lo, hi
}

// faint is the electrons per pixel below which an image is cut off.
const faint = 0.01

// gauss adds a pixel-integrated Gaussian.
func (c *canvas) gauss(st Star, p spot) {
	sg := sigma(c.s.PSF.FWHM)
	flux := st.Flux * p.w
	x, y := st.X+p.dx, st.Y+p.dy
	r := sg*math.Sqrt(2*math.Log(math.Max(10, flux/(sg*sg*faint)))) + 1
	x0, x1 := box(x, r, c.s.W)
	y0, y1 := box(y, r, c.s.H)
	c.px = bins(c.px[:0], x, sg, x0, x1)
	c.py = bins(c.py[:0], y, sg, y0, y1)
	for j, wy := range c.py {
		row := c.light[(y0+j)*c.s.W:]
		for i, wx := range c.px {
			f := flux * wx * wy * response(c.colour(x0+i, y0+j), st.Red, st.Blue)
			row[x0+i] += float32(f)
		}
	}
}

// bins appends the share of a unit Gaussian in each pixel from lo to hi.
func bins(dst []float64, v, sg float64, lo, hi int) []float64 {
	k := 1 / (sg * math.Sqrt2)
	edge := math.Erf((float64(lo) - 0.5 - v) * k)
	for i := lo; i <= hi; i++ {
		next := math.Erf((float64(i) + 0.5 - v) * k)
		dst = append(dst, (next-edge)/2)
		edge = next
	}
	return dst
}

// moffat adds a Moffat profile, integrated over each pixel by midpoints.
func (c *canvas) moffat(st Star, p spot) {
	beta, fwhm := c.s.PSF.Beta, c.s.PSF.FWHM
	a := fwhm / (2 * math.Sqrt(math.Pow(2, 1/beta)-1))
	peak := st.Flux * p.w * (beta - 1) / (math.Pi * a * a)
	x, y := st.X+p.dx, st.Y+p.dy
	r := a*math.Sqrt(math.Max(0, math.Pow(peak/faint, 1/beta)-1)) + 1
	r = math.Max(3*fwhm, math.Min(r, 100*fwhm))
	x0, x1 := box(x, r, c.s.W)
	y0, y1 := box(y, r, c.s.H)
	for j := y0; j <= y1; j++ {
		row := c.light[j*c.s.W:]
		for i := x0; i <= x1; i++ {
			n := 1
			if d := math.Hypot(float64(i)-x, float64(j)-y); d < 2*fwhm+1 {
				n = 1 + int(6/math.Max(fwhm, 1))
			}
			var sum float64
			for q := range n {
				dy := float64(j) - 0.5 + (float64(q)+0.5)/float64(n) - y
				for k := range n {
					dx := float64(i) - 0.5 + (float64(k)+0.5)/float64(n) - x
					sum += math.Pow(1+(dx*dx+dy*dy)/(a*a), -beta)
				}
			}
			f := peak * sum / float64(n*n) * response(c.colour(i, j), st.Red, st.Blue)
			row[i] += float32(f)
		}
	}
}
