package axis

import (
	"fmt"
	"math"
	"sort"
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
	// Turn is the angle the mount turned about Axis since the earliest frame used,
	// right-handed about Axis, -180 to 180 degrees: counter-clockwise for someone
	// who looks from the pole down the axis at the mount. TurnErr is its standard
	// error.
	Turn, TurnErr sphere.Angle
	// LocalFromCam is the attitude; Cov its covariance as a rotation vector in the
	// camera's frame, square radians.
	LocalFromCam sphere.Rot
	Cov          [3][3]float64
	// Kept marks the matches that were not found wrong.
	Kept           []bool
	Stars, Inliers int // matches, and those kept
	// RMS is the root mean square distance between measured and fitted positions
	// of the matches kept, in RMSPixels the same in pixels.
	RMS       sphere.Angle
	RMSPixels float64
	// Floor is the error per coordinate, in pixels, that the stars showed beyond
	// their stated errors.
	Floor float64
	// Misfit is how far the frame's own attitude, fitted to its stars alone, lies
	// from the one a mount gives it that turns about one axis.
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
	index     []int // of the sightings in the bundle, by time
	bundle    bundle
	own       attitudes // of the frames in the bundle
	used      []int     // of the bundle's frames, those the mount is fitted to
	event     event     // between the frames used, when one is certain
	first     glsFit    // over used, without tilt
	best      glsFit    // with tilt
	tilt      float64
	warnings  []Warning
}

func newFit(ss []Sighting) *fit {
	f := &fit{sightings: ss}
	order := make([]int, len(ss))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(a, b int) bool { return ss[order[a]].Time.Before(ss[order[b]].Time) })
	for _, i := range order {
		if len(ss[i].Matches) < fewest {
			f.warn(Warning{Kind: NoStars, Frames: []int{i}, Count: len(ss[i].Matches)})
			continue
		}
		f.index = append(f.index, i)
		f.bundle.frames = append(f.bundle.frames, prepare(&ss[i]))
	}
	if len(f.index) > 0 {
		f.bundle.setLens(ss, f.index)
	}
	return f
}

// prepare puts the stars of a sighting where they are observed. Their variances
// are of the centroid, of the catalogue, and of refraction low in the sky.
func prepare(s *Sighting) []star {
	stars := make([]star, len(s.Matches))
	for j, m := range s.Matches {
		local := s.Place.Observed(m.Sky)
		cat := float64(m.CatErr) * s.Lens.F
		air := float64(s.Place.ModelErr(local)) * s.Lens.F
		stars[j] = star{local: local.Vec(), x: m.X, y: m.Y, variance: m.Err*m.Err + cat*cat + air*air, weight: 1}
	}
	return stars
}

// setLens starts from the sighting whose focal length is the median one.
func (b *bundle) setLens(ss []Sighting, index []int) {
	by := append([]int(nil), index...)
	sort.SliceStable(by, func(i, j int) bool { return ss[by[i]].Lens.F < ss[by[j]].Lens.F })
	s := &ss[by[len(by)/2]]
	b.lens, b.middle = s.Lens, s.Lens
	b.hold = [lensParams]float64{priorF, priorK, priorK, priorCentre * float64(s.W), priorCentre * float64(s.W)}
	b.middle.K1, b.middle.K2 = 0, 0
	b.middle.CX, b.middle.CY = float64(s.W-1)/2, float64(s.H-1)/2
}

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
	scale := f.bundle.calibrate(3*len(own) + lensParams)
	cov := f.bundle.last.inverse()
	n := 3 * len(own)
	f.own = attitudes{own, mat.NewSymDense(n, nil)}
	for i := range n {
		for j := i; j < n; j++ {
			f.own.cov.SetSym(i, j, scale*cov.At(i, j))
		}
	}
	return nil
}

// calibrate multiplies all variances by the chi-square per degree of freedom,
// drawn toward 1 when there are few degrees, and returns that factor.
func (b *bundle) calibrate(params int) float64 {
	const belief = 10 // degrees of freedom the stated errors are worth
	sum, free := 0.0, -params
	for i := range b.frames {
		n, q, _ := b.tally(i)
		sum += q
		free += 2 * n
	}
	if free < 1 {
		return 1
	}
	s := (sum + belief) / float64(free+belief)
	for i := range b.frames {
		b.floor[i] *= s
		for j := range b.frames[i] {
			b.frames[i][j].variance *= s
			b.frames[i][j].q /= s
		}
	}
	return s
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
	weak := &WeakError{Reason: NoTurn, Frames: len(f.used), Turn: sphere.Angle(turn), TurnErr: sphere.Angle(sigma),
		Least: sphere.Angle(math.Max(float64(leastTurn), 5*sigma))}
	if weak.Turn < weak.Least {
		return weak
	}
	ok := f.fitAll()
	if ok || len(f.used) > 3 {
		f.investigate(ok)
		ok = f.fitAll()
	}
	if !ok {
		return weak
	}
	f.best = f.first
	if f.first.free > 0 {
		a = f.own.only(f.used)
		f.tilt = a.tiltFor(f.first)
		if t, ok := a.fit(f.first.m, f.tilt); ok {
			f.best = t
		}
	}
	if s := f.best.axisSigma(); !(s < float64(largestSigma)) {
		weak.Reason, weak.AxisErr = TooUncertain, sphere.Angle(s)
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

// mountFit finds a mount for the attitudes from scratch.
func (a attitudes) mountFit(elevated r3.Vec, e event, tilt float64) (glsFit, bool) {
	if turn, _ := a.largestTurn(); turn < float64(leastTurn) {
		return glsFit{}, false
	}
	m, ok := firstMount(a.camFromLocal, elevated)
	if !ok {
		return glsFit{}, false
	}
	m.event = e
	g, ok := a.fit(m, tilt)
	if ok && r3.Dot(g.m.axis(), elevated) < 0 { // the fit crossed the limit between the two ends
		g, ok = a.fit(g.m.reversed(), tilt)
	}
	return g, ok
}

// reversed returns the same mount with the other end of its axis as z.
func (m *mount) reversed() *mount {
	c := *m
	over := sphere.Turn(unitX, sphere.Angle(math.Pi))
	c.mountFromLocal = over.Mul(m.mountFromLocal)
	c.camFromMount = m.camFromMount.Mul(over)
	c.turn = make([]float64, len(m.turn))
	for i, t := range m.turn {
		c.turn[i] = -t
	}
	c.event.v = [2]float64{}
	return &c
}

// Limits below which there is no answer.
const (
	leastTurn    = 0.25 * sphere.Degree // 1 arcsec of flexure moves the axis by 4 arcmin
	largestSigma = 0.5 * sphere.Degree
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

// tiltFor returns the frames' own scatter about one rotation that makes their
// misfits likeliest, given that the mount was fitted to the same frames
// (restricted maximum likelihood of a variance component: Patterson & Thompson
// 1971), 0 when there is none. It is found where |P e|^2 falls to the trace of
// P, with P the weights freed of what the mount's parameters take up: misfits
// that frames cannot help showing, such as the poor field orientation of a narrow
// field, do not pass for scatter. The model is taken as linear about g.
func (a attitudes) tiltFor(g glsFit) float64 {
	e := mat.NewVecDense(3*len(a.camFromLocal), nil)
	a.misfit(g.m, e)
	t := a.design(g.m)
	excess := func(tilt float64) float64 {
		w, ok := a.weights(tilt)
		if !ok {
			return -1
		}
		normal, _ := normalOf(t, w, e)
		var k scaledCholesky
		if !k.factorize(normal) {
			return -1
		}
		var wt, wtc, p mat.Dense
		wt.Mul(w, t)
		wtc.Mul(&wt, k.inverse())
		p.Mul(&wtc, wt.T())
		p.Sub(w, &p)
		var pe mat.VecDense
		pe.MulVec(&p, e)
		return mat.Dot(&pe, &pe) - mat.Trace(&p)
	}
	if excess(0) <= 0 {
		return 0
	}
	lo, hi := 1e-9, 1e-7 // 0.0002 and 0.02 arcsec
	for excess(hi) > 0 && hi < 1 {
		lo, hi = hi, 4*hi
	}
	for hi > 1.01*lo {
		mid := math.Sqrt(lo * hi)
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
