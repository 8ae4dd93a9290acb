package series

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"pintle/index/sphere"
	"pintle/solve/detect"
	"pintle/solve/render"
)

const seed = 20261128

// clear is a series of frames of a good night: light and width scatter as on real ones,
// and the frames look through more air or less.
func clear(rng *rand.Rand, n int) (looks []Look) {
	truth := extinction + extinctionErr*rng.NormFloat64()
	for i := range n {
		air := 1 + rng.Float64()
		l := Look{Name: fmt.Sprint(i), At: time.Unix(int64(60*i), 0), solved: true, found: 40 + rng.IntN(100), sky: 200 + 2*rng.NormFloat64(),
			fwhm: 3 * math.Exp(0.07*rng.NormFloat64()), scale: 20 * sphere.Arcsecond}
		l.width = l.fwhm
		l.trail = trail{along: 0.4, off: 0.07, sky: 10}
		l.light = light{stars: 30, v: 9 + rng.NormFloat64(), err: 0.05, slope: 0.02 * rng.NormFloat64(), slopeErr: 0.03, air: air}
		l.light.dim = -17 + (truth-extinction)*air + 0.06*rng.NormFloat64()
		for c := range l.light.part {
			l.light.part[c] = part{stars: 4, err: 0.1, dim: 0.1 * rng.NormFloat64()}
		}
		looks = append(looks, l)
	}
	return looks
}

// bent gives a frame a trail of so many px, in a direction from that of RA's turn.
func (l *Look) bent(px, from float64, rng *rand.Rand) {
	l.trail.length, l.trail.angle = px*math.Exp(0.1*rng.NormFloat64()), l.trail.along+from+0.03*rng.NormFloat64()
}

var spoilers = map[Kind]func(looks []Look, size float64, rng *rand.Rand){
	Dew: func(looks []Look, size float64, rng *rand.Rand) {
		for i := range looks {
			share := float64(i) / float64(len(looks)-1)
			looks[i].light.dim += 0.75 * size * share * (1 + 0.1*rng.NormFloat64())
		}
	},
	Clouds: func(looks []Look, size float64, rng *rand.Rand) {
		for _, i := range rng.Perm(len(looks))[:len(looks)/2] {
			d := 0.75 * size * (0.8 + 0.4*rng.Float64())
			looks[i].light.dim += d
			looks[i].sky *= 1 + 0.3*d
			for c := range looks[i].light.part {
				looks[i].light.part[c].dim += 0.3 * size * rng.NormFloat64()
			}
		}
	},
	Focus: func(looks []Look, size float64, rng *rand.Rand) {
		for i := 1 + rng.IntN(len(looks)-1); i < len(looks); i++ {
			looks[i].width *= 1 + 0.5*size
			looks[i].fwhm = looks[i].width
		}
	},
	Shaken: func(looks []Look, size float64, rng *rand.Rand) {
		for i := range looks {
			looks[i].bent(3*size, math.Pi*rng.Float64(), rng)
		}
	},
	Turned: func(looks []Look, size float64, rng *rand.Rand) {
		for _, i := range rng.Perm(len(looks))[:1+rng.IntN(2)] {
			looks[i].bent(3*size*(1+rng.Float64()), 0, rng)
			looks[i].trail.sky *= 4 // none of them is by chance what the sky does
		}
	},
	Standing: func(looks []Look, size float64, rng *rand.Rand) {
		for i := range looks {
			looks[i].trail.sky = 3 * size
			looks[i].bent(3*size, 0, rng)
		}
	},
}

// Each cause is found at three times the size that harms and taken for no other, in made
// series without pixels; where nothing happened hardly anything is named. The rendered
// ones are TestStarsTell of cmd/night.
func TestCausesAreToldApart(t *testing.T) {
	const nights = 150
	count := func(spoil func([]Look, float64, *rand.Rand)) (said [6]int, any int) {
		for i := range nights {
			rng := rand.New(rand.NewPCG(seed, uint64(i)))
			looks := clear(rng, 4+i%3)
			if spoil != nil {
				spoil(looks, 3, rng)
			}
			found := Judge(looks)
			for _, f := range found {
				said[f.Kind]++
			}
			if len(found) > 0 {
				any++
			}
		}
		return said, any
	}
	said, any := count(nil)
	t.Logf("seed %d, %d nights: nothing: %v", seed, nights, said)
	if any*100 > nights {
		t.Errorf("seed %d: something named in %d of %d clear nights", seed, any, nights)
	}
	for k := Dew; k <= Standing; k++ {
		said, _ := count(spoilers[k])
		t.Logf("%v: %v", k, said)
		if said[k]*100 < 95*nights {
			t.Errorf("seed %d: %v named in %d of %d nights", seed, k, said[k], nights)
		}
		for o, n := range said {
			// A gust the way RA turns is one.
			if most := map[bool]int{false: nights / 50, true: nights / 4}[k == Shaken && Kind(o) == Turned]; Kind(o) != k && n > most {
				t.Errorf("seed %d: %v taken for %v in %d of %d nights", seed, k, Kind(o), n, nights)
			}
		}
	}
}

// A lens that draws the stars of all frames alike is no wind, and an axis off the pole
// that lets them drift is none either.
func TestOpticsAndDriftAreNoMishap(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 7))
	drawn, drifting := clear(rng, 4), clear(rng, 4)
	for i := range 4 {
		drawn[i].bent(4, 0.9, rng)
		drawn[i].trail.length = 4
		drifting[i].trail.sky = 100
		drifting[i].bent(4, 0.7*float64(i), rng)
	}
	for name, looks := range map[string][]Look{"optics": drawn, "drift": drifting} {
		if got := Judge(looks); len(got) > 0 && got[0].Certain() {
			t.Errorf("seed %d, %s: %+v", seed, name, got)
		}
	}
}

// A frame that was lost has its place in the series by the number of its spots.
func TestLostFramesCount(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 8))
	looks := clear(rng, 5)
	for i, d := range []float64{0, 0.7, 1.4, 2} {
		looks[i].light.dim += d
		looks[i].found = 100
	}
	looks[4] = Look{Name: "lost", At: looks[4].At, found: 3}
	got := Judge(looks)
	if len(got) != 1 || got[0].Kind != Dew || got[0].Names[len(got[0].Names)-1] != "lost" || got[0].Much < 2 {
		t.Errorf("seed %d: %+v, want dew up to the lost frame", seed, got)
	}
}

// A long series keeps its first frame, the last ones, and some between.
func TestLongSeries(t *testing.T) {
	var looks []Look
	for i := range 1000 {
		looks = Add(looks, Look{Name: fmt.Sprint(i), At: time.Unix(int64(10*i), 0)})
	}
	gap := 0.0
	for i := 1; i < len(looks); i++ {
		gap = math.Max(gap, looks[i].At.Sub(looks[i-1].At).Seconds())
	}
	if len(looks) != mostLooks || looks[0].Name != "0" || looks[mostLooks-1].Name != "999" || looks[mostLooks-lastLooks].Name != "996" || gap > 6000 {
		t.Errorf("%d kept, largest gap %.0f s of 9990", len(looks), gap)
	}
}

// Trails are about as long as they were drawn.
func TestLengthOfTrails(t *testing.T) {
	for _, px := range []float64{8, 14, 24} {
		s := render.Scene{W: 640, H: 480, Seed: seed, PSF: render.PSF{FWHM: 3, Trail: px, Angle: 0.6}, Sky: render.Sky{Level: 100}, Sensor: render.Sensor{Read: 3, Bias: 300}}
		rng := rand.New(rand.NewPCG(seed, 9))
		var list []render.Star
		for range 60 {
			list = append(list, render.Star{X: 20 + 600*rng.Float64(), Y: 20 + 440*rng.Float64(), Flux: 3e4})
		}
		f, err := detect.Find(s.Render(list), detect.Options{})
		if err != nil {
			t.Fatal(err)
		}
		got := lengthOf(f.FWHM*math.Sqrt(f.Elongation), f.FWHM/math.Sqrt(f.Elongation))
		if math.Abs(math.Log(got/px)) > 1.5*lengthError {
			t.Errorf("seed %d: a trail of %g px is told to be %.1f", seed, px, got)
		}
	}
}

func TestKindsHaveNames(t *testing.T) {
	for k := Dew; k <= Standing; k++ {
		if strings.HasPrefix(k.String(), "kind ") {
			t.Errorf("%d has no name", k)
		}
	}
}
