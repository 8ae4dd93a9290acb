package detect

import "math"

// verdict says what became of a source.
type verdict uint8

const (
	star    verdict = iota
	noSky           // too little background around it
	noFit           // the fit does not converge
	faint           // below the signal to noise asked for
	spiky           // a single pixel, a cosmic ray
	streak          // part of a line
	broad           // much larger than a star
	ragged          // a gap between leaves, a notch in an edge
	strange         // nothing like a star
	outside         // beyond the frame
	double          // found twice
	verdicts
)

var verdictNames = [verdicts]string{
	"star", "without sky around", "shapeless", "too faint", "single pixel", "line", "too large", "edge or gap", "unlike a star", "outside", "found twice",
}

// source is a peak on its way to be a star.
type source struct {
	peak
	amp  float64 // estimate of the Gaussian's peak
	full bool    // has saturated pixels
	near []int32 // sources whose light reaches it
	seen bool    // fx, fy, amps are measured
	fx   float64 // pixels
	fy   float64
	amps [4]float64
}

// pixelNoise returns the rms of a background pixel at a place.
func (p *picture) pixelNoise(x, y float64) float64 {
	_, noise := p.mesh.at(float32(x), float32(y))
	return 2 * float64(noise)
}

// sources prepares the peaks: amplitude from the filtered value, neighbours.
func (p *picture) sources(list []peak, m *model) []source {
	src := make([]source, len(list))
	g := newGrid(p.im.W, p.im.H, 32)
	for i, k := range list {
		q := m.at(float64(k.x), float64(k.y))
		// The level's kernel has a variance of one block, the block itself adds.
		v := (1 + pixelVariance) * float64(int(1)<<(2*k.level))
		wide := shape{q.xx + v, q.xy, q.yy + v}
		src[i] = source{peak: k, amp: float64(k.f) * math.Sqrt(wide.det()/q.det()), fx: float64(k.x), fy: float64(k.y)}
		src[i].full = p.brightest(k) >= p.full
		g.add(k.x, k.y, i)
	}
	p.parallel(len(src), func(i int) {
		s := &src[i]
		q := m.at(s.fx, s.fy)
		_, r := radii(q)
		g.near(s.x, s.y, float32(r), func(id int) bool {
			o := &src[id]
			if id != i && math.Abs(float64(o.x-s.x)) < r && math.Abs(float64(o.y-s.y)) < r && o.amp > 0.03*s.amp {
				s.near = append(s.near, int32(id))
			}
			return true
		})
	})
	return src
}

// radii returns the inner radius of the ring that tells the background and the
// half width of the stamp.
func radii(q shape) (inner, outer float64) {
	long, _, _ := q.axes()
	return radius(q), radius(q) + math.Max(4, 1.3*long)
}

// radius is where a star's image ends.
func radius(q shape) float64 {
	long, _, _ := q.axes()
	return cutoff*long + 1
}

// cut loads a source's stamp, other sources' light taken out.
func (k *source) cut(s *stamp, p *picture, q shape, clean func(s *stamp)) bool {
	inner, outer := radii(q)
	return s.load(p, k.fx, k.fy, inner, outer, clean)
}

// lonely reports whether no neighbour disturbs the source.
func (k *source) lonely(src []source, m *model) bool {
	q := m.at(k.fx, k.fy)
	long, _, _ := q.axes()
	for _, id := range k.near {
		o := &src[id]
		if d := math.Hypot(float64(o.x-k.x), float64(o.y-k.y)); d < 2*cutoff*long && o.amp > 0.05*k.amp {
			return false
		}
	}
	return true
}

// without returns a function that subtracts the source's neighbours.
func (k *source) without(src []source, m *model) func(s *stamp) {
	if len(k.near) == 0 {
		return nil
	}
	return func(s *stamp) {
		for _, id := range k.near {
			o := &src[id]
			if o.full {
				continue
			}
			pr := m.profile(m.at(o.fx, o.fy))
			amps := o.amps
			if !o.seen {
				amps = [4]float64{o.amp, o.amp, o.amp, o.amp}
			}
			s.subtract(&pr, o.fx-float64(s.x0), o.fy-float64(s.y0), amps)
		}
	}
}

// subtract takes a star's light out of the stamp.
func (s *stamp) subtract(p *profile, x, y float64, amp [4]float64) {
	rx, ry := cutoff*math.Sqrt(p.q.xx), cutoff*math.Sqrt(p.q.yy)
	for j := max(int(math.Ceil(y-ry)), 0); j <= min(int(math.Floor(y+ry)), s.h-1); j++ {
		for i := max(int(math.Ceil(x-rx)), 0); i <= min(int(math.Floor(x+rx)), s.w-1); i++ {
			if g, _, _, in := p.at(float64(i)-x, float64(j)-y); in {
				s.v[j*s.w+i] -= float32(amp[s.classAt(s.x0+i, s.y0+j)] * g)
			}
		}
	}
}
