package axis

import (
	"math"

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
	p := f.pole()
	az, alt := s.Axis.AzAlt()
	paz, palt := az-sphere.Angle(mean[sOffAz]), alt-sphere.Angle(mean[sOffAlt])
	o := Offset{Pole: sphere.LocalAt(paz, palt), NearZenith: palt > 80*sphere.Degree}
	o.Alt, o.AzKnob = sphere.Angle(mean[sOffAlt]), sphere.Angle(mean[sOffAz]).Wrap()
	o.AzSky = o.AzKnob * sphere.Angle(palt.Cos())
	o.Total = s.Axis.Sep(o.Pole)
	c := skyCov(cov, sOffAlt, sOffAz, alt.Cos())
	c[0][0] += p.low * p.low
	o.Err = o.errors(s.Axis, c)
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
// far off, it would swell the variance and say nothing of the usual error. (The
// share: no source, chosen on simulated nights.)
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
	target := f.pole()
	pole := target.at(x)
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
