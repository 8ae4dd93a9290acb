package axis

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis/place"
	"pintle/index/sphere"
)

const arcsecond = sphere.Arcsecond

// Everything the fit reports is compared with what the night was made of.
func TestFitFindsWhatTheNightWasMadeOf(t *testing.T) {
	statistical(t)
	for k := range 40 {
		rng := rand.New(rand.NewPCG(seed, 1000+uint64(k)))
		n := random(rng, 3)
		n.wrong = 0.05
		ss := n.sightings(t, rng)
		r, err := Fit(ss)
		if err != nil {
			t.Fatalf("seed %d, night %d: %v", seed, k, err)
		}
		// 5 standard errors in two dimensions: 4e-6 by chance.
		if q := chi2(r, n, r.Cov); q > 25 {
			t.Errorf("night %d: axis %.2f arcsec off, chi-square %.1f, want below 25", k, r.Axis.Sep(n.axis).Arcseconds(), q)
		}
		if f := math.Abs(r.Lens.F/n.lens.F - 1); f > 2e-3 {
			t.Errorf("night %d: focal length off by %.2g, want below 2e-3", k, f)
		}
		for i, f := range r.Frames {
			turn := (n.turns[i] - n.turns[0]).Wrap()
			if d := (f.Turn - turn).Wrap().Abs(); float64(d) > 6*float64(f.TurnErr)+1e-6 {
				t.Errorf("night %d frame %d: turn %v, want %v +- %v", k, i, f.Turn, turn, f.TurnErr)
			}
			// The optical axis is only as well known as its pixel; compare where a
			// star in the middle of the frame is seen.
			x, y := float64(n.w)/2, float64(n.h)/2
			got := sphere.LocalVec(f.LocalFromCam.Apply(r.Lens.Cam(x, y).Vec()))
			want := sphere.LocalVec(n.localFromCam(i, rng).Apply(n.lens.Cam(x, y).Vec()))
			if d := float64(got.Sep(want)) * r.Lens.F; d > 0.25 {
				t.Errorf("night %d frame %d: middle of the frame %.3f px off", k, i, d)
			}
			again := r.CamFromMount.Mul(sphere.Turn(unitZ, -f.Turn)).Mul(r.MountFromLocal)
			if r.Tilt == 0 && again.Mul(f.LocalFromCam).Angle() > 1e-9 {
				t.Errorf("night %d frame %d: attitude is not made of its parts: %v apart", k, i, again.Mul(f.LocalFromCam).Angle())
			}
			for j, m := range ss[i].Matches {
				// A match moved by 8 times its error or more must not be kept.
				px, py, _ := n.lens.PixelVec(n.localFromCam(i, rng).Inv().Apply(ss[i].Place.Observed(m.Sky).Vec()))
				cat := float64(m.CatErr) * n.lens.F
				if d := math.Hypot(m.X-px, m.Y-py) / math.Hypot(m.Err, cat); d > 8 && f.Kept[j] {
					t.Errorf("night %d frame %d: match %d is %.1f standard errors off and kept", k, i, j, d)
				}
			}
		}
		if z := r.MountFromLocal.Inv().Apply(unitZ); r3.Norm(r3.Sub(z, r.Axis.Vec())) > 1e-12 {
			t.Errorf("night %d: mount's z is not the axis", k)
		}
	}
}

// The order of the frames, their RA steps, which way and how far beyond half a
// turn, and whether the mount tracks, do not matter.
func TestAnyStepsAnyOrder(t *testing.T) {
	statistical(t)
	for _, c := range []struct {
		name  string
		turns []float64 // degrees from the highest
		step  time.Duration
	}{
		{"forward", []float64{-40, 0, 40}, time.Minute},
		{"back and uneven", []float64{35, -50, 10, -20}, time.Minute},
		{"both sides of the pier", []float64{-100, 80, -60, 100}, time.Minute},
		{"more than half a turn", []float64{-130, 130}, time.Minute},
		{"half a turn", []float64{-90, 90}, time.Minute},
		{"more than a full turn", []float64{-30, 390}, time.Minute},
		{"one place twice", []float64{-40, 40, 40, -40}, time.Minute},
		{"hours apart, not tracking", []float64{0, 25, 50}, 70 * time.Minute},
	} {
		t.Run(c.name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(seed, 7))
			n := random(rng, 3)
			n.site.Lat = 48 * sphere.Degree
			n.axis = sphere.LocalAt(1.2*sphere.Degree, 48.7*sphere.Degree)
			n.cam = sphere.Turn(unitX, 30*sphere.Degree).Mul(sphere.Turn(unitZ, 1)) // stays above the horizon all round
			mid := n.zenithTurn()
			n.turns, n.step = nil, c.step
			for _, d := range c.turns {
				n.turns = append(n.turns, mid+sphere.Angle(d)*sphere.Degree)
			}
			ss := n.sightings(t, rng)
			r, err := Fit(ss)
			if err != nil {
				t.Fatal(err)
			}
			if q := chi2(r, n, r.Cov); q > 20 {
				t.Errorf("axis %.2f arcsec off, chi-square %.1f", r.Axis.Sep(n.axis).Arcseconds(), q)
			}
			slices.Reverse(ss)
			back, err := Fit(ss)
			if err != nil {
				t.Fatal(err)
			}
			if d := back.Axis.Sep(r.Axis).Arcseconds(); d > 1e-6 {
				t.Errorf("axis moves by %.2g arcsec when the frames are given in reverse", d)
			}
			if a, b := r.Frames[0].Turn, back.Frames[len(ss)-1].Turn; (a - b).Wrap().Abs() > 1e-9 {
				t.Errorf("turn of the first frame %v, given last %v", a, b)
			}
		})
	}
}

// A clock that is wrong in the same way for all frames turns everything about
// the pole: the axis keeps its distance from the pole and only the direction
// changes, by the clock's error. Exact without air; with it, what is left is
// refraction computed for altitudes up to 2.5 degrees away.
func TestLateClockOnlyTurnsTheOffset(t *testing.T) {
	for _, c := range []struct {
		name string
		air  place.Air
		tol  sphere.Angle
	}{
		{"no air", place.Air{}, 0.02 * arcsecond},
		{"air", place.Air{Pressure: 1000, Temp: 5, Humidity: 0.5}, 6 * arcsecond},
	} {
		for _, lat := range []float64{52, -34} {
			rng := rand.New(rand.NewPCG(seed, 11))
			n := random(rng, 3)
			n.site.Lat, n.air = sphere.Angle(lat)*sphere.Degree, c.air
			p, err := place.At(n.start, n.site, n.air)
			if err != nil {
				t.Fatal(err)
			}
			paz, palt := p.RefractedPole().AzAlt()
			n.axis = sphere.LocalAt(paz+1.5*sphere.Degree, palt-0.8*sphere.Degree)
			mid := n.zenithTurn()
			n.turns = []sphere.Angle{mid - 0.6, mid, mid + 0.6}
			n.err, n.catErr = 1e-5, 0
			right, err := Fit(n.sightings(t, rng))
			if err != nil {
				t.Fatal(err)
			}
			n.late = 10 * time.Minute
			late, err := Fit(n.sightings(t, rng))
			if err != nil {
				t.Fatal(err)
			}
			pole := p.RefractedPole()
			// Ten minutes later the sky stands 2.507 degrees further, right-handed about
			// the southern pole and left-handed about the northern.
			turn := sphere.Angle(600*7.292115858e-5) * sphere.Angle(-math.Copysign(1, lat))
			want := sphere.LocalVec(sphere.Turn(pole.Vec(), turn).Apply(right.Axis.Vec()))
			if d := late.Axis.Sep(want); d > c.tol {
				t.Errorf("%s, latitude %g: axis %.3f arcsec from where the late clock should turn it (moved by %.0f), want below %.3f",
					c.name, lat, d.Arcseconds(), late.Axis.Sep(right.Axis).Arcseconds(), c.tol.Arcseconds())
			}
			a, b := right.Offset(Refracted).Total, late.Offset(Refracted).Total
			if d := (a - b).Abs(); d > c.tol {
				t.Errorf("%s, latitude %g: distance from the pole %.3f arcsec, with the late clock %.3f", c.name, lat, a.Arcseconds(), b.Arcseconds())
			}
		}
	}
}

// No answer is an answer, with numbers; nothing panics.
func TestNoAnswer(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 12))
	weak := func(name string, want Reason, ss []Sighting) {
		t.Helper()
		_, err := Fit(ss)
		var w *WeakError
		if !errors.As(err, &w) || w.Reason != want {
			t.Errorf("%s: %v, want a WeakError with reason %d", name, err, want)
		}
	}
	n := random(rng, 3)
	weak("no frame", TooFewFrames, nil)
	weak("one frame", TooFewFrames, n.sightings(t, rng)[:1])
	still := *n
	still.turns = []sphere.Angle{n.turns[1], n.turns[1], n.turns[1]}
	weak("no turn", NoTurn, still.sightings(t, rng))
	still.stars = 3
	weak("no turn and few stars", NoTurn, still.sightings(t, rng))
	little := *n
	little.turns = []sphere.Angle{n.turns[1], n.turns[1] + 1*sphere.Degree}
	little.stars, little.err, little.lens.F = 5, 0.5, 600
	weak("turn of 1 deg seen by 5 poor stars", TooUncertain, little.sightings(t, rng))
	empty := n.sightings(t, rng)
	empty[0].Matches, empty[1].Matches = nil, empty[1].Matches[:1]
	weak("two frames without stars", TooFewFrames, empty)
}

// A frame without stars is left out and named; the others answer.
func TestFrameWithoutStars(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 13))
	n := random(rng, 3)
	ss := n.sightings(t, rng)
	ss[1].Matches = ss[1].Matches[:1]
	r, err := Fit(ss)
	if err != nil {
		t.Fatal(err)
	}
	if r.Frames[1].Used || !r.Frames[0].Used || !r.Frames[2].Used {
		t.Errorf("used %v %v %v, want all but the second", r.Frames[0].Used, r.Frames[1].Used, r.Frames[2].Used)
	}
	if !has(r, NoStars) || !has(r, TwoFrames) {
		t.Errorf("warnings %v, want no stars and two frames", r.Warnings)
	}
}

func has(r *Result, k Kind) bool {
	return slices.ContainsFunc(r.Warnings, func(w Warning) bool { return w.Kind == k })
}

// Bad input is refused by name; it never panics and never gives an answer.
func TestBadInput(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 14))
	n := random(rng, 3)
	nan := math.NaN()
	for name, spoil := range map[string]func(ss []Sighting){
		"no place":         func(ss []Sighting) { ss[1].Place = nil },
		"no pixels":        func(ss []Sighting) { ss[0].W = 0 },
		"pixel NaN":        func(ss []Sighting) { ss[2].Matches[0].X = nan },
		"pixel infinite":   func(ss []Sighting) { ss[2].Matches[0].Y = math.Inf(1) },
		"error 0":          func(ss []Sighting) { ss[0].Matches[3].Err = 0 },
		"error NaN":        func(ss []Sighting) { ss[0].Matches[3].Err = nan },
		"catalogue NaN":    func(ss []Sighting) { ss[0].Matches[3].CatErr = sphere.Angle(nan) },
		"no direction":     func(ss []Sighting) { ss[0].Matches[3].Sky = sphere.Sky{} },
		"direction NaN":    func(ss []Sighting) { ss[0].Matches[3].Sky = sphere.SkyAt(sphere.Angle(nan), 0) },
		"no lens":          func(ss []Sighting) { ss[1].Lens.F = 0 },
		"lens NaN":         func(ss []Sighting) { ss[1].Lens.K1 = nan },
		"other size":       func(ss []Sighting) { ss[1].W++ },
		"other scale":      func(ss []Sighting) { ss[1].Lens.F *= 1.06 },
		"one mirrored":     func(ss []Sighting) { ss[1].Lens.Mirrored = !ss[1].Lens.Mirrored },
		"same frame twice": func(ss []Sighting) { ss[1].Matches = ss[0].Matches },
	} {
		ss := n.sightings(t, rng)
		spoil(ss)
		r, err := Fit(ss)
		var w *WeakError
		if err == nil || errors.As(err, &w) {
			t.Errorf("%s: result %v, error %v; want a plain error", name, r, err)
		}
	}
	// A garbled attitude from solving is only a start.
	ss := n.sightings(t, rng)
	for i := range ss {
		ss[i].SkyFromCam = sphere.Rot{}
	}
	r, err := Fit(ss)
	if err != nil {
		t.Fatalf("without attitudes to start from: %v", err)
	}
	if q := chi2(r, n, r.Cov); q > 25 {
		t.Errorf("without attitudes to start from: chi-square %.1f", q)
	}
}

// Two stars a frame, on one spot, along a line, all matches wrong: an error or an
// answer with an honest error, never a panic.
func TestHardlyAnyStars(t *testing.T) {
	statistical(t)
	for k := range 60 {
		rng := rand.New(rand.NewPCG(seed, 2000+uint64(k)))
		n := random(rng, 2+k%3)
		n.stars = 2 + k%2
		if k%5 == 4 {
			n.wrong = 1
		}
		ss := n.sightings(t, rng)
		if k%4 == 3 { // on one spot
			for i := range ss {
				for j := range ss[i].Matches {
					ss[i].Matches[j].Sky = ss[i].Matches[0].Sky
				}
			}
		}
		r, err := Fit(ss)
		if err != nil {
			continue
		}
		if q := chi2(r, n, r.Cov); k%5 != 4 && k%4 != 3 && q > 40 {
			t.Errorf("seed %d, night %d: %d stars a frame, axis %v off, chi-square %.1f", seed, k, n.stars, r.Axis.Sep(n.axis), q)
		}
		if !finite(r.Cov[0][0], r.Cov[0][1], r.Cov[1][1], float64(r.RMS)) || r.Cov[0][0] < 0 {
			t.Errorf("night %d: covariance %v", k, r.Cov)
		}
	}
}

// Frames recognised wrongly are left out; with nothing but such frames there is
// no answer.
func TestScrambledFrames(t *testing.T) {
	statistical(t)
	for k := range 40 {
		rng := rand.New(rand.NewPCG(seed, 9000+uint64(k)))
		n := random(rng, 3)
		n.stars = 10 + rng.IntN(60)
		ss := n.sightings(t, rng)
		scramble := func(i int) {
			m := ss[i].Matches
			for j := range m {
				m[j].X, m[j].Y = float64(n.w)*rng.Float64(), float64(n.h)*rng.Float64()
			}
		}
		scramble(1)
		r, err := Fit(ss)
		if err != nil {
			t.Fatalf("seed %d, night %d: %v", seed, k, err)
		}
		if r.Frames[1].Used || !has(r, Scrambled) {
			t.Errorf("seed %d, night %d: scrambled frame used: %v, warnings %v", seed, k, r.Frames[1].Used, r.Warnings)
		}
		if q := chi2(r, n, r.Cov); q > 25 {
			t.Errorf("seed %d, night %d: axis %.1f arcsec off, chi-square %.1f", seed, k, r.Axis.Sep(n.axis).Arcseconds(), q)
		}
		scramble(0)
		scramble(2)
		if r, err := Fit(ss); err == nil {
			t.Errorf("seed %d, night %d: three scrambled frames give an axis %v off", seed, k, r.Axis.Sep(n.axis))
		}
	}
}
