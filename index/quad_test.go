package index

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

const seed = 20261125

// cluster returns four random directions within size of a random place.
func cluster(rng *rand.Rand, size sphere.Angle) (v [4]r3.Vec) {
	c := r3.Unit(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
	for i := range v {
		d := r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
		v[i] = r3.Unit(r3.Add(c, r3.Scale(float64(size), d)))
	}
	return v
}

func TestCodeIgnoresOrderTurnAndMirror(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 1))
	for range 2000 {
		v := cluster(rng, 5*sphere.Degree)
		want := MakeQuad(v)
		rot := sphere.TurnVec(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
		var w [4]r3.Vec
		for i, j := range rng.Perm(4) {
			w[i] = rot.Apply(v[j])
		}
		got := MakeQuad(w)
		if d := got.Code.Dist(want.Code); d > 1e-9 || got.Mirror != want.Mirror {
			t.Fatalf("seed %d: code %+v, want %+v, mirror %v, want %v", seed, got.Code, want.Code, got.Mirror, want.Mirror)
		}
		for i := range w {
			w[i].X = -w[i].X
		}
		got = MakeQuad(w)
		if d := got.Code.Dist(want.Code); d > 1e-9 || got.Mirror == want.Mirror {
			t.Fatalf("seed %d: mirrored code %+v, want %+v and the other mirror flag", seed, got.Code, want.Code)
		}
	}
}

func TestCodeIsCanonical(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 2))
	for range 2000 {
		v := cluster(rng, sphere.Degree)
		q := MakeQuad(v)
		k := q.Code
		if k.X1+k.X2 > 1 || k.X1 > k.X2 || k.Y1+k.Y2 < 0 {
			t.Fatalf("seed %d: code %+v is not canonical", seed, k)
		}
		// The named order gives the code itself.
		c := codeOf(v[q.Order[0]], v[q.Order[1]], v[q.Order[2]], v[q.Order[3]])
		if q.Mirror {
			c = c.mirrored()
		}
		if d := c.Dist(k); d > 1e-12 {
			t.Fatalf("seed %d: order %v gives %+v, want %+v", seed, q.Order, c, k)
		}
	}
}

// Whatever small errors do to the four places, one of the variants is close to
// the code of the true ones and names the same stars.
func TestVariantsReachTheTrueCode(t *testing.T) {
	const eps = 0.01
	rng := rand.New(rand.NewPCG(seed, 3))
	var buf []Quad
	crossed := 0
	for range 20000 {
		v := cluster(rng, sphere.Degree)
		want := MakeQuad(v)
		l := r3.Norm(r3.Sub(v[want.Order[0]], v[want.Order[1]]))
		w := v
		for i := range w {
			d := r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
			w[i] = r3.Unit(r3.Add(w[i], r3.Scale(eps/10*l, d)))
		}
		buf = Variants(buf[:0], w, eps)
		if buf[0].Code != MakeQuad(w).Code {
			t.Fatalf("seed %d: the first variant is not the canonical one", seed)
		}
		found := false
		for i, q := range buf {
			if q.Code.Dist(want.Code) < eps && q.Order == want.Order && q.Mirror == want.Mirror {
				found = true
				if i > 0 {
					crossed++
				}
			}
		}
		if !found {
			t.Fatalf("seed %d: none of %d variants is within %g of %+v", seed, len(buf), eps, want.Code)
		}
	}
	if crossed == 0 {
		t.Error("no case crossed a boundary: the test shows nothing")
	}
	if math.IsNaN(buf[0].Code.X1) {
		t.Error("code is NaN")
	}
}
