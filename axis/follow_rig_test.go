package axis

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// poseOf is the bench as it stands.
func (b *bench) poseOf() pose {
	cam := b.attitude().Inv()
	return pose{cam, cam.Apply(b.axis().Vec())}
}

// A pose after turns is that of the bench, whose parts were turned: the adjusters
// on a leaning base, RA, declination, the camera, the whole mount.
func TestPoseAfterTurns(t *testing.T) {
	for k := range 200 {
		rng := rand.New(rand.NewPCG(seed, 9600+uint64(k)))
		b := anyBench(t, rng)
		b.cone = 0 // with which the declination axis is only nearly known
		b.ra = sphere.Angle(2 * math.Pi * rng.Float64())
		p := b.poseOf()
		angle := func() float64 { return 0.1 * rng.NormFloat64() }
		x := numbers{pLean: float64(-b.lean[1]), pLean + 1: float64(b.lean[0]),
			pAz: angle(), pAlt: angle(), pTurn: angle(), pDec: angle(), pTip: angle(), pTip + 1: angle(), pTip + 2: angle()}
		got := p.after(&x)
		b.az += sphere.Angle(x[pAz])
		b.alt += sphere.Angle(x[pAlt])
		b.ra += sphere.Angle(x[pTurn])
		b.dec += sphere.Angle(-x[pDec])
		b.push = sphere.TurnVec(vec3(x[pTip:])).Mul(b.push)
		want := b.poseOf()
		d := float64(got.camFromLocal.Mul(want.camFromLocal.Inv()).Angle())
		// The other sense of declination is as good: its sign is not told.
		b.dec += sphere.Angle(2 * x[pDec])
		other := b.poseOf()
		if e := float64(got.camFromLocal.Mul(other.camFromLocal.Inv()).Angle()); e < d {
			d, want = e, other
		}
		if a := r3.Norm(r3.Sub(got.axis, want.axis)); d > 1e-12 || a > 1e-12 {
			t.Fatalf("seed %d, night %d: camera %.3g off, axis %.3g", seed, k, d, a)
		}
		// The camera alone.
		y := numbers{pShift: angle(), pShift + 1: angle(), pShift + 2: angle()}
		q := got.after(&y)
		if d := r3.Norm(r3.Sub(q.axisSeen(), got.axisSeen())); d > 1e-12 {
			t.Fatalf("night %d: the axis moves by %.3g when the camera is bent", k, d)
		}
	}
}

// Small errors taken into the pose are what after makes of them.
func TestStepped(t *testing.T) {
	for k := range 50 {
		rng := rand.New(rand.NewPCG(seed, 9650+uint64(k)))
		b := anyBench(t, rng)
		p := b.poseOf()
		x := numbers{pLean: 0.01, pLean + 1: -0.02, pSkew: 0.003, pAz: 0.05, pAlt: -0.04, pTurn: 0.5, pDec: 0.02, pTip: 1e-4, pTip + 2: -2e-4}
		const h = 1e-5
		for i := range nNumbers {
			if i == pAir || i == pRate {
				continue
			}
			var c numbers
			c[i] = h
			at := p.stepped(&x, spreads{c})
			y := x
			y[i] += h
			want := p.stepped(&y, nil)
			d := at.apart(&want)
			for n := range pDecAxis {
				if math.Abs(math.Abs(at.root[n][0])-math.Abs(d[n])) > 1e-8 {
					t.Fatalf("night %d: number %d moves number %d by %.8g, root says %.8g", k, i, n, d[n], at.root[n][0])
				}
			}
		}
	}
}

// The covariance after a glimpse is that of the textbook, P - P H'(H P H' + R)^-1 H P,
// where numbers are tame enough for it; and so is the mean of a linear case.
func TestSee(t *testing.T) {
	for k := range 30 {
		rng := rand.New(rand.NewPCG(seed, 9700+uint64(k)))
		b := anyBench(t, rng)
		p := b.poseOf()
		var s spreads
		for i := range nKnown {
			var c numbers
			for j := range i + 1 {
				c[j] = 1e-4 * rng.NormFloat64()
			}
			s = append(s, c)
		}
		s = append(s, numbers{pAlt: 1e-4}, numbers{pTurn: 2e-4})
		var cov [3][3]float64
		l := [3]r3.Vec{{X: 1e-5}, {X: 3e-6, Y: 2e-5}, {X: 1e-6, Y: -4e-6, Z: 6e-5}}
		for i := range 3 {
			for j := range 3 {
				cov[i][j] = r3.Dot(l[i], l[j])
			}
		}
		moved := numbers{pCam: 1e-4, pCam + 1: 5e-5, pCam + 2: -1e-4}
		q := p.after(&moved)
		g, ok := newGlimpse(q.camFromLocal, cov, r3.Vec{X: 0.3e-3})
		if !ok {
			t.Fatal("covariance refused")
		}
		var zero numbers
		u := p.see(&zero, s, &g)
		got := u.spreads(s)

		used := s.used()
		slopes := p.slopes(&u.mean, &used)
		slopes[pAir].cam = g.lift
		h := mat.NewDense(3, nNumbers, nil)
		for i, d := range slopes {
			h.Set(0, i, d.cam.X)
			h.Set(1, i, d.cam.Y)
			h.Set(2, i, d.cam.Z)
		}
		root := mat.NewDense(nNumbers, len(s), nil)
		after := mat.NewDense(nNumbers, len(s), nil)
		for c := range s {
			for i := range nNumbers {
				root.Set(i, c, s[c][i])
				after.Set(i, c, got[c][i])
			}
		}
		var pp, hp, hph, gain, want, have mat.Dense
		pp.Mul(root, root.T())
		hp.Mul(h, &pp)
		hph.Mul(&hp, h.T())
		for i := range 3 {
			for j := range 3 {
				hph.Set(i, j, hph.At(i, j)+cov[i][j])
			}
		}
		if err := gain.Solve(&hph, &hp); err != nil {
			t.Fatal(err)
		}
		want.Mul(hp.T(), &gain)
		want.Sub(&pp, &want)
		have.Mul(after, after.T())
		for i := range nNumbers {
			for j := range nNumbers {
				if d := math.Abs(have.At(i, j) - want.At(i, j)); d > 1e-6*math.Sqrt(pp.At(i, i)*pp.At(j, j)) {
					t.Fatalf("night %d: covariance of %d and %d is %.6g, textbook %.6g", k, i, j, have.At(i, j), want.At(i, j))
				}
			}
		}
		var miss, mean mat.VecDense
		v := q.camFromLocal.Mul(p.camFromLocal.Inv()).Vec()
		miss.CloneFromVec(mat.NewVecDense(3, []float64{v.X, v.Y, v.Z}))
		mean.MulVec(gain.T(), &miss)
		for i := range nNumbers {
			if d := math.Abs(u.mean[i] - mean.AtVec(i)); d > 1e-3*math.Sqrt(pp.At(i, i))+1e-12 {
				t.Fatalf("night %d: number %d is %.6g, textbook %.6g", k, i, u.mean[i], mean.AtVec(i))
			}
		}
		// The evidence: misfit + logDet are those of the miss under H P H' + R.
		var inv mat.VecDense
		if err := inv.SolveVec(&hph, &miss); err != nil {
			t.Fatal(err)
		}
		m, det := mat.Dot(&miss, &inv), math.Log(mat.Det(&hph))
		if d := u.misfit + u.logDet + g.logDet - m - det; math.Abs(d) > 1e-2 {
			t.Fatalf("night %d: misfit and determinant off by %.4g", k, d)
		}
	}
}

// packed keeps the covariance.
func TestPacked(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 9750))
	for range 20 {
		var s spreads
		for range 5 + rng.IntN(20) {
			var c numbers
			for i := range nKnown {
				c[i] = rng.NormFloat64() * math.Exp(5*rng.NormFloat64())
			}
			s = append(s, c)
		}
		root := s.packed()
		for i := range nKnown {
			for j := range nKnown {
				var want, got, size float64
				for _, c := range s {
					want += c[i] * c[j]
					size += math.Abs(c[i] * c[j])
				}
				for k := range nKnown {
					got += root[i][k] * root[j][k]
				}
				scale := 0.0
				for _, c := range s {
					scale += c[i]*c[i] + c[j]*c[j]
				}
				if math.Abs(got-want) > 1e-9*scale {
					t.Fatalf("covariance of %d and %d is %g, was %g", i, j, got, want)
				}
			}
		}
	}
}

// Two branches in one keep the mean and the covariance of both.
func TestMerge(t *testing.T) {
	b := usual(t, 9760, 51.2*sphere.Degree)
	_, f := b.measure(t, 0)
	one := f.branches[0]
	one.weight = 0.6
	x := one.mean
	x[pCam], x[pAxis+1], x[pLean] = 3e-5, -2e-5, 0.01
	two := branch{belief: one.stepped(&x, one.spreads()), weight: 0.2}
	d := one.apart(&two.belief)
	both := one
	both.merge(&two)
	if both.weight != 0.8 {
		t.Errorf("weight %g", both.weight)
	}
	moved := one.apart(&both.belief)
	for p := range nKnown {
		if math.Abs(moved[p]-0.25*d[p]) > 1e-9 {
			t.Errorf("number %d moved by %g, want a quarter of %g", p, moved[p], d[p])
		}
		v := math.Pow(both.sigma(p), 2)
		want := 0.75*math.Pow(one.sigma(p), 2) + 0.25*math.Pow(two.sigma(p), 2) + 0.75*0.25*d[p]*d[p]
		if math.Abs(v-want) > 1e-3*want {
			t.Errorf("number %d: variance %g, want %g", p, v, want)
		}
	}
}

// The densities of turns are densities, and the chances of what may happen sum
// to 1.
func TestTurnDensities(t *testing.T) {
	for _, h := range handled {
		for _, u := range h.turns {
			sum, last := 0.0, 0.0
			for i := range 40000 { // over the logarithm of the size
				m := 1e-9 * math.Pow(3*u.most/1e-9, float64(i)/39999)
				d := math.Exp(u.logDensity(m)) * (m - last)
				if len(u.columns) == 3 {
					d *= 4 * math.Pi * m * m
				} else {
					d *= 2
				}
				sum += d
				last = m
			}
			if sum < 0.97 || sum > 1.03 {
				t.Errorf("%v: density integrates to %.3f", h.touch, sum)
			}
		}
	}
	for _, d := range []Running{Tracking, Standing} {
		sum := 0.0
		for _, g := range guesses(d) {
			sum += g.chance
		}
		if sum > 1 || sum < 0.99 { // the rarest pairs are left out
			t.Errorf("chances sum to %.4f", sum)
		}
	}
}

// The process of the drive's error has the covariance it should: two steps are one
// long step.
func TestDriveErrorInSteps(t *testing.T) {
	b := usual(t, 9770, 51.2*sphere.Degree)
	_, f := b.measure(t, 0)
	one := f.branches[0]
	cov := func(s spreads) (c [3]float64) {
		for _, x := range s {
			c[0] += x[pTurn] * x[pTurn]
			c[1] += x[pTurn] * x[pRate]
			c[2] += x[pRate] * x[pRate]
		}
		return c
	}
	x, s := one.expect(70e9, Tracking, -1)
	half := one
	y, u := one.expect(35e9, Tracking, -1)
	half.mean[pRate] = y[pRate]
	// The second half by hand: turn carried along.
	z, v := half.expect(35e9, Tracking, -1)
	turn := y[pTurn] + z[pTurn]
	if math.Abs(turn-x[pTurn]) > 1e-12 {
		t.Errorf("turn %g in two steps, %g in one", turn, x[pTurn])
	}
	fac := math.Exp(-35.0 / rateTime)
	move := rateTime * (1 - fac)
	a, noise := cov(u), cov(v[nKnown:])
	want := cov(s)
	got := [3]float64{
		a[0] + 2*move*a[1] + move*move*a[2] + noise[0],
		fac*a[1] + fac*move*a[2] + noise[1],
		fac*fac*a[2] + noise[2],
	}
	for i := range got {
		if math.Abs(got[i]-want[i]) > 1e-9*math.Abs(want[i])+1e-24 {
			t.Errorf("covariance %d is %g in two steps, %g in one", i, got[i], want[i])
		}
	}
}
