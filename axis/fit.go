package axis

import (
	"fmt"
	"math"
	"time"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis/place"
	"pintle/index/optics"
	"pintle/index/sphere"
)

// Result is where the mount's axis is and how well that is known.
type Result struct {
	// Axis is the end of the rotation axis that lies toward the elevated pole.
	Axis sphere.Local
	// Cov is the covariance of Axis in square radians: altitude first, then
	// azimuth as an angle on the sky. It holds everything the fit estimated
	// besides, and the scatter of stars and of frames as found; the error of
	// refraction comes on top, in Offset.
	Cov [2][2]float64
	// Frames has one entry for each sighting, in the order given.
	Frames []FrameFit
	// Lens is the lens of all frames.
	Lens optics.Lens
	// MountFromLocal and CamFromMount make up the attitudes: the mount's frame has
	// its z along Axis and its y up, and
	// camFromLocal(i) = CamFromMount . Rot(z, -Turn i) . MountFromLocal.
	MountFromLocal, CamFromMount sphere.Rot
	// RMS is the root mean square distance between measured and fitted star
	// positions.
	RMS sphere.Angle
	// Stars and Used count the matches of the frames used and those among them
	// that were not wrong.
	Stars, Used int
	// Floor is the standard error per coordinate that the stars showed beyond
	// their stated errors.
	Floor sphere.Angle
	// Tilt is the standard deviation, per axis, of the frames' scatter about one
	// rotation, beyond what their stars explain; 0 with two frames, which always
	// fit.
	Tilt sphere.Angle
	// Misfit is the sum of squares of the frames' attitudes about one rotation,
	// before Tilt: chi-square with MisfitFree degrees of freedom when all is well.
	Misfit     float64
	MisfitFree int
	Warnings   []Warning

	place *place.Place
	// perRefraction is the motion of the axis (altitude, azimuth on the sky) when
	// refraction grows by its own amount.
	perRefraction [2]float64
}

// FrameFit is what the fit says of one frame.
type FrameFit struct {
	Name string
	Time time.Time
	// Used is false for a frame left out of the fit; the warnings say why, and the
	// attitude is then the frame's own.
	Used bool
	// Turn is the angle the mount turned about Axis since the first frame used,
	// right-handed about Axis, -180 to 180 degrees: counter-clockwise for someone
	// who looks from the pole down the axis at the mount. TurnErr is its standard error.
	Turn, TurnErr sphere.Angle
	// LocalFromCam is the attitude; Cov its covariance as a rotation vector in the
	// camera's frame, square radians.
	LocalFromCam sphere.Rot
	Cov          [3][3]float64
	// Stars were matched, Kept marks those not found wrong and Used counts them.
	Stars, Inliers int
	Kept           []bool
	// RMS is the root mean square distance between measured and fitted positions.
	RMS sphere.Angle
	// Misfit is how far the frame's own attitude lies from the one on the mount.
	Misfit sphere.Angle
}

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
func Fit(sightings []Sighting) (*Result, error) {
	if len(sightings) < 2 {
		return nil, &WeakError{Frames: len(sightings), Reason: TooFewFrames}
	}
	if err := checkTogether(sightings); err != nil {
		return nil, err
	}
	f := newFit(sightings)
	if len(f.index) < 2 {
		return nil, &WeakError{Frames: len(f.index), Reason: TooFewFrames}
	}
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
	index     []int // of the sightings in the bundle
	bundle    bundle
	own       attitudes // of the frames in the bundle
	used      []int     // of the bundle's frames, those the mount is fitted to
	best      glsFit    // over used
	tilt      float64
	first     glsFit // before tilt
	warnings  []Warning
}

func newFit(ss []Sighting) *fit {
	f := &fit{sightings: ss}
	for i := range ss {
		s := &ss[i]
		if len(s.Matches) < fewest {
			f.warn(Warning{Kind: FewStars, Frame: i, Count: len(s.Matches)})
			continue
		}
		stars := make([]star, len(s.Matches))
		for j, m := range s.Matches {
			cat := float64(m.CatErr) * s.Lens.F
			stars[j] = star{local: s.Place.Observed(m.Sky).Vec(), x: m.X, y: m.Y, variance: m.Err*m.Err + cat*cat, weight: 1}
		}
		f.index = append(f.index, i)
		f.bundle.frames = append(f.bundle.frames, stars)
	}
	if len(f.index) == 0 {
		return f
	}
	// The lens starts as the median of the frames' by focal length.
	fs := make([]float64, 0, len(f.index))
	for _, i := range f.index {
		fs = append(fs, ss[i].Lens.F)
	}
	mid := median(fs)
	near := f.index[0]
	for _, i := range f.index {
		if math.Abs(ss[i].Lens.F-mid) < math.Abs(ss[near].Lens.F-mid) {
			near = i
		}
	}
	s := &ss[near]
	b := &f.bundle
	b.lens, b.width = s.Lens, float64(s.W)
	b.middle = b.lens
	b.middle.K1, b.middle.K2 = 0, 0
	b.middle.CX, b.middle.CY = float64(s.W-1)/2, float64(s.H-1)/2
	return f
}

func (f *fit) warn(w Warning) { f.warnings = append(f.warnings, w) }

// attitudes fits each frame by itself.
func (f *fit) attitudes() error {
	start := make([]sphere.Rot, len(f.index))
	for k, i := range f.index {
		var ok bool
		if start[k], ok = firstAttitude(&f.sightings[i], f.bundle.frames[k]); !ok {
			return fmt.Errorf("frame %s: no attitude from its stars", f.sightings[i].Name)
		}
	}
	own, err := f.bundle.fitFree(start)
	if err != nil {
		return err
	}
	f.calibrate(3*len(own) + lensParams)
	cov, ok := f.bundle.covariance(own)
	if !ok {
		return errSingular
	}
	n := 3 * len(own)
	f.own = attitudes{own, mat.NewSymDense(n, nil)}
	for i := range n {
		for j := i; j < n; j++ {
			f.own.cov.SetSym(i, j, cov.At(i, j))
		}
	}
	return nil
}

// calibrate multiplies all variances by the chi-square per degree of freedom,
// drawn toward 1 when there are few degrees.
func (f *fit) calibrate(params int) {
	b := &f.bundle
	const belief = 10 // degrees of freedom the stated errors are worth
	sum, free := 0.0, -params
	for i := range b.frames {
		n, q, _ := b.tally(i)
		sum += q
		free += 2 * n
	}
	if free < 1 {
		return
	}
	s := (sum + belief) / float64(free+belief)
	b.floor *= s
	for i := range b.frames {
		for j := range b.frames[i] {
			b.frames[i][j].variance *= s
			b.frames[i][j].q /= s
		}
	}
}

// elevated returns the direction of the elevated pole.
func (f *fit) elevated() r3.Vec { return f.sightings[0].Place.TruePole().Vec() }

// mount fits the axis to the frames' attitudes, refuses geometry that is too
// weak, and looks into frames that do not fit.
func (f *fit) mount() error {
	f.used = make([]int, len(f.index))
	for i := range f.used {
		f.used[i] = i
	}
	if err := f.refit(); err != nil {
		return err
	}
	return nil
}

// refit fits the mount to the frames used.
func (f *fit) refit() error {
	a := f.own.only(f.used)
	if turn, sigma := a.largestTurn(); turn < float64(leastTurn) || turn < 5*sigma {
		return &WeakError{Frames: len(f.used), Reason: NoTurn, Turn: sphere.Angle(turn), TurnErr: sphere.Angle(sigma)}
	}
	m, ok := firstMount(a.camFromLocal, f.elevated())
	if !ok {
		return &WeakError{Frames: len(f.used), Reason: NoTurn}
	}
	g, ok := a.fit(m, 0)
	if !ok {
		turn, sigma := a.largestTurn()
		return &WeakError{Frames: len(f.used), Reason: NoTurn, Turn: sphere.Angle(turn), TurnErr: sphere.Angle(sigma)}
	}
	f.first, f.best, f.tilt = g, g, 0
	if g.q > float64(g.free) && g.free > 0 {
		f.tilt = a.tiltFor(g)
		if t, ok := a.fit(g.m, f.tilt); ok {
			f.best = t
		}
	}
	if s := f.best.axisSigma(); !(s < float64(largestSigma)) {
		turn, sigma := a.largestTurn()
		return &WeakError{Frames: len(f.used), Reason: TooUncertain, Turn: sphere.Angle(turn), TurnErr: sphere.Angle(sigma), AxisErr: sphere.Angle(s)}
	}
	return nil
}

// Limits below which there is no answer.
const (
	leastTurn    = 0.25 * sphere.Degree // 1 arcsec of flexure would move the axis by 4 arcmin
	largestSigma = 1 * sphere.Degree
)

// largestTurn returns the largest rotation between two frames, whatever its
// axis, and its standard error.
func (a attitudes) largestTurn() (turn, sigma float64) {
	for i := range a.camFromLocal {
		for j := i + 1; j < len(a.camFromLocal); j++ {
			v := a.camFromLocal[j].Inv().Mul(a.camFromLocal[i])
			t := float64(v.Angle())
			if t <= turn {
				continue
			}
			turn = t
			// The error along the rotation: in the local frame, then in each camera's.
			u := v.Vec()
			if n := r3.Norm(u); n > 0 {
				u = r3.Scale(1/n, u)
			}
			ci, cj := a.camFromLocal[i].Apply(u), a.camFromLocal[j].Apply(u)
			sigma = math.Sqrt(math.Max(0, a.quad(i, i, ci, ci)+a.quad(j, j, cj, cj)-2*a.quad(i, j, ci, cj)))
		}
	}
	return turn, sigma
}

// quad returns u' C v for the covariance block of frames i and j.
func (a attitudes) quad(i, j int, u, v r3.Vec) (s float64) {
	x, y := [3]float64{u.X, u.Y, u.Z}, [3]float64{v.X, v.Y, v.Z}
	for p := range 3 {
		for q := range 3 {
			s += x[p] * a.cov.At(3*i+p, 3*j+q) * y[q]
		}
	}
	return s
}

// tiltFor returns the frame scatter with which the misfit is just what chance
// would give: its sum of squares equals its degrees of freedom (the moment
// estimate of a variance component; Mandel & Paule 1970).
func (a attitudes) tiltFor(g glsFit) float64 {
	excess := func(tilt float64) float64 {
		t, ok := a.fit(g.m, tilt)
		if !ok {
			return -1
		}
		return t.q - float64(t.free)
	}
	lo, hi := 0.0, 1e-7
	for excess(hi) > 0 && hi < 1 {
		lo, hi = hi, 4*hi
	}
	for range 30 {
		mid := (lo + hi) / 2
		if excess(mid) > 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}

// axisSigma returns the larger standard error of the axis, radians.
func (g *glsFit) axisSigma() float64 {
	a, b, c := g.cov.At(0, 0), g.cov.At(0, 1), g.cov.At(1, 1)
	return math.Sqrt((a+c)/2 + math.Hypot((a-c)/2, b))
}
