package axis

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis/place"
	"pintle/axis/unrest"
	"pintle/index/sphere"
)

// Fit finds the axis from two or more sightings of one camera on one mount that
// was turned about its right ascension axis, and about nothing else, in any
// order and by any angles.
//
// Every star's pixel is predicted as
//
//	Lens( camFromMount . Rot(z, -turn of the frame) . mountFromLocal . observed place )
//
// and all parameters - the axis, the camera on the mount, a turn for each
// frame, one lens - are fitted together by weighted least squares (Gauss-Newton
// on exact derivatives), wrong matches being found and left out. Weights come
// from the centroid's and the catalogue's errors and a floor that the residuals
// call for.
//
// The error is a *WeakError when the frames give no answer, a plain one when
// the input cannot be used at all.
func Fit(sightings []Sighting) (*Result, error) { return FitAs(sightings, Manner{}) }

// FitAs is Fit for a mount of which other evenings have shown something.
func FitAs(sightings []Sighting, as Manner) (*Result, error) {
	if len(sightings) < 2 {
		return nil, &WeakError{Frames: len(sightings), Reason: TooFewFrames}
	}
	if err := checkTogether(sightings); err != nil {
		return nil, err
	}
	f := newFit(trusted(sightings))
	f.manner = as
	if err := f.attitudes(); err != nil {
		return nil, err
	}
	if err := f.mount(); err != nil {
		return nil, err
	}
	return f.result()
}

// fit carries one call of Fit from step to step.
type fit struct {
	sightings []Sighting
	manner    Manner
	index     []int // of the sightings taken, by time
	bundle    bundle
	own       attitudes // of the frames in the bundle
	used      []int     // of the bundle's frames, those the mount is fitted to
	event     event     // between the frames used, when one is certain
	first     glsFit    // over used, without scatter
	best      glsFit    // with it
	sky       view      // the axis, averaged over what may have happened
	stars     view      // the same if nothing but the stars' errors turned the frames
	scatter   float64   // of the frames about one rotation, standard deviation per axis
	warnings  []Warning
}

func newFit(ss []Sighting) *fit {
	f := &fit{sightings: ss}
	for i := range ss {
		f.index = append(f.index, i)
	}
	slices.SortStableFunc(f.index, func(a, b int) int { return ss[a].Time.Compare(ss[b].Time) })
	f.index = slices.DeleteFunc(f.index, func(i int) bool {
		few := len(ss[i].Matches) < fewest || spread(ss[i].Matches) < leastSpread
		if few {
			f.warn(Warning{Kind: NoStars, Frames: []int{i}, Count: len(ss[i].Matches), Least: fewest})
		}
		return few
	})
	return f
}

// leastSpread is how far apart, in pixels, a frame's stars must at least lie to
// tell how it is turned.
const leastSpread = 10

// spread returns the larger side of the rectangle around all stars.
func spread(ms []Match) float64 {
	lo, hi := [2]float64{ms[0].X, ms[0].Y}, [2]float64{ms[0].X, ms[0].Y}
	for _, m := range ms {
		lo[0], lo[1] = math.Min(lo[0], m.X), math.Min(lo[1], m.Y)
		hi[0], hi[1] = math.Max(hi[0], m.X), math.Max(hi[1], m.Y)
	}
	return math.Max(hi[0]-lo[0], hi[1]-lo[1])
}

// prepare puts the stars of a sighting where they are observed. Their variances
// are of the centroid, of the catalogue, and of refraction low in the sky.
func prepare(s *Sighting) []star {
	stars, trust := make([]star, len(s.Matches)), make([]float64, len(s.Matches))
	for j, m := range s.Matches {
		local := s.Place.Observed(m.Sky)
		cat := float64(m.CatErr) * s.Lens.F
		air := float64(s.Place.ModelErr(local)) * s.Lens.F
		trust[j] = place.Trust(local)
		stars[j] = star{local: local.Vec(), x: m.X, y: m.Y, variance: m.Err*m.Err + cat*cat + air*air, weight: 1}
	}
	weighTrust(stars, trust)
	return stars
}

// attitudes fits each frame by itself. Frames whose stars fall nowhere near the
// catalogue's were recognised wrongly and are left out.
func (f *fit) attitudes() error {
	var start []sphere.Rot
	var frames [][]star
	f.index = slices.DeleteFunc(f.index, func(i int) bool {
		s := &f.sightings[i]
		stars := prepare(s)
		r, scatter := firstAttitude(s, stars)
		if !(scatter*s.Lens.F < mostScatter*2*s.Lens.Half) {
			f.warn(Warning{Kind: Scrambled, Frames: []int{i}, Count: len(stars), Angle: sphere.Angle(scatter)})
			return true
		}
		start, frames = append(start, r), append(frames, stars)
		return false
	})
	if len(f.index) < 2 {
		return &WeakError{Reason: TooFewFrames, Frames: len(f.index)}
	}
	f.bundle.frames = frames
	f.bundle.setLens(f.sightings, f.index)
	own, err := f.bundle.fitFree(start)
	if err != nil {
		return &WeakError{Reason: NoAttitude, Frames: len(f.index)}
	}
	f.setAttitudes(own)
	return nil
}

// believed returns what is believed of the mount; nil when nothing is known of it.
func (f *fit) believed() []unrest.Belief {
	if f.manner.Scatter <= 0 {
		return nil
	}
	return f.manner.Beliefs()
}

// mostScatter is the median distance of a frame's stars from where they should
// be, as a share of its diagonal, at which it counts as recognised wrongly.
const mostScatter = 0.01

// setAttitudes keeps the frames' own attitudes with their covariance.
func (f *fit) setAttitudes(own free) {
	scale := f.bundle.calibrate(3*len(own) + lensParams)
	cov := f.bundle.last.Inverse()
	n := 3 * len(own)
	f.own = attitudes{own, mat.NewSymDense(n, nil), f.believed(), &independent{}}
	for i := range n {
		for j := i; j < n; j++ {
			f.own.cov.SetSym(i, j, scale*cov.At(i, j))
		}
	}
}

// mount fits the axis to the frames' attitudes, looks into frames that do not
// fit, and refuses geometry that is too weak.
func (f *fit) mount() error {
	f.used = make([]int, len(f.index))
	for i := range f.used {
		f.used[i] = i
	}
	a := f.own
	turn, sigma := a.largestTurn()
	if a.flipped(f.elevated()) {
		return &WeakError{Reason: Flipped, Frames: len(f.used)}
	}
	weak := &WeakError{Reason: NoTurn, Frames: len(f.used), Turn: sphere.Angle(turn), TurnErr: sphere.Angle(sigma),
		Least: sphere.Angle(math.Max(float64(leastTurn), 5*sigma))}
	if weak.Turn < weak.Least {
		return weak
	}
	if !f.explain() {
		return weak
	}
	a, ok := f.own.only(f.used), true
	if f.event.kind != nothing {
		m := *f.first.m
		m.event = f.event
		if g, ok := a.fit(&m, 0); ok {
			f.first = g
		}
	}
	f.best = f.first
	if g, ok := a.fit(f.first.m, f.scatter); ok {
		f.best = g
	}
	if f.stars, ok = a.still(&f.first); !ok {
		return weak
	}
	if s := f.sky.sigma(); !(s < float64(largestSigma)) {
		weak.Reason, weak.AxisErr, weak.Most = TooUncertain, sphere.Angle(s), largestSigma
		if weak.Turn > enoughTurn {
			weak.Reason = NotOneAxis
		}
		return weak
	}
	return nil
}

// fitAll fits the mount to the frames used.
func (f *fit) fitAll() (ok bool) {
	f.first, ok = f.own.only(f.used).mountFit(f.elevated(), f.event, 0)
	return ok
}

// elevated returns the direction of the elevated pole.
func (f *fit) elevated() r3.Vec { return f.sightings[0].Place.TruePole().Vec() }

// Limits below which there is no answer.
const (
	leastTurn    = 0.25 * sphere.Degree // 1 arcsec of flexure moves the axis by 4 arcmin
	largestSigma = 0.5 * sphere.Degree
)
