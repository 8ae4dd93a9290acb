// Package series tells from a series of photographs what went wrong with air, optics
// or mount, by what their stars look like: how much light they bring for their
// catalogue magnitudes, over the whole picture and in its parts, how wide they are, and
// how long and in which direction.
//
// A Look is what one photograph shows; Judge weighs what may have happened against each
// other and against nothing, and names what is as good as certain. It knows nothing of
// how the frames fit together: what turned between them is the business of package axis.
package series

import (
	"cmp"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis/drive"
	"pintle/axis/place"
	"pintle/index/sphere"
	"pintle/solve"
	"pintle/solve/detect"
)

// Look is what one photograph shows of its stars. The zero value shows nothing.
type Look struct {
	Name string
	At   time.Time // middle of the exposure

	solved bool
	found  int     // spots that were measured
	sky    float64 // level of the background, in the picture's units a second
	light  light
	fwhm   float64 // px, geometric mean of both axes; 0 when there are no stars to tell
	width  float64 // across a trail
	trail  trail
	scale  sphere.Angle // per pixel
	tally  tally
}

// light is by how much the stars are fainter in the picture than in the catalogue: mean
// of the measured magnitude, of one unit a second, minus V, what the air takes at the
// usual extinction taken off.
type light struct {
	stars    int
	dim      float64 // magnitudes, at the stars' mean V
	err      float64
	v        float64
	slope    float64 // of dim with V: 0 but for pictures that are not proportional to light
	slopeErr float64
	air      float64 // mean, in masses of air
	part     [parts * parts]part
}

// part is a part of the picture: how much fainter its stars are than all.
type part struct {
	stars    int
	dim, err float64
	air      float64 // more than the mean
}

const (
	parts      = 3    // a side
	fewLights  = 5    // stars, for the light of a frame
	fewOfPart  = 3    // and of a part
	leastError = 0.03 // magnitudes, of a mean (no source)
	// Extinction at a usual site, magnitudes in V for one mass of air, and how far
	// sites and nights differ (common practice, no source).
	extinction, extinctionErr = 0.25, 0.1
)

// Of looks at a photograph with the stars found in it. s is nil when it was not
// recognised, p when nobody knows where it was taken; exposure is 0 when it is not
// known.
func Of(name string, at time.Time, f *detect.Field, s *solve.Solution, p *place.Place, exposure time.Duration) Look {
	l := Look{Name: name, At: at, solved: s != nil, found: f.Found, fwhm: f.FWHM, width: f.FWHM}
	seconds := exposure.Seconds()
	if seconds <= 0 {
		seconds = 1 // the same for all is as good
	}
	l.sky = f.Background / seconds
	if s == nil {
		return l
	}
	l.light = lightOf(f, s, p, seconds)
	l.scale = s.ScaleAtCentre()
	l.trail = trailOf(f, s, exposure)
	l.tally = tallyOf(f, s, p, at)
	if f.Elongation > 0 {
		l.width = f.FWHM / math.Sqrt(f.Elongation)
	}
	return l
}

// lamp is a star's own light.
type lamp struct{ x, y, v, dim, air float64 }

func lightOf(f *detect.Field, s *solve.Solution, p *place.Place, seconds float64) (l light) {
	var lamps []lamp
	for _, m := range s.Matches {
		d := &f.Stars[m.Detected]
		if d.Flags&(detect.Saturated|detect.Edge|detect.Blended|detect.Uncertain) != 0 || !(d.Flux > 0) || d.ErrFlux > 0.3*d.Flux {
			continue
		}
		k := lamp{x: d.X, y: d.Y, v: float64(m.Star.V), dim: -2.5*math.Log10(d.Flux/seconds) - float64(m.Star.V)}
		if p != nil {
			_, alt := p.Observed(m.Star.Pos).AzAlt()
			k.air = place.AirMass(alt)
			k.dim -= extinction * k.air
		}
		lamps = append(lamps, k)
	}
	if lamps = alike(lamps); len(lamps) < fewLights {
		return l
	}
	l.stars = len(lamps)
	n := float64(l.stars)
	for _, k := range lamps {
		l.v, l.dim, l.air = l.v+k.v/n, l.dim+k.dim/n, l.air+k.air/n
	}
	var svv, svd float64
	for _, k := range lamps {
		svv += (k.v - l.v) * (k.v - l.v)
		svd += (k.v - l.v) * (k.dim - l.dim)
	}
	l.slope = svd / (svv + 1) // drawn toward 0 when the magnitudes hardly differ
	scatter := 0.0
	for i := range lamps {
		lamps[i].dim -= l.dim + l.slope*(lamps[i].v-l.v)
		scatter += lamps[i].dim * lamps[i].dim / (n - 1)
	}
	scatter = math.Max(math.Sqrt(scatter), 0.1)
	l.slopeErr = scatter / math.Sqrt(svv+1)
	l.err = math.Hypot(scatter/math.Sqrt(n), leastError)
	l.divide(lamps, f.W, f.H, scatter)
	return l
}

// alike leaves out what is far brighter or fainter than most: variable stars, wrong
// matches, what lies behind a branch.
func alike(lamps []lamp) []lamp {
	far := func(k lamp, mid float64) float64 { return math.Abs(k.dim - mid) }
	mid := median(lamps, func(k lamp) float64 { return k.dim })
	usual := median(lamps, func(k lamp) float64 { return far(k, mid) })
	return slices.DeleteFunc(lamps, func(k lamp) bool { return far(k, mid) > math.Max(5*usual, 0.3) })
}

// median returns the median of f over the list, 0 for none.
func median[T any](list []T, f func(T) float64) float64 {
	if len(list) == 0 {
		return 0
	}
	var v []float64
	for _, x := range list {
		v = append(v, f(x))
	}
	slices.SortFunc(v, cmp.Compare)
	return v[len(v)/2]
}

// partOf returns the part of a picture of w x h pixels that a place is in.
func partOf(x, y float64, w, h int) int {
	at := func(x float64, w int) int { return min(max(int((x+0.5)/float64(w)*parts), 0), parts-1) }
	return at(y, h)*parts + at(x, w)
}

// divide tells what the parts of a picture of w x h pixels have too little. The lamps'
// light is what it is beyond the mean, and scatters by so much.
func (l *light) divide(lamps []lamp, w, h int, scatter float64) {
	for _, k := range lamps {
		p := &l.part[partOf(k.x, k.y, w, h)]
		p.stars++
		p.dim += k.dim
		p.air += k.air - l.air
	}
	for i := range l.part {
		if p := &l.part[i]; p.stars > 0 {
			p.dim, p.air = p.dim/float64(p.stars), p.air/float64(p.stars)
			p.err = math.Hypot(scatter/math.Sqrt(float64(p.stars)), leastError)
		}
	}
}

// trail is how the stars in the middle of a picture are drawn out.
type trail struct {
	length float64 // px, as if even; 0 for stars that are round
	angle  float64 // of its direction, radians from +x toward +y
	along  float64 // that of RA's turn there; both are good to half a turn
	off    float64 // how far the direction of RA's turn may be off, radians
	sky    float64 // px that the sky turns while the shutter is open, 0 unknown
}

// likeTrail is the elongation from which stars are trailed rather than drawn out by
// optics or seeing (no source, chosen on 2026-11-28 on photographs of a camera that stood,
// with a fast lens: up to 1.97, and not along the trail).
const likeTrail = 2

func trailOf(f *detect.Field, s *solve.Solution, exposure time.Duration) (t trail) {
	x, y := float64(s.W-1)/2, float64(s.H-1)/2
	pole := s.CamFromSky.Apply(r3.Vec{Z: 1})
	look := s.Lens.Cam(x, y).Vec()
	away := sphere.CamVec(pole).Sep(sphere.CamVec(look)).Sin()
	step := sphere.Angle(1e-3)
	u, v, ok := s.Lens.PixelVec(sphere.Turn(pole, step).Apply(look))
	if !ok || away < nearPole {
		return t
	}
	t.along = math.Atan2(v-y, u-x)
	t.off = math.Hypot(measured, float64(axisOff)/away)
	t.sky = math.Hypot(u-x, v-y) / float64(step) * drive.Sidereal * exposure.Seconds()
	if f.Elongation < likeTrail || f.Found < fewLights {
		return t
	}
	t.angle = f.Angle
	t.length = lengthOf(f.FWHM*math.Sqrt(f.Elongation), f.FWHM/math.Sqrt(f.Elongation))
	return t
}

const (
	nearPole = 0.1               // sine of the distance from the pole below which no direction is RA's
	measured = 0.1               // radians, of a trail's direction
	axisOff  = 2 * sphere.Degree // how far a mount's axis is off the pole before it is adjusted (no source)
)

// lengthOf returns how long an even trail is that looks so long and so wide, FWHM of the
// Gaussian that fits best. Short ones add their variance, length^2/12, to that of the
// star; of long ones the Gaussian that reproduces its own weighted moments
// (Bernstein & Jarvis 2002) has a standard deviation of length/2.8: the condition is
// that half of the weight's variance is that of a box under it.
func lengthOf(long, wide float64) float64 {
	const perFWHM = 2.3548
	sigma := math.Sqrt(math.Max(long*long-wide*wide, 0)) / perFWHM
	short, far := math.Sqrt(12)*sigma, 2.8*sigma
	share := math.Min(sigma*perFWHM/(3*math.Max(wide, 0.1)), 1)
	return short + share*(far-short)
}
