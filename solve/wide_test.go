package solve

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"pintle/index/optics"
	"pintle/index/sphere"
	"pintle/solve/detect"
)

// wideMade is a made-up frame of a wide lens, a third of it hidden by ground on
// which there are as many lights as stars in the sky.
func wideMade(rng *rand.Rand, law optics.Law, diagonal sphere.Angle, k1 float64, mirrored bool) truth {
	const w, h, noise = 1280, 960, 0.3
	t := truth{field: &detect.Field{W: w, H: h}}
	t.lens = optics.NewLens(w, h, 1)
	t.lens.Law, t.lens.K1, t.lens.Mirrored = law, k1, mirrored
	t.lens.F = t.lens.Half / law.Radius(diagonal/2)
	t.lens.CX += 8
	t.camFromSky = made{}.make(rng).camFromSky
	k := checker{list: lib.List, epoch: 2026.9}
	p := pose{camFromSky: t.camFromSky, lens: t.lens}
	for _, s := range k.inFrame(&p, &cloud{w: w, h: h}, 70) {
		x, y, ok := p.project(s.Pos.Vec())
		if ok && x >= 0 && y >= 0 && x < w && y < h*2/3. && rng.Float64() > 0.3 {
			t.add(x+noise*rng.NormFloat64(), y+noise*rng.NormFloat64(), float64(s.V)+0.3*rng.NormFloat64(), noise, s.ID)
		}
	}
	for i := range len(t.ids) {
		t.add(w*rng.Float64(), h*(2+rng.Float64())/3, -2.5*math.Log10(t.field.Stars[i].Flux), noise, none)
	}
	sortByFlux(&t)
	return t
}

// Lenses from 84 to 180 degrees are recognised without a hint, and their kind told
// where it matters; a second frame by the same lens is, too.
func TestSolvesWideLenses(t *testing.T) {
	if testing.Short() {
		t.Skip("slow, and nothing runs beside it")
	}
	rng := rand.New(rand.NewPCG(seed, 30))
	for i, c := range []struct {
		law      optics.Law
		diagonal sphere.Angle
		k1       float64
		mirrored bool
	}{
		{optics.Rectilinear, 84, 0, false},     // 24 mm on 36 x 24 mm
		{optics.Rectilinear, 94, -0.1, true},   // 20 mm
		{optics.Rectilinear, 114, 0.05, false}, // 14 mm
		{optics.Equidistant, 90, 0.1, true},
		{optics.Stereographic, 140, -0.05, false},
		{optics.Equisolid, 180, 0, false},
		{0.9, 180, 0.03, true},
	} {
		if testing.Short() && i != 1 && i != 5 {
			continue
		}
		t.Run(fmt.Sprint(i), func(t *testing.T) {
			tr := wideMade(rng, c.law, c.diagonal*sphere.Degree, c.k1, c.mirrored)
			s, err := solveField(t, tr.field, Hint{})
			if err != nil {
				t.Fatalf("seed %d, %+v: %v", seed, c, err)
			}
			tr.checkSky(t, s)
			if c.k1 == 0 && c.diagonal > 100 && s.Lens.Law.Kind() != c.law {
				t.Errorf("kind %v, want %v", s.Told().Kind, c.law)
			}
			other := wideMade(rng, c.law, c.diagonal*sphere.Degree, c.k1, c.mirrored)
			again, err := solveField(t, other.field, Hint{Near: s})
			if err != nil {
				t.Fatalf("seed %d, %+v, with the lens known: %v", seed, c, err)
			}
			other.checkSky(t, again)
		})
	}
}

// checkSky compares a solution with the truth where there are stars.
func (tr *truth) checkSky(t *testing.T, s *Solution) {
	t.Helper()
	for _, c := range [][2]float64{{640, 320}, {200, 150}, {1100, 600}} {
		want := sphere.SkyVec(tr.camFromSky.Inv().Apply(tr.lens.Cam(c[0], c[1]).Vec()))
		if d := float64(want.Sep(s.Sky(c[0], c[1]))) * tr.lens.F; d > 2 {
			t.Errorf("pixel %v is solved %.2f px from where it is", c, d)
		}
	}
	if s.Lens.Mirrored != tr.lens.Mirrored {
		t.Errorf("mirrored %v, want %v", s.Lens.Mirrored, tr.lens.Mirrored)
	}
}

// Random points are no wide frame.
func TestRefusesWideChance(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 31))
	for _, n := range []int{10, 60}[:rounds(2)] {
		tr := wideMade(rng, optics.Equidistant, 150*sphere.Degree, 0, false)
		tr.field.Stars = tr.field.Stars[:min(n, len(tr.field.Stars))]
		for i := range tr.field.Stars {
			tr.field.Stars[i].X, tr.field.Stars[i].Y = 1280*rng.Float64(), 960*rng.Float64()
		}
		r := (&Solver{Library: lib}).run(tr.field, Options{Epoch: 2026.9})
		for _, st := range r.wideStages(Everywhere, widePasses[0]) {
			if sol, err := r.wide(t.Context(), st); sol != nil || err != nil {
				t.Errorf("seed %d: %d random points: %+v, %v", seed, n, sol, err)
			}
		}
		if r.contest.best() > doubtful {
			t.Errorf("seed %d: %d random points reach log odds of %.1f", seed, n, r.contest.best())
		}
	}
}

// The guesses of the lens leave no stretch out: whatever the kind, distortion of 10 %
// at the corner and diagonal, one is within half a step.
func TestGuessesCoverTheLenses(t *testing.T) {
	r := (&Solver{Library: lib}).run(wideMade(rand.New(rand.NewPCG(seed, 32)), optics.Equidistant, 2, 0, false).field, Options{Epoch: 2026.9})
	list := r.guesses(30)
	if len(list) == 0 {
		t.Fatal("no guesses")
	}
	for _, law := range laws {
		for d := 60.0; d <= 180; d += 5 {
			if law == optics.Rectilinear && d > 120 || law > 0 && law < optics.Stereographic && d > 150 {
				continue
			}
			for _, k1 := range []float64{-0.1, -0.05, 0, 0.05, 0.1} {
				half := d / 2 * math.Pi / 180
				want, focal := stretch(law, half)+2*k1, list[0].lens.Half/law.Radius(sphere.Angle(half))
				found := false
				for _, g := range list {
					off := float64(g.lens.Law.Angle(g.lens.Half / g.lens.F))
					have := stretch(g.lens.Law, off) + 2*g.lens.K1
					found = found || math.Abs(have-want) <= stretchStep && focal > g.lo*g.lens.F && focal < g.hi*g.lens.F
				}
				if !found {
					t.Errorf("law %.2f, %g degrees, distortion %+.2f: no guess is like it", law, d, k1)
				}
			}
		}
	}
}

func TestHostileWideLenses(t *testing.T) {
	if testing.Short() {
		t.Skip("slow, and nothing runs beside it")
	}
	nan := math.NaN()
	f := wideMade(rand.New(rand.NewPCG(seed, 33)), optics.Equidistant, 150*sphere.Degree, 0, false).field
	f.Stars = f.Stars[:6]
	for _, l := range []optics.Lens{
		{}, {F: nan, Half: 800, Law: 1}, {F: 500, Half: 800, Law: optics.Law(nan)}, {F: 1e-9, Half: 800, Law: 7}, {F: 500, Law: 1},
	} {
		_, err := solveField(t, f, Hint{Near: &Solution{W: 1280, H: 960, Lens: l}})
		var un *Unsolved
		if err != nil && !errors.As(err, &un) {
			t.Errorf("%+v: %v", l, err)
		}
	}
}

// The lights of a town that outshine all stars hide half of a frame.
func TestSolvesAboveTownLights(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 34))
	tr := wideMade(rng, optics.Rectilinear, 100*sphere.Degree, -0.03, false)
	for range 400 {
		tr.add(1280*rng.Float64(), 640+320*rng.Float64(), -4-2*rng.Float64(), 0.3, none)
	}
	sortByFlux(&tr)
	s, err := solveField(t, tr.field, Hint{})
	if err != nil {
		t.Fatalf("seed %d: %v", seed, err)
	}
	tr.checkSky(t, s)
}
