package detect

import (
	"math"

	"pintle/solve/frame"
)

// Trails. A star that is much longer than wide falls to pieces: no window that
// suits its width holds its length, and each piece passes for a star somewhere along
// the trail. Shrunk by the right factor the trail is short enough to be measured as a
// whole, and its middle is the star's place at mid exposure. Once direction and length
// are known, the picture is turned and squeezed along the trails until they are about
// round: all of a trail's light then counts, against no more noise than lies under it.

// Limits (no source, chosen on rendered trails of 8 to 60 pixels, TestLongTrails).
const (
	likeTrail   = 3.5 // elongation from which a longer one may hide
	likeBlur    = 15  // FWHM, pixels, of what may be pieces of trails side by side
	longer      = 1.25
	surelyTrail = 2.5 // elongation of a trail seen whole
	fewTrails   = 8   // stars
	squeezeFrom = 2.2 // elongation from which squeezing gains
	mostSqueeze = 40
	// ends is what the profile does not tell of where trails end: the error of a place
	// along them beyond what the pixels' noise makes, over their rms length.
	ends = 0.025
	// piece is the error along a trail of which a piece may have been taken for the
	// whole, over its length.
	piece       = 0.3
	fewSqueezed = 5 // stars
	// mostSqueezed is the largest picture that is squeezed, px: it takes four bytes each.
	mostSqueezed = 40_000_000
)

// perhapsTrailed reports whether the stars may be pieces of longer trails.
func (f *Field) perhapsTrailed() bool {
	return f.Elongation > likeTrail || f.FWHM > likeBlur
}

// length returns the full width at half maximum along the stars' long axis, pixels.
func (f *Field) length() float64 { return f.FWHM * math.Sqrt(f.Elongation) }

// lookForTrails measures the stars on the shrunk picture when that shows them to be
// trails longer than they look on the picture as it is.
func (f *Field) lookForTrails(p *picture, o Options) {
	for _, by := range []int{2, 4} {
		if p.im.W/by < 64 || p.im.H/by < 64 {
			return
		}
		im := p.shrink(by).im
		if p.full < math.MaxFloat32 {
			im.Saturation = p.full
		}
		g, _ := seek(im, o)
		size := float64(by)
		if g.Found < fewTrails || g.Elongation < surelyTrail || size*g.length() < longer*f.length() {
			continue
		}
		f.Stars = f.Stars[:0]
		for _, s := range g.Stars {
			f.Stars = append(f.Stars, s.grown(size))
		}
		f.Found, f.Empty, f.Rejected, f.Hollow = g.Found, g.Empty, g.Rejected, g.Hollow
		f.FWHM, f.Elongation, f.Angle, f.Gain = size*g.FWHM, g.Elongation, g.Angle, g.Gain/(size*size)
	}
}

// squeezeTrails measures trailed stars on the picture squeezed along them. Where that
// does not show them whole, what was found may be pieces, and says so in its errors.
func (f *Field) squeezeTrails(p *picture, o Options) {
	if f.Elongation < squeezeFrom || p.im.W < 64 || p.im.H < 64 || p.im.W*p.im.H > mostSqueezed {
		return
	}
	// The length is not known well before it is seen squeezed.
	for _, by := range []float64{f.Elongation, 2 * f.Elongation, 4 * f.Elongation} {
		for range 2 {
			sq := p.squeezed(f.Angle, int(math.Round(min(max(by, 2), mostSqueeze))))
			g, _ := seek(sq.im, o)
			long := sq.along(g) // what is left of it, long over wide
			if f.whole(g, long) {
				*f = *sq.back(g, f)
				f.refine(p, o)
				return
			}
			if g.Elongation == 0 {
				break
			}
			by = float64(sq.by) * min(max(long, 0.3), 3)
		}
	}
	if f.Elongation > likeTrail {
		for i := range f.Stars {
			f.Stars[i].widen(piece*f.length(), f.Angle)
		}
	}
}

// whole reports whether a squeezed picture shows the trails as a whole, so much longer
// than wide.
func (f *Field) whole(g *Field, long float64) bool {
	least := f.Found
	if f.Elongation > likeTrail { // some may be pieces
		least /= 2
	}
	return g.Found >= max(least, fewSqueezed) && long < 1.8 && long > 1/1.8
}

// widen adds an error along a direction, px.
func (s *Star) widen(by, angle float64) {
	s.ErrX, s.ErrY = math.Hypot(s.ErrX, by*math.Cos(angle)), math.Hypot(s.ErrY, by*math.Sin(angle))
}

// refine measures the stars once more on the picture as it is, whose pixels resolve the
// ends of the trails, with the shape that the squeezed one has shown.
func (f *Field) refine(p *picture, o Options) {
	q := f.shape()
	q.xx, q.yy = q.xx+pixelVariance, q.yy+pixelVariance
	mean := (q.xx + q.yy) / 2
	m := &model{w: float64(f.W), h: float64(f.H), terms: 1, stars: len(f.Stars), trailed: true, limits: [2]float64{mean / 2, 2 * mean}}
	m.coef[0][0], m.coef[1][0], m.coef[2][0] = q.xx, q.xy, q.yy
	v := 1 + pixelVariance // as of a peak of the finest level
	wide := shape{q.xx + v, q.xy, q.yy + v}
	var list []peak
	for _, s := range f.Stars {
		list = append(list, peak{x: float32(s.X), y: float32(s.Y), f: float32(s.Flux / (2 * math.Pi * math.Sqrt(wide.det()))), snr: float32(s.Flux / s.ErrFlux)})
	}
	stars := p.measure(list, m, o.Sigma)
	if len(stars)*2 < len(f.Stars) {
		return
	}
	long, _, angle := q.axes()
	for i := range stars {
		stars[i].widen(ends*long, angle)
	}
	f.Stars = f.Stars[:0]
	f.fill(stars, o.Limit)
	f.describe(p, m, 1)
}

// squeeze is a picture turned by an angle, so that its rows run along it, and squeezed
// along them.
type squeeze struct {
	im     *frame.Image
	cos    float64
	sin    float64
	by     int
	cx, cy float64 // its own middle
	px, py float64 // that of the picture it was made of
}

// source returns the place of a pixel in the picture that it was made of.
func (s *squeeze) source(u, v float64) (x, y float64) {
	a, b := (u-s.cx)*float64(s.by), v-s.cy
	return s.px + a*s.cos - b*s.sin, s.py + a*s.sin + b*s.cos
}

// squeezed turns and squeezes the picture. What lies outside is no number, a pixel
// with a saturated one in it is saturated. A mosaic's colours are merged by the way.
func (p *picture) squeezed(angle float64, by int) *squeeze {
	s := &squeeze{cos: math.Cos(angle), sin: math.Sin(angle), by: by, px: float64(p.im.W-1) / 2, py: float64(p.im.H-1) / 2}
	w, h := float64(p.im.W), float64(p.im.H)
	nu := int((w*math.Abs(s.cos) + h*math.Abs(s.sin)) / float64(by))
	nv := int(w*math.Abs(s.sin) + h*math.Abs(s.cos))
	s.cx, s.cy = float64(nu-1)/2, float64(nv-1)/2
	all := make([]float32, p.im.W*p.im.H)
	p.parallel(p.im.H, func(y int) {
		row := p.span(y, 0, p.im.W, all[y*p.im.W:(y+1)*p.im.W])
		copy(all[y*p.im.W:], row)
	})
	full := p.full
	s.im = &frame.Image{W: nu, H: nv, F32: make([]float32, nu*nv)}
	if full < math.MaxFloat32 {
		s.im.Saturation = full
	}
	p.parallel(nv, func(v int) {
		for u := range nu {
			s.im.F32[v*nu+u] = s.mean(all, p.im.W, p.im.H, u, v, full)
		}
	})
	return s
}

// mean returns a pixel of the squeezed picture: the mean of points one pixel apart along
// the trail.
func (s *squeeze) mean(all []float32, w, h, u, v int, full float32) float32 {
	sum, saturated := float32(0), false
	for k := range s.by {
		x, y := s.source(float64(u)+(float64(k)+0.5)/float64(s.by)-0.5, float64(v))
		i, j := int(math.Floor(x)), int(math.Floor(y))
		if i < 0 || j < 0 || i >= w-1 || j >= h-1 {
			return float32(math.NaN())
		}
		a, b := float32(x-float64(i)), float32(y-float64(j))
		q := all[j*w+i:]
		r := all[(j+1)*w+i:]
		saturated = saturated || max(q[0], q[1], r[0], r[1]) >= full
		sum += (1-b)*((1-a)*q[0]+a*q[1]) + b*((1-a)*r[0]+a*r[1])
	}
	if saturated {
		return max(sum/float32(s.by), full)
	}
	return sum / float32(s.by)
}

// shape returns the second moments of a field's stars, px squared.
func (f *Field) shape() shape {
	l, t := f.FWHM*math.Sqrt(f.Elongation)/fwhmPerRMS, f.FWHM/math.Sqrt(f.Elongation)/fwhmPerRMS
	c, s := math.Cos(f.Angle), math.Sin(f.Angle)
	return shape{l*l*c*c + t*t*s*s, (l*l - t*t) * c * s, l*l*s*s + t*t*c*c}
}

// along returns how long the stars of a squeezed picture are along its rows, over their
// width across.
func (s *squeeze) along(g *Field) float64 {
	q := g.shape()
	return math.Sqrt(q.xx / q.yy)
}

// back returns what was found on the squeezed picture in the pixels of the one it was
// made of, whose field was f.
func (s *squeeze) back(g, f *Field) *Field {
	out := *f
	by := float64(s.by)
	q := g.shape()
	q.xx, q.xy = q.xx*by*by, q.xy*by
	c2, s2, cs := s.cos*s.cos, s.sin*s.sin, s.cos*s.sin
	q = shape{q.xx*c2 + q.yy*s2 - 2*q.xy*cs, (q.xx-q.yy)*cs + q.xy*(c2-s2), q.xx*s2 + q.yy*c2 + 2*q.xy*cs}
	long, short, angle := q.axes()
	out.Elongation, out.Angle, out.FWHM = long/short, angle, fwhmPerRMS*math.Sqrt(long*short)
	out.Found, out.Rejected, out.Hollow, out.Gain = g.Found, g.Rejected, false, g.Gain*by
	out.Stars = nil
	for _, st := range g.Stars {
		a, b := st.ErrX*by, st.ErrY
		st.ErrX, st.ErrY = math.Hypot(a*s.cos, b*s.sin), math.Hypot(a*s.sin, b*s.cos)
		st.X, st.Y = s.source(st.X, st.Y)
		st.Flux, st.ErrFlux = st.Flux*by, st.ErrFlux*by
		st.FWHM, st.Elongation = out.FWHM, out.Elongation
		out.Stars = append(out.Stars, st)
	}
	out.Empty = emptiness(out.Stars, f.W, f.H)
	return &out
}
