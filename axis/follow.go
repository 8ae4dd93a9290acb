package axis

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis/place"
	"pintle/index/optics"
	"pintle/index/sphere"
)

// Follower carries a measured axis along while the adjusters are turned, from
// one solved photograph to the next, and says what was done between them.
//
// A frame's attitude is three numbers; turns of the azimuth adjuster, of the
// altitude adjuster and of RA are three as well. From one frame to the next
//
//	camFromLocal' = camFromLocal . Rot(axis, -RA) . Rot(side, alt) . Rot(up, az)
//
// with up the base's vertical, side the horizontal axis across the mount and axis
// the rotation axis, all in the local frame before the turns. The axis keeps its
// place in the camera's frame, so the camera shows where it goes.
//
// A narrow field says little of its own orientation, and one of the three turns
// would be poorly known. What else is known comes in as accounts of what may have
// happened: the drive tracks or stands, or RA was turned; one adjuster was turned,
// both, none; or what must not be touched was. Each account is one nonlinear
// least-squares step from the state before (an iterated extended Kalman filter),
// is weighed by its likelihood, and the likely ones are all carried on
// (Bar-Shalom, Li & Kirubarajan 2001, Estimation with Applications to Tracking and
// Navigation, chapter 11). The answer is the likeliest; its error includes by how
// much others differ that are nearly as likely.
//
// Estimated besides: how far the base is out of level, which couples the
// adjusters, the skew of the altitude adjuster's axis, the axis in the camera's
// frame (so frames between which RA was turned measure it further), the drive's
// error, the air's, and how restless the frames are. Accuracy: that of the
// measurement, and for each turn about the frame's own error of orientation, 2
// arcsec for 35 stars in a field of one degree; more where Ahead says so.
//
// Not told apart by one frame: declination from the altitude adjuster when the
// camera looks at the meridian (the adjuster is believed, until RA is turned), a
// moved tripod from a bent camera.
//
// The state is plain numbers: it goes to JSON and back without a change of a bit,
// and what follows depends on nothing else. Not for concurrent use.
type Follower struct {
	// Pole and Tolerance are what State speaks about; they may be changed at any
	// time. A tolerance of 0 stands for 1 arcminute.
	Pole      PoleKind
	Tolerance sphere.Angle
	// Aim is a pole of the caller's own, such as King's, in place of Pole; what
	// uncertain air does to it is taken to be what it does to the refracted one.
	Aim *sphere.Local

	lens     optics.Lens
	w, h     int
	site     place.Site
	poles    [2]skyPole
	sign     float64 // of the drive's turn about the axis
	flexure  float64 // frames' scatter about one rotation when the axis was measured, radians
	first    float64 // standard error of the axis as it was measured
	time     time.Time
	branches []branch // likeliest first
	calm     calm
	view     [3][3]float64 // covariance of the last frame's attitude by its stars
	seen     Seen
}

// skyPole is a pole and what is known of the air there.
type skyPole struct {
	dir  r3.Vec
	lift float64 // motion in altitude when refraction grows by its own amount, radians
	low  float64 // standard error in altitude with the air known, radians
}

// calm estimates the variance of the frames' own turns, per axis: what seeing and
// wind do to a whole frame. Count is how many numbers have told of it.
type calm struct{ Variance, Count float64 }

// calmBelief is how many numbers what is believed before any frame is worth.
const calmBelief = 3

// newCalm starts from what is usual and from the frames' scatter when the axis was
// measured, most of which may be flexure.
func newCalm(scatter float64) calm {
	usual := float64(restless)
	scatter = math.Min(scatter, 4*usual)
	return calm{usual*usual + scatter*scatter, calmBelief}
}

// learn takes up a frame: one step of scoring on the likelihood of the variance,
// each frame counting by its information.
func (c *calm) learn(u *update) {
	score, info := 0.0, 0.0
	for i, p := range u.sight {
		for j, q := range u.sight {
			m := r3.Dot(p, q)
			score += u.miss[i] * u.miss[j] * m / (u.variance[i] * u.variance[j]) / 2
			info += m * m / (u.variance[i] * u.variance[j]) / 2
		}
		score -= r3.Norm2(p) / u.variance[i] / 2
	}
	if !finite(info, score) {
		return
	}
	const least = float64(restless) * float64(restless) / 16
	unit := 2 * c.Variance * c.Variance                // that of the information of one number
	c.Count = math.Min(c.Count+info*unit, 60)          // conditions change
	step := math.Min(score*unit/c.Count, 3*c.Variance) // one wild frame says little
	c.Variance = math.Max(c.Variance+step, least)
}

// enoughTold is how many numbers must have told of the frames' own turns, besides what
// was believed before, for their size to be known to a fifth: ten frames, more where stars tell little.
const enoughTold = 12

// Scatter returns the standard deviation, per axis, of the frames' own turns, once
// enough frames have told of it. They are frames between which RA is not turned: what
// gears and bearings add shows in a measurement's frames only, so this is the least
// that is to be expected of those.
func (f *Follower) Scatter() (s sphere.Angle, ok bool) {
	return sphere.Angle(math.Sqrt(f.calm.Variance)), f.calm.Count >= calmBelief+enoughTold
}

// Follow starts following from an axis as Fit found it, at the last of its
// frames.
func Follow(r *Result) (*Follower, error) {
	if r == nil || r.place == nil {
		return nil, errors.New("nothing to follow: the axis has not been measured")
	}
	f := &Follower{
		lens: r.Lens, w: r.w, h: r.h, site: r.place.Site(),
		flexure: float64(r.Tilt), time: r.last.time.UTC().Round(0), sign: -1,
	}
	if r.place.South() {
		f.sign = 1
	}
	f.poles, f.calm = polesOf(r.place), newCalm(float64(r.Tilt))
	b := branch{belief: begin(r), weight: firstTracks, drive: Tracking}
	f.first = float64(b.axisError())
	f.branches = []branch{b, b}
	f.branches[1].weight, f.branches[1].drive = 1-firstTracks, Standing
	f.seen = Seen{Time: f.time, Chance: 1}
	return f, nil
}

func polesOf(p *place.Place) [2]skyPole {
	pole := p.RefractedPole()
	lift := float64(p.Refraction(pole))
	e, known := float64(p.RefractionErr(pole)), p.Air().Err*lift
	return [2]skyPole{
		Refracted: {pole.Vec(), lift, math.Sqrt(math.Max(0, e*e-known*known))},
		True:      {dir: p.TruePole().Vec()},
	}
}

// pole is the one that State speaks about.
func (f *Follower) pole() skyPole {
	if f.Aim == nil {
		return f.poles[f.Pole]
	}
	p := f.poles[Refracted]
	p.dir = f.Aim.Vec()
	return p
}

// shifts returns the columns of a small turn of the camera on the mount.
func shifts(sigma float64) spreads {
	return spreads{{pShift: sigma}, {pShift + 1: sigma}, {pShift + 2: sigma}}
}

// Next takes the next photograph and says what was done since the one before,
// and where the axis is now. An error leaves everything as it was: a *WeakError
// when the stars do not give the frame's attitude, a plain one when the frame
// cannot be of this camera at this site or is not later than the last.
func (f *Follower) Next(s Sighting) (State, error) {
	if err := f.check(&s); err != nil {
		return State{}, err
	}
	ff, err := (&Result{Lens: f.lens}).Attitude(s)
	if err != nil {
		return State{}, err
	}
	camFromLocal := ff.LocalFromCam.Inv()
	lift := s.liftOf(camFromLocal)
	glimpses := [2]glimpse{}
	for i, k := range [2]float64{1, shake * shake} {
		c := ff.Cov
		for p := range 3 {
			c[p][p] += k * f.calm.Variance
		}
		var ok bool
		if glimpses[i], ok = newGlimpse(camFromLocal, c, lift); !ok {
			return State{}, &WeakError{Reason: NoAttitude, Frames: 1}
		}
	}
	at := s.Place.Time().UTC().Round(0)
	all := f.offspring(at.Sub(f.time), &glimpses)
	if len(all) == 0 {
		return State{}, fmt.Errorf("frame %s cannot be brought together with the frames before: measure the axis anew", s.Name)
	}
	if all[0].guess.touch&unfit == 0 {
		f.calm.learn(&all[0].up)
	}
	f.poles, f.view, f.time = polesOf(s.Place), ff.Cov, at
	f.branches = grow(all)
	f.seen = seenOf(all)
	f.seen.Name, f.seen.Time = s.Name, at
	state := f.State()
	state.Frame = ff
	return state, nil
}

func (f *Follower) check(s *Sighting) error {
	if err := s.check(); err != nil {
		return err
	}
	site := s.Place.Site()
	switch {
	case f.branches == nil:
		return errors.New("nothing to follow: the axis has not been measured")
	case s.W != f.w || s.H != f.h:
		return fmt.Errorf("frame %s has %d x %d pixels, the axis was measured with %d x %d: one camera and one binning is needed", s.Name, s.W, s.H, f.w, f.h)
	case s.Lens.Mirrored != f.lens.Mirrored:
		return fmt.Errorf("frame %s is mirrored otherwise than the frames the axis was measured with", s.Name)
	case math.Abs(s.Lens.F/f.lens.F-1) > 0.05:
		return fmt.Errorf("frame %s differs by %.0f %% in scale from the frames the axis was measured with", s.Name, 100*math.Abs(s.Lens.F/f.lens.F-1))
	case site.Lat != f.site.Lat || site.Lon != f.site.Lon:
		return fmt.Errorf("frame %s comes from (%v, %v), the axis was measured at (%v, %v)", s.Name, site.Lat, site.Lon, f.site.Lat, f.site.Lon)
	case !s.Place.Time().After(f.time):
		return fmt.Errorf("frame %s was taken at %s, not after the last one at %s", s.Name, s.Place.Time().Format(time.RFC3339Nano), f.time.Format(time.RFC3339Nano))
	}
	return nil
}

// offspring works out every guess for every branch, likeliest first, weights
// summing to 1. Those that cannot matter are dropped.
func (f *Follower) offspring(dt time.Duration, g *[2]glimpse) (all []*offspring) {
	for i := range f.branches {
		b := &f.branches[i]
		for _, h := range guesses(b.drive) {
			x, s := b.expect(dt, h.drive, f.sign)
			if h.touch.Has(TouchRA) && f.flexure > 0 {
				s = append(s, shifts(f.flexure)...)
			}
			view := &g[0]
			if h.shaken {
				view = &g[1]
			}
			o := follow(b, h, x, s, view)
			o.log += math.Log(b.weight)
			if finite(o.log) {
				all = append(all, o)
			}
		}
	}
	slices.SortStableFunc(all, func(a, b *offspring) int {
		return cmp.Compare(b.log, a.log)
	})
	sum := 0.0
	for _, o := range all {
		o.weight = math.Exp(o.log - all[0].log)
		sum += o.weight
	}
	for i, o := range all {
		if o.weight /= sum; o.weight < leastWeight {
			all = all[:i]
			break
		}
	}
	return all
}

// Branches below leastWeight of the whole are given up, and more than
// mostBranches are not carried on (no source, chosen on simulated nights).
const (
	leastWeight  = 1e-4
	mostBranches = 6
)

// grow makes the branches to carry on: those that say the same become one.
func grow(all []*offspring) (bs []branch) {
	sum := 0.0
next:
	for _, o := range all {
		b := o.branch()
		for i := range bs {
			if bs[i].like(&b) {
				sum += b.weight
				bs[i].merge(&b)
				continue next
			}
		}
		if len(bs) < mostBranches {
			sum += b.weight
			bs = append(bs, b)
		}
	}
	for i := range bs {
		bs[i].weight /= sum
	}
	slices.SortStableFunc(bs, func(a, b branch) int {
		return cmp.Compare(b.weight, a.weight)
	})
	return bs
}

// like is true when two branches differ by little against their errors.
func (b *branch) like(c *branch) bool {
	if b.drive != c.drive || b.touched != c.touched {
		return false
	}
	d := b.apart(&c.belief)
	for p := range nKnown {
		s, t := b.sigma(p), c.sigma(p)
		if math.Abs(d[p]) > 0.3*math.Min(s, t) || math.Max(s, t) > 1.3*math.Min(s, t) {
			return false
		}
	}
	return true
}

// apart returns the numbers that lead from b to c, to first order.
func (b *belief) apart(c *belief) (d numbers) {
	for p := pLean; p < nKnown; p++ {
		d[p] = c.mean[p] - b.mean[p]
	}
	v := c.camFromLocal.Mul(b.camFromLocal.Inv()).Vec()
	d[pCam], d[pCam+1], d[pCam+2] = v.X, v.Y, v.Z
	ex, ey := b.square()
	move := r3.Sub(c.pose.axis, b.pose.axis)
	d[pAxis], d[pAxis+1] = -r3.Dot(move, ey), r3.Dot(move, ex)
	return d
}

// merge makes b the mean of two branches, its spread that of both together.
func (b *branch) merge(c *branch) {
	sum := b.weight + c.weight
	p, q := b.weight/sum, c.weight/sum
	d := b.apart(&c.belief)
	var s spreads
	for _, col := range b.spreads() {
		s = append(s, col.times(math.Sqrt(p)))
	}
	for _, col := range c.spreads() {
		s = append(s, col.times(math.Sqrt(q)))
	}
	x := b.mean
	for i := range x {
		x[i] += q * d[i]
	}
	b.belief = b.stepped(&x, append(s, d.times(math.Sqrt(p*q))))
	b.weight = sum
}

func (x numbers) times(k float64) numbers {
	for i := range x {
		x[i] *= k
	}
	return x
}
