package detect

import "math"

// shape is the second moments of a Gaussian in pixels squared, the width of a
// pixel included.
type shape struct{ xx, xy, yy float64 }

const pixelVariance = 1.0 / 12

// fwhmPerRMS is the full width at half maximum of a Gaussian over its rms width:
// 2 sqrt(2 ln 2).
const fwhmPerRMS = 2.3548200450309493

func (q shape) det() float64 { return q.xx*q.yy - q.xy*q.xy }

// axes returns the rms widths along the long and short axis and the long
// axis' direction, radians from +x toward +y.
func (q shape) axes() (long, short, angle float64) {
	mean, diff := (q.xx+q.yy)/2, (q.xx-q.yy)/2
	d := math.Hypot(diff, q.xy)
	return math.Sqrt(mean + d), math.Sqrt(math.Max(mean-d, 0)), 0.5 * math.Atan2(q.xy, diff)
}

// fwhm returns the geometric mean FWHM of the light, pixel width removed.
func (q shape) fwhm() float64 {
	long, short, _ := q.bare().axes()
	return fwhmPerRMS * math.Sqrt(long*short)
}

// elongation returns long over short axis of the light, pixel width removed.
func (q shape) elongation() float64 {
	long, short, _ := q.bare().axes()
	return long / short
}

// bare removes the pixel's width, down to a FWHM of 0.7 pixels.
func (q shape) bare() shape {
	const least = 0.09 // px squared, the variance of a FWHM of 0.7
	long, short, angle := q.axes()
	l2 := math.Max(long*long-pixelVariance, least)
	s2 := math.Max(short*short-pixelVariance, least)
	c, s := math.Cos(angle), math.Sin(angle)
	return shape{l2*c*c + s2*s*s, (l2 - s2) * c * s, l2*s*s + s2*c*c}
}

// moments finds the Gaussian that fits the star in the stamp best: centroid
// and second moments weighted by the Gaussian itself, iterated until they
// agree (adaptive moments: Bernstein & Jarvis 2002, AJ 123, 583). Start at
// (x, y) in stamp coordinates with shape q. Colours of a mosaic are brought
// to one scale by tone.
func (s *stamp) moments(x, y float64, q shape, tone [4]float64) (cx, cy float64, out shape, ok bool) {
	startX, startY := x, y
	area := q.det()
	for iter := range 60 {
		det := q.det()
		if !(det > 1e-4) {
			return x, y, q, false
		}
		ixx, ixy, iyy := q.yy/det, -q.xy/det, q.xx/det
		var sw, sx, sy, sxx, sxy, syy float64
		s.ellipse(x, y, q, 4, func(i, j int, v float64) {
			dx, dy := float64(i)-x, float64(j)-y
			e := ixx*dx*dx + 2*ixy*dx*dy + iyy*dy*dy
			if e > 16 {
				return
			}
			w := gauss(e) * v / tone[s.classAt(s.x0+i, s.y0+j)]
			sw += w
			sx += w * dx
			sy += w * dy
			sxx += w * dx * dx
			sxy += w * dx * dy
			syy += w * dy * dy
		})
		if !(sw > 0) {
			return x, y, q, false
		}
		dx, dy := sx/sw, sy/sw
		x, y = x+2*dx, y+2*dy
		n := shape{2 * (sxx/sw - dx*dx), 2 * (sxy/sw - dx*dy), 2 * (syy/sw - dy*dy)}
		if !(n.det() > 1e-4) || n.xx <= 0 || n.det() > 100*area || math.Hypot(x-startX, y-startY) > 2*math.Sqrt(math.Sqrt(area))+2 {
			return x, y, q, false
		}
		change := math.Abs(n.xx-q.xx) + math.Abs(n.yy-q.yy) + math.Abs(n.xy-q.xy)
		q = n
		if iter > 2 && change < 2e-3*(q.xx+q.yy) {
			break
		}
	}
	return x, y, q, true
}

// ellipse calls f for the usable pixels in the box around k sigma.
func (s *stamp) ellipse(x, y float64, q shape, k float64, f func(i, j int, v float64)) {
	rx, ry := k*math.Sqrt(q.xx), k*math.Sqrt(q.yy)
	i0, i1 := max(int(math.Ceil(x-rx)), 0), min(int(x+rx), s.w-1)
	j0, j1 := max(int(math.Ceil(y-ry)), 0), min(int(y+ry), s.h-1)
	for j := j0; j <= j1; j++ {
		for i := i0; i <= i1; i++ {
			v := s.v[j*s.w+i]
			if v == v && v < inf {
				f(i, j, float64(v))
			}
		}
	}
}
