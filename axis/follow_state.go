package axis

import (
	"cmp"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// State is where the axis stands after a frame.
type State struct {
	Seen
	// Frame holds the attitude, the stars kept and their scatter; it is there only
	// as Next returns it.
	Frame FrameFit
	// Axis is the end of the rotation axis toward the elevated pole; Cov as in
	// Result, the air's error included.
	Axis sphere.Local
	Cov  [2][2]float64
	// Offset is the axis minus the Follower's pole; the errors include everything,
	// as in Result.Offset.
	Offset Offset
	// Moves is what the two adjusters must do, altitude then azimuth, on a base as
	// far out of level as it was found to be. One may be done before the other.
	Moves [2]Move
	// LeanEast and LeanNorth say how far the base's vertical leans away from the
	// zenith toward east and toward north.
	LeanEast, LeanNorth, LeanEastErr, LeanNorthErr sphere.Angle
	// Ahead is the error of the axis to expect after the next turn.
	Ahead  Ahead
	Advice Advice
}

// Seen is what was done between the last two frames.
type Seen struct {
	Name    string
	Time    time.Time // middle of the exposure
	Touched Touch     // the likeliest
	Chance  float64   // that it is right, 0 to 1
	Others  []Account // what else is possible by 5 % or more, likeliest first
	Drive   Running   // the likelier, since the last frame
	Turns   Turns
}

// Account is what else may have happened.
type Account struct {
	Touched Touch
	Chance  float64
}

// Turns are turns between two frames as the likeliest account has them: of the
// azimuth adjuster, clockwise seen from above; of the altitude adjuster, raising;
// of RA beyond what the drive did, right-handed about the axis as FrameFit.Turn.
// What was not touched is 0. Cov is their covariance in this order, in rad^2.
type Turns struct {
	Az, Alt, RA sphere.Angle
	Cov         [3][3]float64
}

// Ahead is the standard error of the axis, on the sky, after the adjusters will
// have been turned by any amount while the camera looks where it does: what it
// is now and what one more frame like the last cannot tell. It is large where the
// camera cannot see a turn well: altitude when it looks along the adjuster's
// axis, east or west at the horizon; azimuth when it looks to the zenith; both
// when RA is also turned and the field is narrow.
type Ahead struct{ Alt, Az, Both sphere.Angle }

// Advice says whether the axis should be measured anew.
type Advice int

// Reasons to measure the axis anew. Of several the first is given.
const (
	NoNeed         Advice = iota
	DecTurned             // the declination axis was turned, or may have been
	TripodMoved           // the tripod was
	CameraMoved           // the camera was
	TripodOrCamera        // one of the two was
	Unclear               // the frames leave open what was done, and it matters
	Worn                  // the error has grown with the turns, too large for the tolerance
	Rough                 // the axis was not measured well enough for the tolerance
)

func (a Advice) String() string {
	return [...]string{
		"no need to measure anew",
		"declination was turned: measure anew",
		"the tripod was moved: measure anew",
		"the camera was moved: measure anew",
		"the tripod or the camera was moved: measure anew",
		"it is not clear what was turned: measure anew",
		"the error has grown too large for the tolerance: measure anew",
		"the axis is not known well enough for the tolerance: measure anew, with more frames or a larger turn",
	}[a]
}

// seenOf sums up the offspring.
func seenOf(all []*offspring) (s Seen) {
	chance := map[Touch]float64{}
	drive := [2]float64{}
	for _, o := range all {
		chance[o.guess.touch] += o.weight
		drive[o.guess.drive] += o.weight
	}
	for t, c := range chance {
		s.Others = append(s.Others, Account{t, c})
	}
	slices.SortFunc(s.Others, func(a, b Account) int {
		return cmp.Or(cmp.Compare(b.Chance, a.Chance), cmp.Compare(a.Touched, b.Touched))
	})
	s.Touched, s.Chance = s.Others[0].Touched, math.Min(1, s.Others[0].Chance)
	s.Others = slices.DeleteFunc(s.Others[1:], func(a Account) bool { return a.Chance < 0.05 })
	if drive[Standing] > drive[Tracking] {
		s.Drive = Standing
	}
	i := slices.IndexFunc(all, func(o *offspring) bool { return o.guess.touch == s.Touched })
	s.Turns = all[i].turns()
	return s
}

// turns reads the turns of adjusters and RA off the likeliest account.
func (o *offspring) turns() (t Turns) {
	at, wide := [3]int{-1, -1, -1}, [3]float64{}
	k := o.turn0
	for _, h := range o.guess.turns {
		for i, p := range [...]int{pAz, pAlt, pTurn} {
			if len(h.columns) == 1 && h.columns[0][p] != 0 {
				at[i], wide[i] = k, h.wide()
			}
		}
		k += len(h.columns)
	}
	for i, a := range [...]*sphere.Angle{&t.Az, &t.Alt, &t.RA} {
		if at[i] < 0 {
			continue
		}
		*a = sphere.Angle(o.up.w[at[i]] * wide[i])
		for j := range 3 {
			if at[j] >= 0 {
				t.Cov[i][j] = o.up.cov(at[i], at[j]) * wide[i] * wide[j]
			}
		}
	}
	t.RA = t.RA.Wrap()
	return t
}

// What a state says, as numbers whose errors are worked out together.
const (
	sAlt, sAz       = 0, 1 // of the axis; azimuth from the likeliest branch's
	sOffAlt, sOffAz = 2, 3 // axis minus pole, azimuth as a plain difference
	sGoAlt, sGoAz   = 4, 5 // turns of the adjusters that bring the axis to the pole
	sEast, sNorth   = 6, 7 // lean of the base
	nSaid           = 8
)

type said [nSaid]float64

// State returns where the axis stands, for the pole and tolerance now set.
func (f *Follower) State() State {
	s := State{Seen: f.seen}
	if len(f.branches) == 0 {
		return s
	}
	mean, cov, ok := f.say()
	s.Axis = sphere.LocalAt(sphere.Angle(mean[sAz]), sphere.Angle(mean[sAlt]))
	cos := math.Cos(mean[sAlt])
	s.Cov = skyCov(&cov, sAlt, sAz, cos)

	s.Offset = f.offset(&s, &mean, &cov)
	s.Moves = s.Offset.Moves()
	if ok {
		s.Moves[Altitude].set(mean[sGoAlt], cov[sGoAlt][sGoAlt], Raise, Lower)
		s.Moves[Azimuth].set(mean[sGoAz], cov[sGoAz][sGoAz], Clockwise, CounterClockwise)
	}
	for k, a := range map[int][2]*sphere.Angle{
		sEast: {&s.LeanEast, &s.LeanEastErr}, sNorth: {&s.LeanNorth, &s.LeanNorthErr},
	} {
		*a[0], *a[1] = sphere.Angle(mean[k]), sphere.Angle(math.Sqrt(cov[k][k]))
	}
	s.Ahead = f.ahead()
	s.Advice = f.advise(&s)
	return s
}

// offset makes the offset from what is said.
func (f *Follower) offset(s *State, mean *said, cov *[nSaid]said) Offset {
	p := &f.poles[f.Pole]
	az, alt := s.Axis.AzAlt()
	paz, palt := az-sphere.Angle(mean[sOffAz]), alt-sphere.Angle(mean[sOffAlt])
	o := Offset{Pole: sphere.LocalAt(paz, palt), NearZenith: palt > 80*sphere.Degree}
	o.Alt, o.AzKnob = sphere.Angle(mean[sOffAlt]), sphere.Angle(mean[sOffAz]).Wrap()
	o.AzSky = o.AzKnob * sphere.Angle(palt.Cos())
	o.Total = s.Axis.Sep(o.Pole)
	c := skyCov(cov, sOffAlt, sOffAz, alt.Cos())
	c[0][0] += p.low * p.low
	o.setErr(s.Axis, c)
	return o
}

// skyCov returns the covariance of altitude and azimuth on the sky.
func skyCov(cov *[nSaid]said, alt, az int, cos float64) [2][2]float64 {
	c := cov[alt][az] * cos
	return [2][2]float64{{cov[alt][alt], c}, {c, cov[az][az] * cos * cos}}
}

// set makes the move of a signed turn.
func (m *Move) set(turn, variance float64, plus, minus Direction) {
	m.Direction = plus
	if turn < 0 {
		m.Direction = minus
	}
	m.Amount, m.Err = sphere.Angle(math.Abs(turn)), sphere.Angle(math.Sqrt(variance))
}

// say returns what the likeliest branch says, and its error: that of the branch
// itself, and how far the others say otherwise. A mean would be a place where
// nobody claims the axis to be. ok is false when the adjusters cannot bring it
// to the pole.
func (f *Follower) say() (first said, cov [nSaid]said, ok bool) {
	branches := f.likely()
	first, ok = f.sayOf(&branches[0].pose, &branches[0].mean)
	for i := range branches {
		b := &branches[i]
		y, _ := f.sayOf(&b.pose, &b.mean)
		for k := range y {
			y[k] -= first[k]
		}
		y[sAz], y[sOffAz] = wrap(y[sAz]), wrap(y[sOffAz])
		c := f.spreadOf(b)
		for k := range cov {
			for l := range cov {
				cov[k][l] += b.weight * (c[k][l] + y[k]*y[l])
			}
		}
	}
	return first, cov, ok
}

// likely returns the likeliest branches that make up most of the whole, weights
// summing to 1. What is left out is what a standard error leaves out: rare and
// far off, it would swell the variance and say nothing of the usual error.
func (f *Follower) likely() (bs []branch) {
	const most = 0.9
	sum := 0.0
	for _, b := range f.branches {
		bs = append(bs, b)
		if sum += b.weight; sum >= most {
			break
		}
	}
	for i := range bs {
		bs[i].weight /= sum
	}
	return bs
}

// spreadOf returns the covariance of what one branch says.
func (f *Follower) spreadOf(b *branch) (cov [nSaid]said) {
	var slope [nSaid][nKnown]float64
	for p := range pRate {
		const h = 1e-6
		up, down := b.mean, b.mean
		up[p] += h
		down[p] -= h
		u, _ := f.sayOf(&b.pose, &up)
		d, _ := f.sayOf(&b.pose, &down)
		for k := range slope {
			x := u[k] - d[k]
			if k == sAz || k == sOffAz {
				x = wrap(x)
			}
			slope[k][p] = x / (2 * h)
		}
	}
	for k := range cov {
		for l := range k + 1 {
			cov[k][l] = b.variance(&slope[k], &slope[l])
			cov[l][k] = cov[k][l]
		}
	}
	return cov
}

// sayOf says it of a pose with the numbers x.
func (f *Follower) sayOf(p *pose, x *numbers) (y said, ok bool) {
	q := p.after(x)
	axis := q.axisSeen()
	az, alt := sphere.LocalVec(axis).AzAlt()
	pole := f.poles[f.Pole].at(x)
	paz, palt := sphere.LocalVec(pole).AzAlt()
	y[sAlt], y[sAz] = float64(alt), float64(az)
	y[sOffAlt], y[sOffAz] = float64(alt-palt), float64((az - paz).Wrap())
	up, _ := adjusters(x, axis)
	y[sEast], y[sNorth] = up.X, up.Y
	y[sGoAz], y[sGoAlt], ok = reach(x, axis, pole)
	return y, ok
}

// at returns the pole in the air of a standing.
func (p *skyPole) at(x *numbers) r3.Vec {
	alt, _ := altAz(p.dir)
	return r3.Unit(r3.Add(p.dir, r3.Scale(x[pAir]*p.lift, alt)))
}

// reach returns by how much the adjusters must be turned to bring the axis to a
// direction: Newton's method, which needs one step on a level base and a second
// or third else. ok is false when it leads nowhere, as when the direction stands
// near the base's zenith.
func reach(x *numbers, axis, to r3.Vec) (az, alt float64, ok bool) {
	up, side := adjusters(x, axis)
	for range 20 {
		back := sphere.Turn(up, sphere.Angle(-az))
		a := back.Mul(sphere.Turn(side, sphere.Angle(-alt))).Apply(axis)
		miss := r3.Sub(to, a)
		if r3.Norm(miss) < 1e-12 {
			return az, alt, true
		}
		dAz, dAlt := r3.Cross(a, up), r3.Cross(a, back.Apply(side))
		p, q, r := r3.Dot(dAz, dAz), r3.Dot(dAz, dAlt), r3.Dot(dAlt, dAlt)
		det := p*r - q*q
		if !(det > 1e-6) {
			return 0, 0, false
		}
		u, v := r3.Dot(dAz, miss), r3.Dot(dAlt, miss)
		az += (u*r - v*q) / det
		alt += (v*p - u*q) / det
	}
	return 0, 0, false
}

// ahead works out the errors to expect on the likeliest branch, as if a frame
// like the last were taken 20 s later.
func (f *Follower) ahead() (a Ahead) {
	b := &f.branches[0]
	cov := f.view
	for p := range 3 {
		cov[p][p] += f.calm.Variance
	}
	x, s := b.expect(20*time.Second, b.drive, f.sign)
	q := b.after(&x)
	g, ok := newGlimpse(q.camFromLocal, cov, r3.Vec{})
	if !ok {
		return a
	}
	const wide = 10 * float64(sphere.Degree)
	for _, t := range []struct {
		to    *sphere.Angle
		turns spreads
	}{{&a.Alt, spreads{{pAlt: wide}}}, {&a.Az, spreads{{pAz: wide}}}, {&a.Both, spreads{{pAlt: wide}, {pAz: wide}}}} {
		all := append(slices.Clone(s), t.turns...)
		u := b.see(&x, all, &g)
		next := b.stepped(&u.mean, u.spreads(all))
		*t.to = next.axisError()
	}
	return a
}

// axisError returns the expected length of the axis' error on the sky, root mean
// square.
func (b *belief) axisError() sphere.Angle {
	ex, ey := b.square()
	sum := 0.0
	for _, c := range b.spreads() {
		move := r3.Sub(r3.Scale(c[pAxis+1], ex), r3.Scale(c[pAxis], ey))
		sum += r3.Norm2(r3.Sub(move, r3.Cross(vec3(c[pCam:]), b.pose.axis)))
	}
	return sphere.Angle(math.Sqrt(sum))
}

// advise looks for a reason to measure anew.
func (f *Follower) advise(s *State) Advice {
	var dec, tripod, camera float64
	for i := range f.branches {
		b := &f.branches[i]
		switch {
		case b.touched.Has(TouchTripod):
			tripod += b.weight
		case b.touched.Has(TouchCamera):
			camera += b.weight
		case b.touched.Has(TouchDec):
			dec += b.weight
		}
	}
	const likely = 0.3
	tolerance := f.Tolerance
	if tolerance <= 0 {
		tolerance = sphere.Arcminute
	}
	err := sphere.Angle(math.Sqrt(s.Cov[0][0] + s.Cov[1][1]))
	rough := err > tolerance/3 && s.Offset.Total < tolerance+4*err
	switch {
	case dec+tripod+camera < likely:
	case dec > tripod+camera:
		return DecTurned
	case tripod > 3*camera:
		return TripodMoved
	case camera > 3*tripod:
		return CameraMoved
	default:
		return TripodOrCamera
	}
	switch {
	case !rough:
		return NoNeed
	case s.Chance < 0.6:
		return Unclear
	case float64(err) > 1.3*f.first:
		return Worn
	}
	return Rough
}
