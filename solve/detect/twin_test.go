package detect

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pintle/solve/frame"
	"pintle/solve/render"
)

func TestNthAgreesWithSorting(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 1))
	for round := range 300 {
		v := make([]float32, 1+rng.IntN(200))
		for i := range v {
			v[i] = float32(rng.IntN(1 + round)) // many equal values at first
		}
		k := rng.IntN(len(v))
		want := slices.Sorted(slices.Values(v))
		got := nth(v, k)
		if got != want[k] {
			t.Fatalf("seed %d, round %d: value %d of %d is %g, want %g", seed, round, k, len(v), got, want[k])
		}
		if slices.Max(v[:k+1]) > got || slices.Min(v[k:]) < got {
			t.Fatalf("seed %d, round %d: values are not parted at %d", seed, round, k)
		}
	}
}

// naiveLevel is the slow twin of a pyramid's level: block means, then the
// binomial kernel in two dimensions, the border repeated.
func naiveLevel(im *frame.Image, n int) (out [][]float64) {
	size := 1 << n
	w, h := im.W/size, im.H/size
	mean := make([][]float64, h)
	for y := range mean {
		mean[y] = make([]float64, w)
		for x := range mean[y] {
			for j := range size {
				for i := range size {
					mean[y][x] += float64(at(im, x*size+i, y*size+j)) / float64(size*size)
				}
			}
		}
	}
	kernel := [5]float64{1, 4, 6, 4, 1}
	out = make([][]float64, h)
	for y := range out {
		out[y] = make([]float64, w)
		for x := range out[y] {
			for j := -2; j <= 2; j++ {
				for i := -2; i <= 2; i++ {
					yy, xx := min(max(y+j, 0), h-1), min(max(x+i, 0), w-1)
					out[y][x] += kernel[j+2] * kernel[i+2] / 256 * mean[yy][xx]
				}
			}
		}
	}
	return out
}

// Streaming in strips gives the same filtered rows as filtering the picture
// whole, every row once, in the interior at all levels and at level 0 up to
// the border.
func TestPyramidAgreesWithNaiveFilter(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 2))
	for _, size := range [][2]int{{131, 97}, {64, 64}, {200, 333}} {
		im := &frame.Image{W: size[0], H: size[1], U16: make([]uint16, size[0]*size[1])}
		for i := range im.U16 {
			im.U16[i] = uint16(1000 + rng.IntN(50)) // nothing stands out, nothing is mended
		}
		p := &picture{im: im, workers: 1, step: 1, least: 0.3}
		p.mesh = newMesh(p)
		for n := range levels {
			p.noise[n] = 1
		}
		var want [levels][][]float64
		for n := range want {
			want[n] = naiveLevel(im, n)
		}
		seen := map[[2]int]int{}
		cuts := []int{0, size[1] / 3, size[1]}
		for s := range len(cuts) - 1 {
			from, to := cuts[s], cuts[s+1]
			l := newPyramid(p, from, to, 5, func(l *layer, y int) {
				py := (float64(y)+0.5)*float64(int(1)<<l.n) - 0.5
				if py < float64(from)-0.5 || py >= float64(to)-0.5 || y >= im.H>>l.n {
					return
				}
				seen[[2]int{l.n, y}]++
				border := 0
				if l.n > 0 {
					border = 3 // where repeating pixels and repeating blocks differ
				}
				if y < border || y >= len(want[l.n])-border {
					return
				}
				for x := border; x < l.w-border; x++ {
					if got := float64(l.row(y)[x]); math.Abs(got-want[l.n][y][x]) > 0.01 {
						t.Fatalf("seed %d, %v: level %d at %d, %d is %.3f, want %.3f", seed, size, l.n, x, y, got, want[l.n][y][x])
					}
				}
			})
			p.run(l)
		}
		for n := range levels {
			for y := range im.H >> n {
				if im.W>>n >= 8 && im.H>>n >= 8 && seen[[2]int{n, y}] != 1 {
					t.Errorf("%v: row %d of level %d seen %d times", size, y, n, seen[[2]int{n, y}])
				}
			}
		}
	}
}

// The filter's response to a mosaic is the same on every pixel of its cell.
func TestFilterIgnoresMosaic(t *testing.T) {
	im := &frame.Image{W: 64, H: 64, U16: make([]uint16, 64*64), Mosaic: "RGGB"}
	for i := range im.U16 {
		x, y := i%64, i/64
		im.U16[i] = [4]uint16{500, 2000, 1900, 100}[y&1*2+x&1]
	}
	out := naiveLevel(im, 0)
	for y := 4; y < 60; y++ {
		for x := 4; x < 60; x++ {
			if math.Abs(out[y][x]-1125) > 1e-9 {
				t.Fatalf("filtered mosaic at %d, %d is %g, want the mean 1125", x, y, out[y][x])
			}
		}
	}
}

// The derivatives of the profile are those of its values.
func TestProfileDerivatives(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 3))
	g := newGather(0.35)
	for range 4000 {
		u, v := 6*rng.Float64()-3, 6*rng.Float64()-3
		g.add(u, v, 0.1*math.Cos(2*u)*math.Exp(-v*v), 1e5)
	}
	m := &model{rest: g.settle()}
	p := m.profile(shape{3, 0.8, 2})
	const step = 1e-5
	for range 500 {
		x, y := 8*rng.Float64()-4, 8*rng.Float64()-4
		_, gx, gy, in := p.at(x, y)
		a, _, _, in1 := p.at(x-step, y)
		b, _, _, in2 := p.at(x+step, y)
		c, _, _, in3 := p.at(x, y-step)
		d, _, _, in4 := p.at(x, y+step)
		if !(in && in1 && in2 && in3 && in4) {
			continue
		}
		// By the star's place: the other way round than by the pixel's.
		wantX, wantY := (a-b)/(2*step), (c-d)/(2*step)
		if math.Abs(gx-wantX) > 1e-6 || math.Abs(gy-wantY) > 1e-6 {
			t.Fatalf("seed %d: derivatives at %.3f, %.3f are %.7f, %.7f, want %.7f, %.7f", seed, x, y, gx, gy, wantX, wantY)
		}
	}
}

// The background follows a gradient and is not moved by stars on it.
func TestMesh(t *testing.T) {
	s := render.Scene{
		W: 800, H: 600, Seed: seed, PSF: render.PSF{FWHM: 3},
		Sky: render.Sky{Level: 400, DX: 0.5, DY: -0.3}, Sensor: render.Sensor{Bias: 100, Read: 5},
	}
	for _, mosaic := range []string{"", "RGGB"} {
		s.Sensor.Mosaic = mosaic
		im := s.Render(field(1500, s.W, s.H, 1000, rand.New(rand.NewPCG(seed, 4))))
		p := &picture{im: im, workers: 2, step: 1, least: 0.3}
		p.mesh = newMesh(p)
		for y := 40; y < s.H-40; y += 37 {
			for x := 40; x < s.W-40; x += 41 {
				sky := 400 * (1 + 0.5*(float64(x)-399.5)/800 - 0.3*(float64(y)-299.5)/600)
				level, noise := p.mesh.at(float32(x), float32(y))
				want, rms := 100+sky, math.Sqrt(sky+25)/2
				if math.Abs(float64(level)-want) > 0.5*rms*2 {
					t.Errorf("seed %d, mosaic %q: level at %d, %d is %.1f, want %.1f", s.Seed, mosaic, x, y, level, want)
				}
				if r := float64(noise) / rms; r < 0.7 || r > 1.4 {
					t.Errorf("seed %d, mosaic %q: noise of a block at %d, %d is %.2f, want %.2f", s.Seed, mosaic, x, y, noise, rms)
				}
			}
		}
	}
}

// A saturated plateau is found below a few hot pixels, and none is made up.
func TestPlateau(t *testing.T) {
	s := render.Scene{
		W: 600, H: 600, Seed: seed, PSF: render.PSF{FWHM: 3},
		Sky: render.Sky{Level: 100}, Sensor: render.Sensor{Read: 2, Bias: 300},
	}
	truth := field(200, s.W, s.H, 3000, rand.New(rand.NewPCG(seed, 5)))
	im := s.Render(truth)
	im.Saturation = 0
	if f := find(t, im, Options{}); f.Full < 65535 {
		t.Errorf("seed %d: saturation at %.0f made up", s.Seed, f.Full)
	}
	for i, v := range im.U16 {
		im.U16[i] = min(v, 4000)
	}
	im.U16[12345], im.U16[54321] = 5000, 4500
	f := find(t, im, Options{})
	if f.Full != 4000 {
		t.Errorf("seed %d: saturation at %.0f, want 4000", s.Seed, f.Full)
	}
	pairs, _, _ := match(truth, f, 1.5)
	full := 0
	for _, p := range pairs {
		if p.got.Flags&Saturated != 0 {
			full++
			if d := math.Hypot(p.dx(), p.dy()); d > 5*math.Hypot(p.got.ErrX, p.got.ErrY) || d > 0.5 {
				t.Errorf("seed %d: saturated star %.2f px off, stated error %.2f", s.Seed, d, p.got.ErrX)
			}
		}
	}
	if full < 10 {
		t.Errorf("seed %d: only %d stars seen as saturated", s.Seed, full)
	}
}

// A limited list holds the brightest stars of the frame and some of every part.
func TestLimitSpreads(t *testing.T) {
	s := render.Scene{
		W: 1000, H: 1000, Seed: seed, PSF: render.PSF{FWHM: 2.5},
		Sky: render.Sky{Level: 100}, Sensor: render.Sensor{Read: 3, Bias: 300},
	}
	rng := rand.New(rand.NewPCG(seed, 6))
	truth := field(150, s.W, s.H, 2000, rng)
	truth = append(truth, field(1500, 200, 200, 20000, rng)...) // a rich cluster in one corner
	f := find(t, s.Render(truth), Options{Limit: 100})
	if len(f.Stars) != 100 || f.Found <= 100 {
		t.Fatalf("%d stars of %d found, want 100 of more", len(f.Stars), f.Found)
	}
	if !slices.IsSortedFunc(f.Stars, func(a, b Star) int { return int(math.Copysign(1, b.Flux-a.Flux)) }) {
		t.Error("stars are not sorted by brightness")
	}
	var outside int
	for _, st := range f.Stars {
		if st.X > 200 || st.Y > 200 {
			outside++
		}
	}
	if outside < 40 {
		t.Errorf("seed %d: only %d of 100 stars lie outside the cluster", s.Seed, outside)
	}
}

// A pattern of rows does not hide stars nor make any.
func TestBanding(t *testing.T) {
	s := render.Scene{
		W: 900, H: 700, Seed: seed, PSF: render.PSF{FWHM: 2.5},
		Sky: render.Sky{Level: 30}, Sensor: render.Sensor{Read: 3, Bias: 300},
	}
	truth := field(200, s.W, s.H, 500, rand.New(rand.NewPCG(seed, 7)))
	plain := s.Render(truth)
	rng := rand.New(rand.NewPCG(seed, 8))
	banded := &frame.Image{W: s.W, H: s.H, U16: slices.Clone(plain.U16)}
	for y := range s.H {
		add := uint16(rng.IntN(20))
		for x := range s.W {
			banded.U16[y*s.W+x] += add
		}
	}
	a, _, _ := match(truth, find(t, plain, Options{}), 1.5)
	b, _, left := match(truth, find(t, banded, Options{}), 1.5)
	t.Logf("%d stars without the pattern, %d and %d false with it", len(a), len(b), len(left))
	if len(b) < len(a)*9/10 || len(left) > 3 {
		t.Errorf("seed %d: %d stars without the pattern, %d and %d false with it", s.Seed, len(a), len(b), len(left))
	}
}

// The same picture gives the same list whatever the number of goroutines.
func TestSameWithAnyNumberOfWorkers(t *testing.T) {
	s := render.Scene{
		W: 900, H: 1300, Seed: seed, PSF: render.PSF{FWHM: 2.5, Corner: 0.5},
		Sky: render.Sky{Level: 200, DX: 0.5}, Sensor: render.Sensor{Read: 3, Bias: 300},
		Block: render.Trees(900, 1300, 0.3, 20, 1),
	}
	im := s.Render(field(800, s.W, s.H, 500, rand.New(rand.NewPCG(seed, 9))))
	want := find(t, im, Options{Workers: 1})
	for _, workers := range []int{2, 5} {
		got := find(t, im, Options{Workers: workers})
		if !slices.Equal(got.Stars, want.Stars) || got.FWHM != want.FWHM || got.Noise != want.Noise {
			t.Errorf("seed %d: %d workers find %d stars, one finds %d, or other ones", s.Seed, workers, len(got.Stars), len(want.Stars))
		}
	}
}

// Two stars close together are both found; where each pulls the other the
// errors say so.
func TestBlends(t *testing.T) {
	s := render.Scene{
		W: 1000, H: 1000, Seed: seed, PSF: render.PSF{FWHM: 3},
		Sky: render.Sky{Level: 100}, Sensor: render.Sensor{Read: 3, Bias: 300},
	}
	rng := rand.New(rand.NewPCG(seed, 10))
	var truth []render.Star
	for i, a := range lattice(s.W, s.H, 20000, rng) {
		truth = append(truth, a)
		if i%2 == 0 {
			phi := 2 * math.Pi * rng.Float64()
			truth = append(truth, render.Star{X: a.X + 5*math.Cos(phi), Y: a.Y + 5*math.Sin(phi), Flux: 8000})
		}
	}
	f := find(t, s.Render(truth), Options{})
	pairs, missed, left := match(truth, f, 1)
	var e errorSum
	flagged := 0
	for _, p := range pairs {
		e.add(p)
		if p.got.Flags&Blended != 0 {
			flagged++
		}
	}
	t.Logf("%v; %d missed, %d false, %d flagged", &e, len(missed), len(left), flagged)
	if len(missed) > len(truth)/20 || len(left) > len(truth)/50 {
		t.Errorf("seed %d: %d of %d stars missed, %d false", s.Seed, len(missed), len(truth), len(left))
	}
	if e.pulls() > 1.6 || e.rms() > 0.1 {
		t.Errorf("seed %d: %v, limits 0.1 px and 1.6", s.Seed, &e)
	}
}

func TestStepOfValues(t *testing.T) {
	for _, c := range []struct {
		im   frame.Image
		want float32
	}{
		{frame.Image{W: 4, H: 1, U8: []uint8{7, 7, 9, 8}}, 1},
		{frame.Image{W: 4, H: 1, U16: []uint16{16, 48, 32, 4080}}, 16},
		{frame.Image{W: 4, H: 1, U16: []uint16{257, 514, 2570, 0}}, 257},
		{frame.Image{W: 2, H: 1, U16: []uint16{5, 5}}, 1},
		{frame.Image{W: 2, H: 1, F32: []float32{5, 9}}, 0},
	} {
		if got := stepOf(&c.im); got != c.want {
			t.Errorf("step of %+v is %g, want %g", c.im, got, c.want)
		}
	}
}

// Eight bits stretched to sixteen give the same list as the eight bits.
func TestStretchedPicture(t *testing.T) {
	s := render.Scene{
		W: 800, H: 600, Seed: seed, PSF: render.PSF{FWHM: 2.5},
		Sky: render.Sky{Level: 100}, Sensor: render.Sensor{Read: 3, Bias: 2, Gain: 30, Bits: 8},
	}
	truth := field(200, s.W, s.H, 3000, rand.New(rand.NewPCG(seed, 12)))
	im := s.Render(truth)
	want := find(t, im, Options{})
	long := &frame.Image{W: im.W, H: im.H, Saturation: 250 * 257}
	for _, v := range im.U8 {
		long.U16 = append(long.U16, uint16(v)*257)
	}
	got := find(t, long, Options{})
	if len(got.Stars) != len(want.Stars) {
		t.Fatalf("seed %d: %d stars, of eight bits %d", s.Seed, len(got.Stars), len(want.Stars))
	}
	for i, g := range got.Stars {
		if w := want.Stars[i]; math.Hypot(g.X-w.X, g.Y-w.Y) > 0.01 || math.Abs(g.Flux/w.Flux/257-1) > 0.01 {
			t.Errorf("seed %d: star %d at %.3f, %.3f flux %.0f, of eight bits %.3f, %.3f, %.0f", s.Seed, i, g.X, g.Y, g.Flux, w.X, w.Y, w.Flux)
		}
	}
}
