package gear

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

const seed = 20261125

func diag(s sphere.Angle) *mat.SymDense {
	v := float64(s * s)
	return mat.NewSymDense(3, []float64{v, 0, 0, 0, v, 0, 0, 0, v})
}

// A camera carried by known turns of the adjusters and of the RA axis: the
// turns come back, in both hemispheres, also with a rough axis.
func TestTakeApart(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 1))
	for range 300 {
		south := rng.IntN(2) == 1
		due, alt := sphere.Angle(0), sphere.Angle(5+75*rng.Float64())*sphere.Degree
		if south {
			due = math.Pi
		}
		axis := sphere.LocalAt(due+sphere.Angle(rng.NormFloat64()*0.02), alt)
		move := sphere.Angle(rng.NormFloat64()) * sphere.Degree
		turn := sphere.Angle(rng.NormFloat64()) * sphere.Degree
		ra := sphere.Angle(rng.NormFloat64()) * sphere.Degree
		// The RA turn first, about the old axis; then the altitude, across the
		// mount; then all of it about the vertical.
		p := axis.Vec()
		sky := -1.0
		if south {
			sky = 1
		}
		across := r3.Cross(p, r3.Vec{Z: 1})
		r := sphere.Turn(r3.Vec{Z: -1}, turn).Mul(sphere.Turn(across, move)).Mul(sphere.Turn(p, sphere.Angle(sky)*ra))
		got, err := takeApart(r, diag(1e-6), axis)
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		if d := math.Abs(float64(got.Alt-move)) + math.Abs(float64(got.Az-turn)) + math.Abs(float64(got.RA-ra)); d > 1e-10 {
			t.Fatalf("seed %d: alt %v az %v: got %+v, want %v %v %v", seed, alt, due, got, move, turn, ra)
		}
		// The axis itself, before and after, tells the same.
		after := sphere.LocalVec(r.Apply(p))
		az0, alt0 := axis.AzAlt()
		az1, alt1 := after.AzAlt()
		if math.Abs(float64(alt1-alt0-move)) > 1e-9 || math.Abs(float64((az1-az0-turn).Wrap())) > 1e-9 {
			t.Fatalf("seed %d: axes say %v %v, want %v %v", seed, alt1-alt0, (az1 - az0).Wrap(), move, turn)
		}
	}
}

// The stated standard errors against the scatter of 4000 noisy trials.
func TestTakeApartErrors(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 2))
	axis := sphere.LocalAt(0, 50*sphere.Degree)
	cov := mat.NewSymDense(3, []float64{4e-10, 1e-10, 0, 1e-10, 9e-10, 2e-10, 0, 2e-10, 1e-10})
	var chol mat.Cholesky
	chol.Factorize(cov)
	var l mat.TriDense
	chol.LTo(&l)
	noise := func() sphere.Rot {
		var v mat.VecDense
		v.MulVec(&l, mat.NewVecDense(3, []float64{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()}))
		return sphere.TurnVec(r3.Vec{X: v.AtVec(0), Y: v.AtVec(1), Z: v.AtVec(2)})
	}
	var sumAlt, sumAz float64
	var said Turned
	const n = 4000
	for range n {
		got, err := takeApart(noise(), cov, axis)
		if err != nil {
			t.Fatal(err)
		}
		sumAlt += float64(got.Alt * got.Alt)
		sumAz += float64(got.Az * got.Az)
		said = got
	}
	for _, c := range []struct {
		name     string
		sum, sig float64
	}{{"altitude", sumAlt, float64(said.SigAlt)}, {"azimuth", sumAz, float64(said.SigAz)}} {
		if r := math.Sqrt(c.sum/n) / c.sig; r < 0.95 || r > 1.05 { // 1.1 % expected
			t.Errorf("seed %d: %s scatter over stated error %.3f", seed, c.name, r)
		}
	}
}

func TestTakeApartZenith(t *testing.T) {
	if got, err := takeApart(sphere.Identity(), diag(1e-6), sphere.LocalAt(0, 89*sphere.Degree)); err == nil {
		t.Errorf("pole in the zenith: got %+v", got)
	}
}

func TestLearn(t *testing.T) {
	const m = sphere.Arcminute
	p, err := Learn(KindAlt, Turned{Alt: -90 * m, Az: 3 * m, SigAlt: 0.5 * m, SigAz: m}, 1.5)
	if err != nil || math.Abs(p.PerTurn.Arcminutes()-60) > 1e-9 || math.Abs(p.Sigma.Arcminutes()-1.0/3) > 1e-9 || p.Sense != Lowers {
		t.Errorf("altitude: %+v %v", p, err)
	}
	p, err = Learn(KindAz, Turned{Az: -40 * m, SigAlt: m, SigAz: m}, -1)
	if err != nil || math.Abs(p.PerTurn.Arcminutes()-40) > 1e-9 || p.Sense != Clockwise {
		t.Errorf("azimuth: %+v %v", p, err)
	}
	for name, f := range map[string]func() (Pitch, error){
		"lost in the error":  func() (Pitch, error) { return Learn(KindAlt, Turned{Alt: 4 * m, SigAlt: m}, 1) },
		"the wrong adjuster": func() (Pitch, error) { return Learn(KindAlt, Turned{Alt: 40 * m, Az: 50 * m, SigAlt: m, SigAz: m}, 1) },
		"no turn":            func() (Pitch, error) { return Learn(KindAlt, Turned{Alt: 40 * m, SigAlt: m}, 0) },
		"nonsense":           func() (Pitch, error) { return Learn(KindAlt, Turned{Alt: 40 * m, SigAlt: m}, math.NaN()) },
	} {
		if p, err := f(); err == nil {
			t.Errorf("%s: learned %+v", name, p)
		}
	}
}

// A narrow field knows its orientation poorly; told the RA turn, the other
// two become sharp and stay right.
func TestWithRA(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 3))
	axis := sphere.LocalAt(0, 50*sphere.Degree)
	b := sphere.LocalAt(140*sphere.Degree, 45*sphere.Degree).Vec()
	const across, roll = 2e-6, 4e-4
	cov := mat.NewSymDense(3, nil)
	v := [3]float64{b.X, b.Y, b.Z}
	for i := range 3 {
		for j := i; j < 3; j++ {
			c := (roll*roll - across*across) * v[i] * v[j]
			if i == j {
				c += across * across
			}
			cov.SetSym(i, j, c)
		}
	}
	noise := func() sphere.Rot {
		w := r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
		w = r3.Scale(across, r3.Sub(w, r3.Scale(r3.Dot(w, b), b)))
		return sphere.TurnVec(r3.Add(w, r3.Scale(roll*rng.NormFloat64(), b)))
	}
	alt, az, ra := 0.6*sphere.Degree, -0.3*sphere.Degree, 0.1*sphere.Degree
	p := axis.Vec()
	r := sphere.Turn(r3.Vec{Z: -1}, az).Mul(sphere.Turn(r3.Cross(p, r3.Vec{Z: 1}), alt)).Mul(sphere.Turn(p, -ra))
	var sum float64
	const n = 2000
	for range n {
		free, err := takeApart(noise().Mul(r), cov, axis)
		if err != nil {
			t.Fatal(err)
		}
		known := free.WithRA(ra, 2*sphere.Arcsecond)
		if known.SigAlt > free.SigAlt/3 || known.SigAz > free.SigAz/5 {
			t.Fatalf("errors %v, %v before, %v, %v after", free.SigAlt, free.SigAz, known.SigAlt, known.SigAz)
		}
		sum += math.Pow(float64((known.Alt-alt)/known.SigAlt), 2) + math.Pow(float64((known.Az-az)/known.SigAz), 2)
	}
	if z := math.Sqrt(sum / (2 * n)); z > 1.1 { // RA itself was exact
		t.Errorf("seed %d: error over stated error %.2f", seed, z)
	}
}
