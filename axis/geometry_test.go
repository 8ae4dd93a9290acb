package axis

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

func azAltDeg(az, alt float64) sphere.Local {
	return sphere.LocalAt(sphere.Angle(az)*sphere.Degree, sphere.Angle(alt)*sphere.Degree)
}

// Three directions on a cone about a known axis, computed by an independent
// program (the project's collection of check values, section 9): axis to 1e-8
// degrees from these 9-decimal inputs.
var cones = []struct {
	name   string
	d      [3][2]float64 // alt, az in degrees
	turns  [2]float64    // degrees
	az     float64
	alt    float64
	radius float64
}{
	{"G1, 3 deg from the axis", [3][2]float64{{55.35, 0.4}, {54.920711975, 357.790275679}, {53.770504593, 356.001778296}}, [2]float64{-30, -30}, 0.4, 52.35, 3},
	{"G2, south, 1.5 deg", [3][2]float64{{35.6, 179.2}, {35.153867213, 180.497233692}, {34.086707940, 181.011272558}}, [2]float64{45, 45}, 179.2, 34.1, 1.5},
	{"G3, 40 deg", [3][2]float64{{60, 359.7}, {56.057503314, 336.512874331}, {43.559796089, 320.854582473}}, [2]float64{-20, -25}, 359.7, 20, 40},
}

// centresOnly returns attitudes that look along the directions, known to sigma
// radians in direction and not at all in field orientation.
func centresOnly(ds []sphere.Local, sigma float64) attitudes {
	a := attitudes{cov: mat.NewSymDense(3*len(ds), nil)}
	for i, d := range ds {
		z := d.Vec()
		x := r3.Unit(r3.Cross(z, r3.Vec{X: 0.1 * float64(i), Y: 0.9, Z: 0.2})) // any orientation
		a.camFromLocal = append(a.camFromLocal, sphere.RotFromRows(x, r3.Cross(z, x), z))
		a.cov.SetSym(3*i, 3*i, sigma*sigma)
		a.cov.SetSym(3*i+1, 3*i+1, sigma*sigma)
		a.cov.SetSym(3*i+2, 3*i+2, 1e6)
	}
	return a
}

// near returns a mount close to the axis with the camera on the first
// direction, to start a fit of centres from.
func near(axis sphere.Local, a attitudes) *mount {
	m := &mount{mountFromLocal: uprightMount(axis.Vec()), turn: make([]float64, len(a.camFromLocal))}
	m.camFromMount = a.camFromLocal[0].Mul(m.mountFromLocal.Inv())
	azimuth := func(i int) float64 {
		v := m.mountFromLocal.Apply(a.camFromLocal[i].Inv().Apply(unitZ))
		return math.Atan2(v.Y, v.X)
	}
	for i := range m.turn {
		m.turn[i] = wrap(azimuth(i) - azimuth(0))
	}
	return m
}

func TestAxisFromThreeDirections(t *testing.T) {
	for _, c := range cones {
		var ds []sphere.Local
		for _, d := range c.d {
			ds = append(ds, azAltDeg(d[1], d[0]))
		}
		a := centresOnly(ds, 1e-9)
		// The orientations mean nothing: start half a degree beside the axis.
		g, ok := a.fit(near(azAltDeg(c.az+0.3, c.alt-0.3), a), 0)
		if !ok {
			t.Fatalf("%s: no fit", c.name)
		}
		if d := sphere.LocalVec(g.m.axis()).Sep(azAltDeg(c.az, c.alt)).Degrees(); d > 1e-8*math.Max(1, 1/math.Sin(c.radius*math.Pi/180)) {
			t.Errorf("%s: axis %.3g deg off, want below 1e-8 (times what 9 decimals allow)", c.name, d)
		}
		for i, want := range []float64{0, c.turns[0], c.turns[0] + c.turns[1]} {
			if d := math.Abs(g.m.turn[i]*180/math.Pi - want); d > 1e-6 {
				t.Errorf("%s: turn %d is %.7f deg, want %g", c.name, i, g.m.turn[i]*180/math.Pi, want)
			}
		}
	}
}

// Rotation by -25 degrees about altitude 52.35, azimuth 0.4, rows in east,
// north, up; same source.
func TestAxisFromTwoAttitudes(t *testing.T) {
	r := sphere.RotFromRows(
		r3.Vec{X: 0.906309490846, Y: 0.334854969104, Z: -0.257827959053},
		r3.Vec{X: -0.334366871737, Y: 0.941264618017, Z: 0.047113840368},
		r3.Vec{X: 0.258460638953, Y: 0.043509407439, Z: 0.965041465211})
	want := azAltDeg(0.4, 52.35)
	rng := rand.New(rand.NewPCG(seed, 5000))
	for range 10 {
		first := sphere.TurnVec(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}) // localFromCam, any
		m, ok := firstMount([]sphere.Rot{first.Inv(), r.Mul(first).Inv()}, azAltDeg(0, 52).Vec())
		if !ok {
			t.Fatal("no axis")
		}
		if d := sphere.LocalVec(m.axis()).Sep(want).Degrees(); d > 1e-9 {
			t.Errorf("axis %.3g deg off, want below 1e-9", d)
		}
		if got := m.turn[1] * 180 / math.Pi; math.Abs(got+25) > 1e-9 {
			t.Errorf("turn %.10f deg, want -25", got)
		}
	}
}

// Growth of the error from three equally spaced centres: sigma sqrt(1.5)/(1 -
// cos(S/2)) toward the middle pointing and sigma/(sqrt 2 sin(S/2)) across, at
// any distance from the pole (same source: formula, and its Monte Carlo of 4000
// trials in the last two columns).
func TestErrorGrowthOfCentres(t *testing.T) {
	statistical(t)
	for _, c := range []struct{ span, radial, across, mcRadial, mcAcross float64 }{
		{60, 9.14, 1.41, 9.06, 1.43}, {90, 4.18, 1.00, 4.2, 0.99}, {120, 2.45, 0.82, 2.43, 0.81},
	} {
		for _, radius := range []float64{2, 10, 40, 80} {
			t.Run(fmt.Sprintf("span %g, %g deg from the axis", c.span, radius), func(t *testing.T) {
				rng := rand.New(rand.NewPCG(seed, uint64(c.span+radius)))
				axis := azAltDeg(3, 40)
				back := uprightMount(axis.Vec()).Inv()
				ds := make([]r3.Vec, 3)
				for i := range ds {
					turn := sphere.Angle(c.span*float64(i-1)/2) * sphere.Degree
					ds[i] = back.Apply(sphere.Turn(unitZ, turn).Apply(sphere.Turn(unitX, -sphere.Angle(radius)*sphere.Degree).Apply(unitZ)))
				}
				up, side := altAz(axis.Vec()) // the middle pointing lies above the axis
				const trials = 600
				var sr, sa float64
				for k := range trials {
					var noisy []sphere.Local
					for _, d := range ds {
						noise := r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
						noisy = append(noisy, sphere.LocalVec(r3.Add(d, r3.Scale(float64(arcsecond), noise))))
					}
					a := centresOnly(noisy, float64(arcsecond))
					g, ok := a.fit(near(axis, a), 0)
					if !ok {
						t.Fatal("no fit")
					}
					e := r3.Sub(g.m.axis(), axis.Vec())
					sr += r3.Dot(e, up) * r3.Dot(e, up)
					sa += r3.Dot(e, side) * r3.Dot(e, side)
					if k == 0 { // the covariance says the same
						got := math.Sqrt(g.axisSigma()*g.axisSigma()) / float64(arcsecond)
						if math.Abs(got/c.radial-1) > 0.01 {
							t.Errorf("stated error %.3f arcsec, want %.2f", got, c.radial)
						}
					}
				}
				sr, sa = math.Sqrt(sr/trials)/float64(arcsecond), math.Sqrt(sa/trials)/float64(arcsecond)
				// 600 trials fix an rms to 3 %; 10 % is more than three times that.
				if math.Abs(sr/c.mcRadial-1) > 0.1 || math.Abs(sa/c.mcAcross-1) > 0.1 {
					t.Errorf("radial %.2f, across %.2f arcsec; want %.2f, %.2f", sr, sa, c.mcRadial, c.mcAcross)
				}
			})
		}
	}
}

// altAz points where altitude and azimuth grow.
func TestAltAz(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 5001))
	for range 100 {
		az, alt := sphere.Angle(2*math.Pi*rng.Float64()), sphere.Angle(3*rng.Float64()-1.5)
		const h = 1e-6
		up, side := altAz(sphere.LocalAt(az, alt).Vec())
		wantUp := r3.Scale(1/h, r3.Sub(sphere.LocalAt(az, alt+h).Vec(), sphere.LocalAt(az, alt).Vec()))
		wantSide := r3.Unit(r3.Sub(sphere.LocalAt(az+h, alt).Vec(), sphere.LocalAt(az, alt).Vec()))
		if r3.Norm(r3.Sub(up, wantUp)) > 1e-5 || r3.Norm(r3.Sub(side, wantSide)) > 1e-4 {
			t.Fatalf("seed %d, az %v alt %v: %v %v, want %v %v", seed, az, alt, up, side, wantUp, wantSide)
		}
	}
}

// axisSigma returns the larger standard error of the axis, radians.
func (g *glsFit) axisSigma() float64 {
	a, b, c := g.cov.At(0, 0), g.cov.At(0, 1), g.cov.At(1, 1)
	return math.Sqrt((a+c)/2 + math.Hypot((a-c)/2, b))
}
