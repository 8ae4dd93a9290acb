package axis

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/optics"
	"pintle/index/sphere"
)

func noAir(sphere.Local) sphere.Angle { return 0 }

// Centres alone: a field so small that its orientation tells nothing.
func tinyField(sigma sphere.Angle) Camera {
	return Camera{Width: 1e-4, Height: 1e-4, StarErr: sigma}
}

// ring returns pointings at hour angles on a circle of declination.
func ringOf(n Night, dec sphere.Angle, stars float64, has ...float64) (out []Pointing) {
	f := newFrame(n.Pole.Vec(), n.South)
	for _, h := range has {
		v, _ := f.at(sphere.Angle(h)*sphere.Degree, dec)
		out = append(out, Pointing{sphere.LocalVec(v), stars})
	}
	return out
}

// Three pointings over a span S, centres only, sigma per coordinate:
// radial sigma sqrt(1.5)/(1-cos(S/2)) toward the middle pointing, tangential
// sigma/(sqrt 2 sin(S/2)), whatever the distance from the pole (formulas
// confirmed by an independent Monte Carlo).
func TestExpectCentres(t *testing.T) {
	for _, south := range []bool{false, true} {
		due := sphere.Angle(0)
		if south {
			due = math.Pi
		}
		n := Night{Pole: sphere.LocalAt(due, 40*sphere.Degree), South: south, Refraction: noAir}
		for _, span := range []float64{30, 60, 90, 120, 170} {
			for _, dec := range []float64{-60, -20, 0, 45, 80, 88} {
				// The middle pointing on the meridian: radial is altitude.
				e, err := n.Expect(tinyField(sphere.Arcsecond), ringOf(n, sphere.Angle(dec)*sphere.Degree, 1, -span/2, 0, span/2))
				if err != nil {
					t.Fatal(err)
				}
				s := span / 2 * math.Pi / 180
				radial, tangential := math.Sqrt(1.5)/(1-math.Cos(s)), 1/(math.Sqrt2*math.Sin(s))
				if math.Abs(e.Alt().Arcseconds()/radial-1) > 2e-4 || math.Abs(e.Az().Arcseconds()/tangential-1) > 2e-4 {
					t.Errorf("south %v span %v dec %v: %.4f, %.4f arcsec, want %.4f, %.4f", south, span, dec, e.Alt().Arcseconds(), e.Az().Arcseconds(), radial, tangential)
				}
			}
		}
	}
}

// Two frames with field orientation, against a slow twin: noisy attitudes, the
// axis from the rotation between them.
func TestExpectTwoFramesMonteCarlo(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 31))
	n := Night{Pole: sphere.LocalAt(0, 50*sphere.Degree), Refraction: noAir}
	c := Camera{Width: 4 * sphere.Degree, Height: 3 * sphere.Degree, StarErr: 2 * sphere.Arcsecond, Wobble: 0.3 * sphere.Arcsecond}
	const stars = 30
	frames := ringOf(n, 35*sphere.Degree, stars, -70, -25)
	e, err := n.Expect(c, frames)
	if err != nil {
		t.Fatal(err)
	}
	across, roll := c.knowledge(stars)
	f := newFrame(n.Pole.Vec(), false)
	r := sphere.Turn(f.north, -45*sphere.Degree)
	noisy := func(b r3.Vec) sphere.Rot {
		x := r3.Unit(r3.Cross(b, r3.Vec{X: 0.3, Y: 0.9, Z: -0.2}))
		y := r3.Cross(b, x)
		v := r3.Add(r3.Scale(rng.NormFloat64()/math.Sqrt(roll), b),
			r3.Add(r3.Scale(rng.NormFloat64()/math.Sqrt(across), x), r3.Scale(rng.NormFloat64()/math.Sqrt(across), y)))
		return sphere.TurnVec(v)
	}
	up, around := altAz(n.Pole.Vec())
	var sum [3]float64
	const trials = 6000
	for range trials {
		turn := noisy(frames[1].Dir.Vec()).Mul(r).Mul(noisy(frames[0].Dir.Vec()).Inv())
		axis := r3.Scale(-1, r3.Unit(turn.Vec()))
		a, z := r3.Dot(axis, up), r3.Dot(axis, around)
		sum[0] += a * a
		sum[1] += z * z
		sum[2] += a * z
	}
	for i, want := range []float64{e.Cov[0][0], e.Cov[1][1], e.Cov[0][1]} {
		scale := math.Sqrt(e.Cov[0][0] * e.Cov[1][1])
		if d := (sum[i]/trials - want) / scale; math.Abs(d) > 0.08 { // 2 % expected
			t.Errorf("seed %d: element %d: trials %.4g, expected %.4g", seed, i, sum[i]/trials, want)
		}
	}
}

// Uncertain air shifts the axis as a least-squares answer to lifted stars
// does: a slow twin that lifts the frames and solves.
func TestExpectAirBias(t *testing.T) {
	k := 58 * sphere.Arcsecond
	tanZ := func(l sphere.Local) sphere.Angle {
		_, alt := l.AzAlt()
		return k / sphere.Angle(alt.Tan())
	}
	n := Night{Pole: sphere.LocalAt(0, 50*sphere.Degree), Refraction: tanZ, AirErr: 0.05}
	c := Camera{Width: 4 * sphere.Degree, Height: 3 * sphere.Degree, StarErr: 1e-4 * sphere.Arcsecond}
	frames := ringOf(n, 20*sphere.Degree, 50, -60, -20)
	e, err := n.Expect(c, frames)
	if err != nil {
		t.Fatal(err)
	}
	lift := func(l sphere.Local) sphere.Rot { // measured attitude: too low by the lift left out
		up, _ := altAz(l.Vec())
		return sphere.TurnVec(r3.Scale(-n.AirErr*float64(tanZ(l)), r3.Cross(l.Vec(), up)))
	}
	f := newFrame(n.Pole.Vec(), false)
	r := sphere.Turn(f.north, -40*sphere.Degree)
	turn := lift(frames[1].Dir).Mul(r).Mul(lift(frames[0].Dir).Inv())
	axis := r3.Scale(-1, r3.Unit(turn.Vec()))
	up, around := altAz(n.Pole.Vec())
	// The pole believed in is too low by its own share.
	alt := r3.Dot(axis, up) + n.AirErr*float64(tanZ(n.Pole))
	az := r3.Dot(axis, around)
	want := mat.NewSymDense(2, []float64{alt * alt, alt * az, alt * az, az * az})
	for i := range 2 {
		for j := range 2 {
			if math.Abs(e.Cov[i][j]-want.At(i, j)) > 0.01*mat.Norm(want, 2) {
				t.Errorf("element %d %d: %.4g, want %.4g arcsec^2", i, j, e.Cov[i][j]*math.Pow(206264.8, 2), want.At(i, j)*math.Pow(206264.8, 2))
			}
		}
	}
}

// The search finds what one would do by hand, for skies of different kinds.
func TestSuggest(t *testing.T) {
	c := Camera{Width: 3 * sphere.Degree, Height: 2 * sphere.Degree, StarErr: sphere.Arcsecond, Wobble: 0.5 * sphere.Arcsecond}
	open := func(l sphere.Local) bool { _, alt := l.AzAlt(); return alt > 25*sphere.Degree }
	for _, lat := range []float64{-66, -33, -3, 3, 35, 66} {
		due := sphere.Angle(0)
		if lat < 0 {
			due = math.Pi
		}
		n := Night{Pole: sphere.LocalAt(due, sphere.Angle(math.Abs(lat))*sphere.Degree), South: lat < 0, Refraction: noAir,
			Stars: func(sphere.Local) float64 { return 40 }, Clear: open}
		w := Wish{Frames: 3, MaxSpan: 120 * sphere.Degree, OneSide: true}
		ss := n.Suggest(c, w, 3)
		if len(ss) < 2 {
			t.Errorf("lat %v: %d suggestions", lat, len(ss))
			continue
		}
		for i, s := range ss {
			if len(s.HA) != 3 || !oneSide(s.HA[0], s.HA[2]) || s.Span() > w.MaxSpan+1e-9 || s.Lowest < 25*sphere.Degree {
				t.Errorf("lat %v: %+v", lat, s)
			}
			if i > 0 && s.Expected.Total() < ss[0].Expected.Total()*0.8 {
				t.Errorf("lat %v: suggestion %d is much better than the first", lat, i+1)
			}
			for _, f := range s.Frames {
				if f.Dir.Sep(n.Pole)-s.Frames[0].Dir.Sep(n.Pole) > 1e-9 {
					t.Errorf("lat %v: frames not on one circle", lat)
				}
			}
		}
		// Nothing that is tried by hand is better, but for the finer steps.
		for _, dec := range []sphere.Angle{-0.4, 0, 0.4, 0.8, 1.2} {
			for start := -120.0; start <= -30; start += 10 {
				frames := ringOf(n, dec, 40, start, start/2, 0)
				e, err := n.Expect(c, frames)
				if err != nil || !open(frames[0].Dir) || !open(frames[1].Dir) || !open(frames[2].Dir) {
					continue
				}
				if e.Total() < 0.8*ss[0].Expected.Total() {
					t.Errorf("lat %v: by hand from %v at %v: %v, found %v arcsec", lat, start, dec, e.Total().Arcseconds(), ss[0].Expected.Total().Arcseconds())
				}
			}
		}
	}
}

// Only a hole in the west is clear: the suggestion lies in it. With nothing
// clear there is none.
func TestSuggestBlocked(t *testing.T) {
	c := Camera{Width: 3 * sphere.Degree, Height: 2 * sphere.Degree, StarErr: sphere.Arcsecond}
	hole := sphere.LocalAt(270*sphere.Degree, 50*sphere.Degree)
	n := Night{Pole: sphere.LocalAt(0, 50*sphere.Degree), Refraction: noAir,
		Stars: func(sphere.Local) float64 { return 40 }, Clear: func(l sphere.Local) bool { return l.Sep(hole) < 20*sphere.Degree }}
	ss := n.Suggest(c, Wish{Frames: 2, MaxSpan: 90 * sphere.Degree}, 3)
	if len(ss) != 1 {
		t.Fatalf("%d suggestions", len(ss))
	}
	for _, f := range ss[0].Frames {
		if f.Dir.Sep(hole) > 20*sphere.Degree {
			t.Errorf("frame outside the hole: %v", f.Dir)
		}
	}
	n.Clear = func(sphere.Local) bool { return false }
	if ss := n.Suggest(c, Wish{Frames: 2, MaxSpan: 90 * sphere.Degree}, 3); len(ss) != 0 {
		t.Errorf("blocked all round: %+v", ss)
	}
}

func TestExpectRefuses(t *testing.T) {
	n := Night{Pole: sphere.LocalAt(0, 0.9), Refraction: noAir}
	c := Camera{Width: 0.05, Height: 0.04, StarErr: sphere.Arcsecond}
	if _, err := n.Expect(c, ringOf(n, 0.3, 20, 10)); err == nil {
		t.Error("one frame: want an error")
	}
	if e, err := n.Expect(c, ringOf(n, 0.3, 20, 10, 10)); err == nil {
		t.Errorf("no turn: got %+v", e)
	}
}

func BenchmarkSuggest(b *testing.B) {
	c := Camera{Width: 3 * sphere.Degree, Height: 2 * sphere.Degree, StarErr: sphere.Arcsecond}
	n := Night{Pole: sphere.LocalAt(0, 0.9), Refraction: noAir, Stars: func(sphere.Local) float64 { return 40 },
		Clear: func(l sphere.Local) bool { _, alt := l.AzAlt(); return alt > 0.4 }}
	for b.Loop() {
		n.Suggest(c, Wish{Frames: 3, MaxSpan: 2, OneSide: true}, 3)
	}
}

// What is expected is what the joint fit then states: the same frames through
// both, as far as the stars go. Stars of uneven quality count by their mean weight.
// The fit also pays for its lens.
func TestExpectAgainstFit(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 33))
	for range 12 {
		n := random(rng, 3)
		n.lens = optics.NewLens(n.w, n.h, 3*sphere.Arcsecond)
		n.stars, n.err, n.catErr = 150, 0.1, 0
		r, err := Fit(n.sightings(t, rng))
		if err != nil {
			t.Fatal(err)
		}
		var frames []Pointing
		weight := math.Exp(2 * 0.7 * 0.7) // mean of 1/e^2 for e lognormal with 0.7
		for i := range n.turns {
			b := n.localFromCam(i, rng).Apply(unitZ)
			frames = append(frames, Pointing{sphere.LocalVec(b), float64(n.stars)})
		}
		c := Camera{Width: sphere.Angle(n.w) * 3 * sphere.Arcsecond, Height: sphere.Angle(n.h) * 3 * sphere.Arcsecond,
			StarErr: sphere.Angle(n.err/math.Sqrt(weight)) * 3 * sphere.Arcsecond}
		plan := Night{Pole: n.axis, South: n.site.Lat < 0, Refraction: noAir}
		e, err := plan.Expect(c, frames)
		if err != nil {
			t.Fatal(err)
		}
		if q := float64(e.Total()) / math.Sqrt(r.StarCov[0][0]+r.StarCov[1][1]); q < 0.75 || q > 1.15 {
			t.Errorf("seed %d: lat %v: expected %v arcsec, the fit states %.2f times that", seed, n.site.Lat, e.Total().Arcseconds(), 1/q)
		}
	}
}
