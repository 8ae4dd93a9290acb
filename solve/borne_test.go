package solve

import (
	"flag"
	"math"
	"math/rand/v2"
	"testing"

	"pintle/index/optics"
	"pintle/index/sphere"
)

var chanceLists = flag.Int("chance-lists", 1, "lists without a pattern that are searched for wide frames, of each of two kinds")

// bent is a pose that is right in the middle of the picture, with so much more
// distortion than the lens has.
func (tr *truth) bent(k1 float64) *pose {
	p := &pose{camFromSky: tr.camFromSky, lens: tr.lens}
	p.lens.K1 += k1
	return p
}

// rich is a frame of a wide lens like wideMade, with more stars.
func rich(rng *rand.Rand, law optics.Law, diagonal sphere.Angle) truth {
	tr := wideMade(rng, law, diagonal, 0, false)
	k := checker{list: lib.List, epoch: 2026.9}
	tr.field.Stars, tr.ids = nil, nil
	p := pose{camFromSky: tr.camFromSky, lens: tr.lens}
	for _, s := range k.inFrame(&p, &cloud{w: 1280, h: 960}, 220) {
		if x, y, ok := p.project(s.Pos.Vec()); ok && x >= 0 && y >= 0 && x < 1280 && y < 640 && rng.Float64() > 0.3 {
			tr.add(x+0.2*rng.NormFloat64(), y+0.2*rng.NormFloat64(), float64(s.V), 0.2, s.ID)
		}
	}
	for range len(tr.ids) / 2 {
		tr.add(1280*rng.Float64(), 960*rng.Float64(), 4, 0.2, none)
	}
	sortByFlux(&tr)
	return tr
}

// A lens is believed where stars bear it, with ground in a third of the frame and
// lights on it, and not when those of the middle alone do.
func TestStarsBearTheLens(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 40))
	for _, law := range []optics.Law{optics.Rectilinear, optics.Stereographic, optics.Equidistant, optics.Equisolid} {
		for _, d := range []sphere.Angle{80, 110, 160} {
			if law == optics.Rectilinear && d > 120 {
				continue
			}
			tr := rich(rng, law, d*sphere.Degree)
			k := checker{list: lib.List, epoch: 2026.9}
			c := makeCloud(tr.field, maxMatches)
			for _, bend := range []float64{0, -0.12, 0.12} {
				p := tr.bent(bend)
				list := k.inFrame(p, c, 2*len(c.pts))
				if got := borne(p, c, list, pair(c, list, p, 1.5), 1.5); got != (bend == 0) {
					t.Errorf("seed %d: %v, %g degrees, bent by %g: borne %v", seed, law, d, bend, got)
				}
			}
		}
	}
}

// Random points, and those of a wide frame scrambled, are taken for no wide frame:
// what the best proposals weigh is far from what stands by that alone. The search itself
// is made with -long; TestRefusesWideChance makes some of it.
func TestChanceWeighsLittle(t *testing.T) {
	if testing.Short() {
		t.Skip("slow, and nothing runs beside it")
	}
	rng := rand.New(rand.NewPCG(seed, 42))
	s, best := &Solver{Library: lib}, math.Inf(-1)
	lists := 0
	if *long {
		lists = 2 * *chanceLists
	}
	for i := range lists {
		f := randomField(rng, int(12*math.Pow(30, rng.Float64())))
		if i%2 == 1 {
			f = wideMade(rng, optics.Equidistant, 140*sphere.Degree, 0, false).field
			for j := range f.Stars {
				f.Stars[j].X, f.Stars[j].Y = 1280*rng.Float64(), 960*rng.Float64()
			}
		}
		r := s.run(f, Options{Epoch: 2026.9})
		for _, st := range r.wideStages(Everywhere, widePasses...) {
			if sol, err := r.wide(t.Context(), st); sol != nil || err != nil {
				t.Errorf("seed %d, list %d of %d points: solved %v, %v", seed, i, len(f.Stars), sol != nil, err)
			}
		}
		best = max(best, r.contest.best())
	}
	t.Logf("seed %d: best log odds %.1f", seed, best)
	if weight := heaviest(rng, 30*max(1, lists)); weight > overwhelming/2 {
		t.Errorf("seed %d: random points weigh %.1f, and %d stands alone", seed, weight, overwhelming)
	} else {
		t.Logf("seed %d: heaviest %.1f", seed, weight)
	}
}

// heaviest returns the largest weight of wide poses that were fitted to random points,
// whatever their odds: judge asks it of few.
func heaviest(rng *rand.Rand, n int) (most float64) {
	k := checker{list: lib.List, epoch: 2026.9}
	for range n {
		tr := wideMade(rng, optics.Equidistant, sphere.Angle(90+90*rng.Float64())*sphere.Degree, 0, false)
		f := randomField(rng, int(12*math.Pow(30, rng.Float64())))
		p := pose{camFromSky: tr.camFromSky, lens: tr.lens}
		c := makeCloud(f, maxMatches)
		if _, ok := settle(&p, p.priors(c.w), c, k.inFrame(&p, c, len(c.pts)*3/2)); ok {
			most = max(most, (&Solution{Lens: p.lens, CamFromSky: p.camFromSky, W: f.W, H: f.H}).weight(f, &k))
		}
	}
	return most
}
