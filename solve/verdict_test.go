package solve

import (
	"math"
	"testing"

	"pintle/index/optics"
	"pintle/index/sphere"
	"pintle/solve/detect"
)

// lookAt is a pose of a frame 1280 by 960 whose middle is at a place in the sky.
func lookAt(ra, dec, turn sphere.Angle, mirrored bool) *pose {
	v := sphere.SkyAt(ra, dec).Vec()
	p := &pose{lens: optics.NewLens(1280, 960, 10*sphere.Arcsecond)}
	p.lens.Mirrored = mirrored
	p.camFromSky = sphere.Turn(sphere.SkyAt(0, 90*sphere.Degree).Vec(), turn).Mul(frameOf(v, sphere.SkyAt(ra+sphere.Degree, dec).Vec()).Inv())
	return p
}

func TestContest(t *testing.T) {
	first, second, third := &Solution{Tried: 1}, &Solution{Tried: 2}, &Solution{Tried: 3}
	type entry struct {
		odds float64 // above doubtful
		p    *pose
		sol  *Solution
	}
	const deg = sphere.Degree
	here := lookAt(80*deg, 20*deg, 0, false)
	beside := lookAt(80.1*deg, 20.05*deg, 0.02, false)
	away := lookAt(82*deg, 20*deg, 0, false)
	turned := lookAt(80*deg, 20*deg, 180*deg, false)
	mirrored := lookAt(80*deg, 20*deg, 0, true)
	far := lookAt(200*deg, -20*deg, 0, false)
	for _, c := range []struct {
		name    string
		entries []entry
		want    *Solution
		tied    bool
	}{
		{"nobody", nil, nil, false},
		{"alone", []entry{{0, here, first}}, first, false},
		{"too little", []entry{{-0.1, here, first}}, nil, false},
		{"ahead", []entry{{-lead, away, nil}, {0, here, first}, {-lead - 1, far, nil}}, first, false},
		{"not ahead", []entry{{0, here, first}, {0.1 - lead, away, nil}}, nil, true},
		{"the second best counts, whenever it came", []entry{{0, far, nil}, {lead - 0.1, here, first}, {-5, away, nil}}, nil, true},
		{"the same place twice", []entry{{1, here, first}, {2, beside, second}}, second, false},
		{"the same place, worse", []entry{{2, here, first}, {1, beside, second}}, first, false},
		{"the same place, better but not refined", []entry{{1, here, first}, {2, beside, nil}}, first, false},
		{"the same place rises from behind", []entry{{-1, here, first}, {1, far, second}, {1.5 + lead, beside, third}}, third, false},
		{"turned", []entry{{1, here, first}, {1, turned, second}}, nil, true},
		{"mirrored", []entry{{1, here, first}, {1, mirrored, second}}, nil, true},
		{"not refined", []entry{{3, here, nil}}, nil, false},
	} {
		k := newContest()
		best := math.Inf(-1)
		for _, e := range c.entries {
			k.enter(makeContender(doubtful+e.odds, e.p, 1280, 960, e.sol))
			best = max(best, doubtful+e.odds)
		}
		if got := k.winner(); got != c.want {
			t.Errorf("%s: winner %+v, want %+v", c.name, got, c.want)
		}
		if k.tied() != c.tied {
			t.Errorf("%s: tied is %v", c.name, !c.tied)
		}
		if k.best() != best {
			t.Errorf("%s: best %g, want %g", c.name, k.best(), best)
		}
	}
}

// Chance draws from the points' own brightness: the shares add up to one.
func TestCompareBrightness(t *testing.T) {
	var f detect.Field
	f.W, f.H = 1000, 1000
	add := func(n int, mag float64) {
		for range n {
			f.Stars = append(f.Stars, detect.Star{X: float64(10 * len(f.Stars)), Y: 5, ErrX: 0.1, ErrY: 0.1, Flux: math.Pow(10, -0.4*mag)})
		}
	}
	add(10, 2)
	add(30, 12)
	c := makeCloud(&f, 100)
	c.compare()
	peak := 1 / (alikeWidth * math.Sqrt(2*math.Pi)) // of a Gaussian
	for i, p := range c.pts {
		want := 0.75 * peak
		if i < 10 {
			want = 0.25 * peak
		}
		if math.Abs(p.alike-want) > 1e-9 {
			t.Fatalf("point %d of magnitude %.1f: %.4f a mag as bright, want %.4f", i, p.mag, p.alike, want)
		}
	}
}
