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
// altitude adjuster and of RA are three as well:
//
//	camFromLocal = CamFromMount . Rot(z, -turn) . mountFromLocal . Rot(side, alt) . Rot(up, az)
//
// with up the base's vertical and side the horizontal axis across the mount. A
// narrow field says little of its own orientation, so that one of the three
// would be poorly known; what else is known comes in as accounts of what may have
// happened: the drive tracks, stands, or RA was turned; one adjuster was turned,
// both, none; or what must not be touched was. Each account is one nonlinear
// least-squares step from the state before (an iterated extended Kalman filter),
// is weighed by its likelihood, and the likely ones are all carried on (Bar-Shalom,
// Li & Kirubarajan 2001, Estimation with Applications to Tracking and Navigation,
// chapter 11). The answer is their weighted mean, and its error includes their
// differences.
//
// Estimated besides: how far the base is out of level, which couples the
// adjusters, the skew of the altitude adjuster's axis, the camera on the mount,
// the axis on its adjusters (so frames between which RA was turned measure it
// further), the drive's error and the air's.
//
// The state is plain numbers: it goes to JSON and back without a change of a bit,
// and what follows depends on nothing else. Not for concurrent use.
type Follower struct {
	// Pole and Tolerance are what State speaks about; they may be changed at any
	// time. A tolerance of 0 stands for 1 arcminute.
	Pole      PoleKind
	Tolerance sphere.Angle

	rig      rig
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

// calm estimates the frames' own turns from frames between which nothing was
// touched: a variance, with a guess at it that counts like calmPrior numbers.
type calm struct{ Sum, N float64 }

const calmPrior = 6

func (c *calm) variance() float64 {
	p := float64(restless) * float64(restless)
	return math.Max((calmPrior*p+c.Sum)/(calmPrior+c.N), p/16)
}

// add counts squares of misses with the variances expected, own turns left out.
func (c *calm) add(square, expected float64) {
	c.Sum += square - expected
	if c.N++; c.N > 60 { // conditions change
		c.Sum *= 60 / c.N
		c.N = 60
	}
}

// Follow starts following from an axis as Fit found it, at the last of its
// frames.
func Follow(r *Result) (*Follower, error) {
	if r == nil || r.place == nil {
		return nil, errors.New("nothing to follow: the axis has not been measured")
	}
	f := &Follower{
		rig:  newRig(r.MountFromLocal.Vec(), r.CamFromMount.Vec()),
		lens: r.Lens, w: r.w, h: r.h, site: r.place.Site(),
		flexure: float64(r.Tilt), time: r.last.time.UTC().Round(0), sign: -1,
		first: math.Sqrt(r.Cov[0][0] + r.Cov[1][1]),
	}
	if r.place.South() {
		f.sign = 1
	}
	f.poles = polesOf(r.place)
	b := branch{belief: f.rig.begin(r), weight: firstTracks, drive: Tracking}
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

// begin returns what is known after the measurement.
func (g *rig) begin(r *Result) (b belief) {
	b.mean[pTurn] = r.last.turn
	at := [6]int{pAxisX, pAxisY, pCamX, pCamY, pCamZ, pTurn}
	air := standing{pAir: r.place.Air().Err}
	var s spreads
	for i := range 6 {
		air[at[i]] = air[pAir] * r.last.lift[i]
	}
	s = append(s, air)
	for _, col := range lower6(r.last.cov) {
		var c standing
		for i := range 6 {
			c[at[i]] = col[i]
		}
		s = append(s, c)
	}
	// The camera looks, from where it is now, a flexure away from its mean place.
	s = append(s, shifts(float64(r.Tilt))...)
	decAxis := math.Pi
	look := g.camFromMount.Inv().Apply(unitZ)
	if sin := math.Hypot(look.X, look.Y); sin > 0 {
		decAxis = math.Min(decAxis, float64(decAxisSigma)/sin)
	}
	s = append(s, standing{pLeanEast: float64(leanSigma)}, standing{pLeanNorth: float64(leanSigma)},
		standing{pSkew: float64(skewSigma)}, standing{pDecAxis: decAxis}, standing{pRate: float64(rateSigma)})
	b.root = s.packed()
	return b
}

// shifts returns the columns of a free small turn of the camera.
func shifts(sigma float64) spreads {
	return spreads{{pCamX: sigma}, {pCamY: sigma}, {pCamZ: sigma}}
}

// lower6 returns the columns of the Cholesky root of a covariance; a number that
// has no variance of its own gets none.
func lower6(c [6][6]float64) (cols [6][6]float64) {
	for j := range 6 {
		d := c[j][j]
		for k := range j {
			d -= cols[k][j] * cols[k][j]
		}
		if !(d > 1e-15*c[j][j]) {
			continue
		}
		for i := j; i < 6; i++ {
			s := c[i][j]
			for k := range j {
				s -= cols[k][i] * cols[k][j]
			}
			cols[j][i] = s / math.Sqrt(d)
		}
	}
	return cols
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
			c[p][p] += k * f.calm.variance()
		}
		var ok bool
		if glimpses[i], ok = newGlimpse(camFromLocal, c, lift); !ok {
			return State{}, &WeakError{Reason: NoAttitude, Frames: 1}
		}
	}
	at := s.Place.Time().UTC().Round(0)
	all := f.offspring(at.Sub(f.time), &glimpses)
	f.learn(all, &glimpses[0])
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
		for _, h := range f.rig.guesses(b.drive, &b.mean) {
			x, s := b.expect(dt, h.drive, f.sign)
			if h.touch.Has(TouchRA) && f.flexure > 0 {
				s = append(s, shifts(f.flexure)...)
			}
			view := &g[0]
			if h.shaken {
				view = &g[1]
			}
			o := f.rig.follow(b, h, x, s, view)
			o.log += math.Log(b.weight)
			if !math.IsNaN(o.log) {
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
// mostBranches are not carried on.
const (
	leastWeight  = 1e-5
	mostBranches = 8
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
	for p := range nState {
		s, t := b.sigma(p), c.sigma(p)
		if math.Abs(b.mean[p]-c.mean[p]) > 0.3*math.Min(s, t) || math.Max(s, t) > 1.3*math.Min(s, t) {
			return false
		}
	}
	return true
}

// merge makes b the mean of two branches, its spread that of both together.
func (b *branch) merge(c *branch) {
	sum := b.weight + c.weight
	p, q := b.weight/sum, c.weight/sum
	var s spreads
	for _, x := range []struct {
		*branch
		share float64
	}{{b, p}, {c, q}} {
		for _, col := range x.spreads() {
			for i := range col {
				col[i] *= math.Sqrt(x.share)
			}
			s = append(s, col)
		}
	}
	var d standing
	for i := range d {
		d[i] = (c.mean[i] - b.mean[i]) * math.Sqrt(p*q)
		b.mean[i] += q * (c.mean[i] - b.mean[i])
	}
	b.root = append(s, d).packed()
	b.weight = sum
}

// learn takes up how restless the frames are, when nothing was touched.
func (f *Follower) learn(all []*offspring, g *glimpse) {
	still := 0.0
	for _, o := range all {
		if o.guess.touch == 0 {
			still += o.weight
		}
	}
	if len(all) == 0 || all[0].guess.touch != 0 || still < 0.5 {
		return
	}
	o := all[0]
	slopes := f.rig.slopes(&o.before, g.lift)
	miss := g.camFromLocal.Mul(f.rig.camFromLocal(&o.before, g.lift).Inv()).Vec()
	own := f.calm.variance()
	for i, u := range []r3.Vec{unitX, unitY} {
		expected := g.cov[i][i] - own
		for k := range o.turn0 {
			h := 0.0
			for p, d := range slopes {
				h += r3.Dot(d, u) * o.all[k][p]
			}
			expected += h * h
		}
		e := r3.Dot(miss, u)
		f.calm.add(math.Min(e*e, 100*(expected+own)), expected)
	}
}
