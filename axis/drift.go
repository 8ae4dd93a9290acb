package axis

import (
	"fmt"
	"math"
	"time"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis/drive"
	"pintle/index/sphere"
)

// Watch is what a telescope left tracking without guiding tells of its axis:
// stars that drift in declination, and a field that turns. It is another road
// to the axis than turning the mount by hand, and so a check of it.
type Watch struct {
	// Axis is the end of the axis toward the elevated pole, Cov its covariance as
	// in Result. A narrow field tells the part of the axis' error that makes the
	// declination drift at this hour angle, and of the other part only what the
	// field's turn shows, which may be little.
	Axis sphere.Local
	Cov  [2][2]float64
	// Dec, RA and Field are what was seen, per hour, against a mount that points
	// to the refracted pole and turns at the sidereal rate: stars moving north in
	// the mount's frame, stars moving west in it (as an angle on the sky; it holds
	// the drive's own errors too), and the mount's north turning from celestial
	// north toward east.
	Dec, RA, Field Rate
	Span           time.Duration // from the first frame to the last
	HA, Dec0       sphere.Angle  // hour angle, west positive, and declination of the middle of the frames, about the refracted pole
	Tilt           sphere.Angle  // scatter of the frames about one rotation, beyond what their stars explain
	Frames         []string      // by time
}

// Rate is a change per hour with its standard error.
type Rate struct{ PerHour, Err sphere.Angle }

// NoWatchError says why frames that are good in themselves are no watch.
type NoWatchError struct {
	Kind        NoWatch
	Frame       string
	Angle       sphere.Angle
	Span, Least time.Duration // of the frames, and that is needed
}

// NoWatch is a kind of reason why frames are no watch.
type NoWatch int

// The reasons.
const (
	TooShort    NoWatch = iota // Span, Least
	TooWeak                    // the axis is uncertain by Angle after Span
	NotTracking                // the camera of Frame stands still although the sky turned by Angle
	OtherPatch                 // Frame is Angle from where tracking would have left it
	NoAxis                     // the frames do not turn about an axis near the pole
)

// String names the reason for developers.
func (n NoWatch) String() string {
	return name(int(n), "too short", "too weak", "not tracking", "of another patch", "no axis near the pole")
}

func (e *NoWatchError) Error() string {
	return fmt.Sprintf("no watch: %v, frame %q, angle %v, span %v", e.Kind, e.Frame, e.Angle, e.Span)
}

// Limits of a watch (no source, chosen on simulated nights).
const (
	leastWatch = 90 * time.Second   // the sky turns by 0.38 degree
	samePatch  = 3 * sphere.Degree  // how far frames may be from where tracking would have left them
	standStill = 0.25               // fraction of the sky's turn below which the mount did not track
	watchSigma = 2 * sphere.Degree  // smaller standard error of the axis beyond which nothing is learned
	widestAxis = 10 * sphere.Degree // how far from the pole the axis may come out
)

// WatchDrift finds the axis from two or more sightings of the same patch of
// sky, taken over some minutes while the mount tracked and nobody guided it.
//
// Model: each frame's attitude has turned about the axis since the first, by an
// angle of its own, so that neither the rate nor the periodic error of the
// drive matters; least squares on the attitudes with their full covariance.
// Places are observed ones, so refraction does not pass for drift.
func WatchDrift(sightings []Sighting) (*Watch, error) {
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
	times := make([]time.Time, len(f.index))
	w := &Watch{}
	for k, i := range f.index {
		times[k] = sightings[i].Place.Time()
		w.Frames = append(w.Frames, sightings[i].Name)
	}
	middle := sightings[f.index[len(f.index)/2]].Place
	if err := w.fit(f.own, times, middle.RefractedPole(), middle.South()); err != nil {
		return nil, err
	}
	return w, nil
}

// fit fills the watch from attitudes at times in order.
func (w *Watch) fit(a attitudes, times []time.Time, pole sphere.Local, south bool) error {
	n := len(times)
	w.Span = times[n-1].Sub(times[0])
	if w.Span < leastWatch {
		return &NoWatchError{Kind: TooShort, Span: w.Span, Least: leastWatch}
	}
	ideal := drive.NewFrame(pole, south)
	turns := make([]float64, n) // right-handed about the elevated pole
	for i, t := range times {
		turns[i] = -float64(drive.SkyTurn(t.Sub(times[0])))
		if south {
			turns[i] = -turns[i]
		}
	}
	slips := a.slips(turns, pole.Vec())
	if err := tracked(slips, turns, w.Frames); err != nil {
		return err
	}
	v, err := a.watch(turns, pole.Vec())
	if err != nil {
		return err
	}
	w.Axis, w.Tilt, w.Cov = sphere.LocalVec(v.axis()), sphere.Angle(v.scatter), v.axisCov()
	if s := w.best(); !(s < watchSigma) || w.Axis.Sep(pole) > widestAxis {
		return &NoWatchError{Kind: TooWeak, Span: w.Span, Angle: s}
	}
	w.HA, w.Dec0 = ideal.Read(sphere.LocalVec(a.camFromLocal[n/2].Inv().Apply(unitZ)))
	w.rates(a, slips, times, drive.NewFrame(w.Axis, south), v.scatter)
	return nil
}

// best returns the smaller standard error of the axis.
func (w *Watch) best() sphere.Angle {
	c := w.Cov
	return sphere.Angle(math.Sqrt(math.Max(0, (c[0][0]+c[1][1])/2-math.Hypot((c[0][0]-c[1][1])/2, c[0][1]))))
}

// slips returns by how much each frame has turned against where a mount on the
// pole would have left it, as rotation vectors in the local frame.
func (a attitudes) slips(turns []float64, pole r3.Vec) []r3.Vec {
	out := make([]r3.Vec, len(turns))
	first := a.camFromLocal[0].Inv()
	for i, t := range turns {
		left := sphere.Turn(pole, sphere.Angle(t)).Mul(first)
		out[i] = a.camFromLocal[i].Inv().Mul(left.Inv()).Vec()
	}
	return out
}

// tracked returns an error when the frames do not show one patch of sky on a
// mount that tracks.
func tracked(slips []r3.Vec, turns []float64, names []string) error {
	for i, s := range slips {
		left := math.Abs(turns[i])
		switch {
		case r3.Norm(s) > (1-standStill)*left && r3.Norm(s) < (1+standStill)*left && left > float64(leastTurn):
			return &NoWatchError{Kind: NotTracking, Frame: names[i], Angle: sphere.Angle(left)}
		case r3.Norm(s) > float64(samePatch):
			return &NoWatchError{Kind: OtherPatch, Frame: names[i], Angle: sphere.Angle(r3.Norm(s))}
		}
	}
	return nil
}

// watch fits a mount that starts on the pole and tracks, and averages over what the
// frames may scatter and the camera sag.
func (a attitudes) watch(turns []float64, pole r3.Vec) (view, error) {
	m := &mount{mountFromLocal: uprightMount(pole), turn: append([]float64(nil), turns...)}
	m.camFromMount = a.camFromLocal[0].Mul(m.mountFromLocal.Inv())
	if g, ok := a.fit(m, 0); ok {
		vs := a.views(&g, causes(0, nil))
		if len(vs) > 0 && r3.Dot(vs[0].axis(), pole) > 0 {
			return vs[0], nil
		}
	}
	return view{}, &NoWatchError{Kind: NoAxis}
}

// rates fits a straight line to each part of the frames' motion, north and
// west being those of the mount's own frame: so the drive's errors stay out of
// the declination.
func (w *Watch) rates(a attitudes, slips []r3.Vec, times []time.Time, own drive.Frame, tilt float64) {
	n := len(times)
	hours := make([]float64, n)
	var north, west, line [][2]r3.Vec // local and camera frame
	for i := range n {
		hours[i] = times[i].Sub(times[0]).Hours()
		back := a.camFromLocal[i]
		b := back.Inv().Apply(unitZ)
		toWest := own.West(sphere.LocalVec(b))
		toNorth := r3.Cross(toWest, b)
		// The star moves against the camera: -(s x b) along u is s . (u x b).
		for _, x := range []struct {
			to  *[][2]r3.Vec
			dir r3.Vec
		}{{&north, r3.Cross(toNorth, b)}, {&west, r3.Cross(toWest, b)}, {&line, r3.Scale(-1, b)}} {
			*x.to = append(*x.to, [2]r3.Vec{x.dir, back.Apply(x.dir)})
		}
	}
	w.Dec = a.slope(slips, north, hours, tilt)
	w.RA = a.slope(slips, west, hours, tilt)
	w.Field = a.slope(slips, line, hours, tilt)
}

// slope fits y = a + rate t, y the part of the slips along dirs, by least
// squares with their covariance.
func (a attitudes) slope(slips []r3.Vec, dirs [][2]r3.Vec, hours []float64, tilt float64) Rate {
	n := len(slips)
	cov, y, t := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil), mat.NewDense(n, 2, nil)
	for i := range n {
		y.SetVec(i, r3.Dot(slips[i], dirs[i][0]))
		t.Set(i, 0, 1)
		t.Set(i, 1, hours[i])
		for j := i; j < n; j++ {
			cov.SetSym(i, j, a.quad(i, j, dirs[i][1], dirs[j][1]))
		}
		cov.SetSym(i, i, cov.At(i, i)+tilt*tilt)
	}
	var chol mat.Cholesky
	var wt, normal, inv mat.Dense
	var g, x mat.VecDense
	if !chol.Factorize(cov) || chol.SolveTo(&wt, t) != nil {
		return Rate{}
	}
	normal.Mul(t.T(), &wt)
	g.MulVec(wt.T(), y)
	if inv.Inverse(&normal) != nil {
		return Rate{}
	}
	x.MulVec(&inv, &g)
	return Rate{sphere.Angle(x.AtVec(1)), sphere.Angle(math.Sqrt(inv.At(1, 1)))}
}

// OffsetFrom returns the axis minus a pole, with the standard errors of the
// axis alone.
func (w *Watch) OffsetFrom(pole sphere.Local) Offset {
	return (&Result{Axis: w.Axis, Cov: w.Cov}).OffsetFrom(pole)
}

// Agreement compares the axis with another measurement of it, with covariance
// cov: diff is the axis here minus the other (altitude, azimuth on the sky),
// and sigma how many standard errors of a single number a difference as
// unlikely as this one would be.
func (w *Watch) Agreement(other sphere.Local, cov [2][2]float64) (alt, az sphere.Angle, sigma float64) {
	up, side := altAz(other.Vec())
	d := w.Axis.Vec()
	x, y := r3.Dot(d, up), r3.Dot(d, side)
	a, b, c := w.Cov[0][0]+cov[0][0], w.Cov[0][1]+cov[0][1], w.Cov[1][1]+cov[1][1]
	chi2 := (c*x*x - 2*b*x*y + a*y*y) / (a*c - b*b)
	return sphere.Angle(x), sphere.Angle(y), sigmas(chi2)
}

// sigmas turns chi-square with two degrees of freedom into the standard errors
// of a single normal number that is exceeded as rarely.
func sigmas(chi2 float64) float64 {
	p := math.Exp(-chi2 / 2)
	if p < 1e-15 { // the tail of the normal law, to a percent
		return math.Sqrt(chi2 - 2*math.Log(math.Sqrt(chi2*math.Pi/2)))
	}
	return math.Sqrt2 * math.Erfcinv(p)
}

// Between returns by how much the camera has turned between two sightings, as a
// rotation of the local frame, and the covariance of that (a rotation vector,
// local axes, square radians). Nothing is assumed of what turned; what the two
// share, as the lens' centre, cancels.
func Between(before, after Sighting) (turn sphere.Rot, cov *mat.SymDense, err error) {
	ss := []Sighting{before, after}
	if err := checkTogether(ss); err != nil {
		return turn, nil, err
	}
	f := newFit(ss)
	if len(f.index) < 2 {
		return turn, nil, &WeakError{Reason: TooFewFrames, Frames: len(f.index)}
	}
	if err := f.attitudes(); err != nil {
		return turn, nil, err
	}
	if len(f.index) < 2 {
		return turn, nil, &WeakError{Reason: TooFewFrames, Frames: len(f.index)}
	}
	first, second := 0, 1 // the fit sorts by time
	if f.index[0] != 0 {
		first, second = 1, 0
	}
	a := f.own
	back, forth := a.camFromLocal[first], a.camFromLocal[second]
	turn = forth.Inv().Mul(back)
	// The turn's error about a local direction u is the second frame's about u
	// minus the first one's about what u was before the turn.
	cov = mat.NewSymDense(3, nil)
	var u, w [3]r3.Vec
	for i, e := range []r3.Vec{unitX, unitY, unitZ} {
		u[i], w[i] = forth.Apply(e), back.Apply(turn.Inv().Apply(e))
	}
	for i := range 3 {
		for j := i; j < 3; j++ {
			cov.SetSym(i, j, a.quad(second, second, u[i], u[j])+a.quad(first, first, w[i], w[j])-
				a.quad(second, first, u[i], w[j])-a.quad(first, second, w[i], u[j]))
		}
	}
	return turn, cov, nil
}
