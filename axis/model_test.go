package axis

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

func anyVec(rng *rand.Rand) r3.Vec {
	return r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
}

// The columns of the mount model are how its attitudes really turn.
func TestMountColumns(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 6001))
	for _, e := range []event{{}, {kind: slipped, frame: 2}, {kind: moved, frame: 2}, {kind: sinking, left: []float64{1, 0.7, 0.4, 0}}, {kind: flopping, other: []bool{true, false, true, false}}} {
		for _, tilt := range []float64{0, 1e-3} {
			m := (&mount{
				mountFromLocal: sphere.TurnVec(anyVec(rng)), camFromMount: sphere.TurnVec(anyVec(rng)),
				turn: []float64{0, 0.7, -1.1, 2.5}, event: e,
			}).withTilt(tilt)
			const h = 1e-6
			for i := range m.turn {
				want := map[int]r3.Vec{}
				for _, c := range m.columns(i) {
					want[c.param] = c.turn
				}
				for p := range m.params() {
					step := make([]float64, m.params())
					step[p] = h
					up := m.moved(step).camFromLocal(i)
					step[p] = -h
					down := m.moved(step).camFromLocal(i)
					got := r3.Scale(1/(2*h), up.Mul(down.Inv()).Vec())
					// A slip turns about an axis that follows the camera: second order at 0.
					if d := r3.Norm(r3.Sub(got, want[p])); d > 1e-6 {
						t.Errorf("event %d, tilt %g, frame %d, parameter %d: turns %v, column says %v", e.kind, tilt, i, p, got, want[p])
					}
				}
			}
		}
	}
}

func TestWahba(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 6002))
	for range 100 {
		want := sphere.TurnVec(anyVec(rng))
		var to, from []r3.Vec
		for i := range 30 {
			v := r3.Unit(r3.Add(r3.Vec{Z: 1}, r3.Scale(0.02, anyVec(rng))))
			u := want.Apply(v)
			if i%5 == 0 { // one in five is wrong
				u = r3.Unit(r3.Add(u, r3.Scale(0.02, anyVec(rng))))
			}
			to, from = append(to, u), append(from, v)
		}
		got, ok := leastAbsolute(to, from)
		if d := got.Mul(want.Inv()).Angle(); !ok || d > 0.02 {
			t.Fatalf("%v off", d)
		}
		for i := range to {
			to[i] = want.Apply(from[i])
		}
		got, ok = wahba(to, from, ones(len(to)))
		if d := got.Mul(want.Inv()).Angle(); !ok || d > 1e-9 {
			t.Fatalf("without errors %v off", d)
		}
	}
}

// slowFit is the obvious twin of the joint fit: residuals of all stars as one
// long vector, derivatives by differences, a dense least-squares solution, no
// blocks and no shortcuts. It shares the lens and the rotations only.
func slowFit(b *bundle, axis sphere.Local, cam sphere.Rot, turn []float64) (sphere.Local, [2][2]float64) {
	n := len(turn)
	p := make([]float64, 2+3+n-1+lensParams)
	base := uprightMount(axis.Vec())
	residuals := func(p []float64) []float64 {
		var r []float64
		lens := b.lens
		lens.F *= math.Exp(p[4+n])
		lens.K1 += p[5+n]
		lens.K2 += p[6+n]
		lens.CX += p[7+n]
		lens.CY += p[8+n]
		mountFromLocal := sphere.TurnVec(r3.Vec{X: p[0], Y: p[1]}).Mul(base)
		c := sphere.TurnVec(vec3(p[2:])).Mul(cam)
		for i, stars := range b.frames {
			a := turn[i]
			if i > 0 {
				a += p[4+i]
			}
			att := c.Mul(sphere.Turn(unitZ, sphere.Angle(-a))).Mul(mountFromLocal)
			for _, s := range stars {
				if s.weight == 0 {
					continue
				}
				x, y, _ := lens.PixelVec(att.Apply(s.local))
				w := 1 / math.Sqrt(s.variance+b.floor[i])
				r = append(r, (s.x-x)*w, (s.y-y)*w)
			}
		}
		m, h := b.middle, b.hold
		return append(r, math.Log(lens.F/m.F)/h[0], (lens.K1-m.K1)/h[1], (lens.K2-m.K2)/h[2], (lens.CX-m.CX)/h[3], (lens.CY-m.CY)/h[4])
	}
	var j *mat.Dense
	for range 10 {
		r := residuals(p)
		j = mat.NewDense(len(r), len(p), nil)
		for k := range p {
			h := 1e-6
			if k >= 7+n {
				h = 1e-3
			}
			q := append([]float64(nil), p...)
			q[k] += h
			up := residuals(q)
			q[k] -= 2 * h
			down := residuals(q)
			for i := range r {
				j.Set(i, k, (up[i]-down[i])/(2*h))
			}
		}
		var d mat.VecDense
		_ = d.SolveVec(j, mat.NewVecDense(len(r), r)) // a poor condition shows in the comparison
		for k := range p {
			p[k] -= d.AtVec(k)
		}
	}
	m := &mount{mountFromLocal: sphere.TurnVec(r3.Vec{X: p[0], Y: p[1]}).Mul(base), camFromMount: cam, turn: turn}
	var jj, inv mat.Dense
	jj.Mul(j.T(), j)
	_ = inv.Inverse(&jj)
	cov := mat.NewSymDense(len(p), nil)
	for a := range p {
		for c := a; c < len(p); c++ {
			cov.SetSym(a, c, inv.At(a, c))
		}
	}
	return sphere.LocalVec(m.axis()), (&joint{m: m, cov: cov}).axisCov()
}

func TestJointFitAgainstSlowTwin(t *testing.T) {
	for k := range 6 {
		rng := rand.New(rand.NewPCG(seed, 6100+uint64(k)))
		n := random(rng, 2+k%3)
		n.stars, n.wrong = 25, 0.05
		f := newFit(n.sightings(t, rng))
		if err := f.attitudes(); err != nil {
			t.Fatal(err)
		}
		if err := f.mount(); err != nil {
			t.Fatal(err)
		}
		f.scatter, f.best = 0, f.first
		f.sky, _ = f.own.still(&f.first)
		r, err := f.result()
		if err != nil {
			t.Fatal(err)
		}
		m := f.first.m
		axis, cov := slowFit(&f.bundle, sphere.LocalVec(m.axis()), r.CamFromMount, m.turn)
		sigma := math.Sqrt(cov[0][0] + cov[1][1])
		if d := float64(axis.Sep(r.Axis)) / sigma; d > 0.01 {
			t.Errorf("seed %d, night %d: axis %.4f standard errors from the slow twin's, want below 0.01", seed, k, d)
		}
		for a := range 2 {
			for c := range 2 {
				if d := math.Abs(r.Cov[a][c]-cov[a][c]) / (sigma * sigma); d > 1e-3 {
					t.Errorf("night %d: covariance %v, slow twin %v", k, r.Cov, cov)
				}
			}
		}
	}
}
