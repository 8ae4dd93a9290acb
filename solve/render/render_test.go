package render

import (
	"bytes"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"pintle/solve/frame"
)

const seed = 20261125

// moments returns sum and centroid of a picture's light.
func moments(light []float32, w int) (sum, x, y float64) {
	for i, v := range light {
		sum += float64(v)
		x += float64(v) * float64(i%w)
		y += float64(v) * float64(i/w)
	}
	return sum, x / sum, y / sum
}

// Whatever the star's shape, its light is all there and its centroid lies
// where it was asked for.
func TestFluxAndCentroid(t *testing.T) {
	for name, p := range map[string]PSF{
		"Gaussian":     {FWHM: 3},
		"undersampled": {FWHM: 1.2},
		"Moffat":       {FWHM: 3, Beta: 4},
		"corner":       {FWHM: 2, Corner: 1},
		"coma":         {FWHM: 2, Coma: 8},
		"trail":        {FWHM: 2, Trail: 15, Angle: 1},
		"disc":         {FWHM: 2, Defocus: 15},
		"ring":         {FWHM: 2, Defocus: 15, Hole: 0.5},
		"all":          {FWHM: 2, Corner: 0.5, Coma: 4, Trail: 5, Angle: 2, Defocus: 6},
	} {
		s := Scene{W: 301, H: 251, PSF: p}
		star := Star{X: 180.3, Y: 101.8, Flux: 1e5}
		sum, x, y := moments(s.Light([]Star{star}), s.W)
		tol := 0.002
		if p.Beta > 0 {
			tol = 0.02 // wings beyond the frame
		}
		if math.Abs(sum/star.Flux-1) > tol {
			t.Errorf("%s: flux %.1f, want %.0f", name, sum, star.Flux)
		}
		if math.Abs(x-star.X) > 0.01 || math.Abs(y-star.Y) > 0.01 {
			t.Errorf("%s: centroid %.4f, %.4f, want %.1f, %.1f", name, x, y, star.X, star.Y)
		}
	}
}

// A Gaussian is integrated over the pixels: the twin sums 50 x 50 points in
// each.
func TestPixelIntegration(t *testing.T) {
	s := Scene{W: 15, H: 15, PSF: PSF{FWHM: 1.3}}
	star := Star{X: 7.3, Y: 6.6, Flux: 1000}
	light := s.Light([]Star{star})
	sg := sigma(1.3)
	for y := range s.H {
		for x := range s.W {
			var want float64
			for j := range 50 {
				for i := range 50 {
					dx := float64(x) + (float64(i)+0.5)/50 - 0.5 - star.X
					dy := float64(y) + (float64(j)+0.5)/50 - 0.5 - star.Y
					want += star.Flux / (2 * math.Pi * sg * sg) * math.Exp(-(dx*dx+dy*dy)/(2*sg*sg)) / 2500
				}
			}
			if got := float64(light[y*s.W+x]); math.Abs(got-want) > 0.05 {
				t.Errorf("pixel %d, %d: %.3f electrons, want %.3f", x, y, got, want)
			}
		}
	}
}

// Mean and variance of the counts are those of photons and read noise.
func TestNoise(t *testing.T) {
	for _, level := range []float64{0.3, 5, 29, 31, 500, 30000} {
		s := Scene{W: 400, H: 400, Seed: seed, Sky: Sky{Level: level}, Sensor: Sensor{Read: 4, Bias: 200, Gain: 0.5}}
		im := s.Render(nil)
		var sum, square float64
		for _, v := range im.U16 {
			sum += float64(v)
			square += float64(v) * float64(v)
		}
		n := float64(len(im.U16))
		mean := sum / n
		variance := square/n - mean*mean
		wantMean, wantVar := 200+level/0.5, (level+16)/0.25+1.0/12
		if err := math.Sqrt(wantVar / n); math.Abs(mean-wantMean) > 5*err {
			t.Errorf("seed %d, %g electrons: mean %.3f, want %.3f +- %.3f", seed, level, mean, wantMean, err)
		}
		if err := wantVar * math.Sqrt(2/n); math.Abs(variance-wantVar) > 6*err {
			t.Errorf("seed %d, %g electrons: variance %.2f, want %.2f +- %.2f", seed, level, variance, wantVar, err)
		}
	}
}

// Below 30 electrons the counts follow Poisson's law to the letter.
func TestPoisson(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 1))
	const n, mean = 200000, 3.5
	var count [40]float64
	for range n {
		count[int(poisson(rng, mean))]++
	}
	p := math.Exp(-mean)
	for k := range 12 {
		want := n * p
		if math.Abs(count[k]-want) > 5*math.Sqrt(want) {
			t.Errorf("seed %d: %d electrons %g times, want %.0f", seed, k, count[k], want)
		}
		p *= mean / float64(k+1)
	}
	for _, m := range []float64{0, -3, math.NaN()} {
		if got := poisson(rng, m); got != 0 {
			t.Errorf("mean %g gives %g, want 0", m, got)
		}
	}
}

// everything returns a scene with all there is.
func everything() (Scene, []Star) {
	s := Scene{
		W: 300, H: 200, Seed: seed, PSF: PSF{FWHM: 2, Corner: 0.5},
		Sky:     Sky{Level: 100, DX: 0.3, Vignette: 0.4, Glow: 300, Red: 0.7},
		Sensor:  Sensor{Gain: 2, Bias: 100, Read: 3, FullWell: 8000, Bloom: true, Mosaic: "RGGB", Bits: 14},
		Defects: Defects{Hot: 50, Dead: 20, HotColumns: 2, DeadColumns: 1},
		Lights:  []Light{{X: 50, Y: 50, Radius: 9, Peak: 5000, Sharp: true}, {X: 200, Y: 90, Radius: 30, Peak: 300}},
		Streaks: []Streak{{X1: 0, Y1: 10, X2: 299, Y2: 150, Flux: 300}, {X1: 0, Y1: 190, X2: 299, Y2: 180, Width: 3, Flux: -200}},
		Block:   Trees(300, 200, 0.3, 10, 1),
	}
	rng := rand.New(rand.NewPCG(seed, 2))
	var stars []Star
	for range 100 {
		stars = append(stars, Star{X: 300 * rng.Float64(), Y: 200 * rng.Float64(), Flux: 1e5 * rng.Float64(), Red: 0.5, Blue: 1.5})
	}
	return s, stars
}

// The same seed gives the same picture however many processors draw it, and
// another seed another one.
func TestDeterministic(t *testing.T) {
	s, stars := everything()
	want := s.Render(stars)
	old := runtime.GOMAXPROCS(5)
	got := s.Render(stars)
	runtime.GOMAXPROCS(old)
	if !slices.Equal(got.U16, want.U16) {
		t.Error("five processors draw another picture")
	}
	s.Seed++
	if slices.Equal(s.Render(stars).U16, want.U16) {
		t.Error("another seed draws the same picture")
	}
}

func TestLimitsOfTheSensor(t *testing.T) {
	s, stars := everything()
	im := s.Render(stars)
	if top := slices.Max(im.U16); top > 1<<14-1 {
		t.Errorf("14 bit sensor gives %d", top)
	}
	if im.Saturation > 8000/2+100 || im.Saturation < 0.9*(8000/2+100) {
		t.Errorf("saturation %g, want just below %d", im.Saturation, 8000/2+100)
	}
	s.Sensor.Bits = 8
	if im := s.Render(stars); im.U8 == nil || im.U16 != nil {
		t.Error("8 bits do not give 8 bit pixels")
	}
}

// What full pixels cannot hold stays in their column and is not lost.
func TestBloom(t *testing.T) {
	s := Scene{W: 21, H: 201, PSF: PSF{FWHM: 2}, Sensor: Sensor{FullWell: 1000, Bloom: true, NoNoise: true}}
	light := s.Light([]Star{{X: 10, Y: 100, Flux: 50000}})
	before := make([]float64, s.W)
	after := make([]float64, s.W)
	for i, v := range light {
		before[i%s.W] += float64(v)
	}
	s.expose(light)
	for i, v := range light {
		after[i%s.W] += float64(v)
		if v > 1000 {
			t.Fatalf("pixel %d holds %g electrons, more than 1000", i, v)
		}
	}
	for x := range before {
		if math.Abs(before[x]-after[x]) > 1e-3*before[x]+0.1 {
			t.Errorf("column %d had %.1f electrons, has %.1f", x, before[x], after[x])
		}
	}
}

// A star's colours show on the pixels of their filters only.
func TestMosaic(t *testing.T) {
	s := Scene{W: 41, H: 41, PSF: PSF{FWHM: 3}}
	star := Star{X: 20, Y: 20, Flux: 1e4, Red: 0.25, Blue: 2}
	plain := s.Light([]Star{star})
	s.Sensor.Mosaic = "GBRG"
	tinted := s.Light([]Star{star})
	want := [4]float64{1, 2, 0.25, 1}
	for i := range plain {
		if plain[i] > 1 {
			c := want[i/s.W&1*2+i%s.W&1]
			if r := float64(tinted[i] / plain[i]); math.Abs(r-c) > 1e-3 {
				t.Fatalf("pixel %d, %d: %.4f of the white light, want %g", i%s.W, i/s.W, r, c)
			}
		}
	}
}

func TestObstacles(t *testing.T) {
	s := Scene{W: 400, H: 300, Sky: Sky{Level: 100}, Block: Roof(0, 150, 400, 150, 30)}
	light := s.Light(nil)
	if top, low := light[50*400+10], light[250*400+10]; top != 100 || math.Abs(float64(low)-30) > 3 {
		t.Errorf("sky %g and roof %g electrons, want 100 above and about 30 below", top, low)
	}
	share := func(block func(x, y int) (float32, float32)) float64 {
		var sum float64
		for y := range 300 {
			for x := range 400 {
				pass, own := block(x, y)
				if pass < 0 || pass > 1 || own < 0 {
					t.Fatalf("pass %g, own %g", pass, own)
				}
				sum += 1 - float64(pass)
			}
		}
		return sum / 120000
	}
	if got := share(Trees(400, 300, 0.5, 10, 1)); got < 0.1 || got > 0.5 {
		t.Errorf("trees half as high as the frame cover %.2f of it", got)
	}
	if got := share(Cloud(400, 300, 0.4, 10, 1)); got < 0.2 || got > 0.6 {
		t.Errorf("clouds asked for 0.4 of the frame cover %.2f", got)
	}
}

// The FITS file is read back pixel by pixel, with its cards.
func TestFITS(t *testing.T) {
	s, stars := everything()
	for _, bits := range []int{8, 16} {
		s.Sensor.Bits = bits
		im := s.Render(stars)
		var b bytes.Buffer
		err := WriteFITS(&b, im, []Card{
			{"DATE-OBS", "2026-11-27T10:30:00.000", "start, UTC"},
			{"EXPTIME", 30.0, "s"},
			{"SITELAT", -33.123456, ""},
			{"BAYERPAT", "RGGB", ""},
		})
		if err != nil {
			t.Fatal(err)
		}
		if b.Len()%2880 != 0 {
			t.Errorf("%d bytes are not whole blocks of 2880", b.Len())
		}
		path := filepath.Join(t.TempDir(), "a.fits")
		if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		fr, err := frame.Read(path, frame.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(fr.Image.U8, im.U8) || !slices.Equal(fr.Image.U16, im.U16) {
			t.Errorf("%d bits: pixels differ after reading back", bits)
		}
		if got := fr.Time.Mid.UTC().Format("15:04:05"); got != "10:30:15" {
			t.Errorf("time read back %s, want 10:30:15", got)
		}
	}
	for _, c := range []Card{{"MUCHTOOLONG", 1, ""}, {"A", strings.Repeat("x", 80), ""}, {"A", math.NaN(), ""}, {"A", []int{1}, ""}} {
		if err := WriteFITS(&bytes.Buffer{}, s.Render(nil), []Card{c}); err == nil {
			t.Errorf("card %v is written", c)
		}
	}
	if err := WriteFITS(&bytes.Buffer{}, &frame.Image{W: 1, H: 1, F32: []float32{1}}, nil); err == nil {
		t.Error("a float picture is written")
	}
}

func BenchmarkRender26(b *testing.B) {
	s := Scene{
		W: 6248, H: 4176, Seed: seed, PSF: PSF{FWHM: 3},
		Sky: Sky{Level: 300, DX: 0.3, Vignette: 0.3}, Sensor: Sensor{Read: 3, Bias: 500},
	}
	rng := rand.New(rand.NewPCG(seed, 3))
	var stars []Star
	for range 2000 {
		stars = append(stars, Star{X: float64(s.W) * rng.Float64(), Y: float64(s.H) * rng.Float64(), Flux: 500 / (0.01 + rng.Float64())})
	}
	for b.Loop() {
		s.Render(stars)
	}
}
