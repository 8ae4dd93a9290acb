package detect

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pintle/solve/frame"
	"pintle/solve/render"
)

// Pictures that contradict themselves are refused, with what is wrong in the
// message.
func TestRefused(t *testing.T) {
	for _, c := range []struct {
		im   *frame.Image
		want string
	}{
		{nil, "no image"},
		{&frame.Image{W: -1, H: 5}, "-1 x 5"},
		{&frame.Image{W: 10, H: 10, U8: make([]uint8, 99)}, "99"},
		{&frame.Image{W: 10, H: 10}, "10 x 10"},
		{&frame.Image{W: 2, H: 2, U8: make([]uint8, 4), U16: make([]uint16, 4)}, "2 x 2"},
	} {
		_, err := Find(c.im, Options{})
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: error %v, want one with %q", c.im, err, c.want)
		}
	}
}

// Pictures with nothing in them give an empty list and a reason, whatever
// their size and number format.
func TestNothingToSee(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 2))
	float := func(w, h int, f func(i int) float32) *frame.Image {
		im := &frame.Image{W: w, H: h, F32: make([]float32, w*h)}
		for i := range im.F32 {
			im.F32[i] = f(i)
		}
		return im
	}
	short := func(w, h int, f func(i int) uint16) *frame.Image {
		im := &frame.Image{W: w, H: h, U16: make([]uint16, w*h)}
		for i := range im.U16 {
			im.U16[i] = f(i)
		}
		return im
	}
	nan, inf := float32(math.NaN()), float32(math.Inf(1))
	for name, c := range map[string]struct {
		im     *frame.Image
		reason string
	}{
		"0 x 0":            {&frame.Image{}, "0 x 0"},
		"1 x 1":            {float(1, 1, func(int) float32 { return 5 }), "1 x 1"},
		"one row":          {short(5000, 1, func(i int) uint16 { return uint16(i) }), "5000 x 1"},
		"one column":       {short(1, 5000, func(i int) uint16 { return uint16(i) }), "1 x 5000"},
		"eight by eight":   {short(8, 8, func(i int) uint16 { return uint16(i) }), "stars"},
		"black":            {short(300, 200, func(int) uint16 { return 0 }), "blank"},
		"grey":             {short(300, 200, func(int) uint16 { return 1234 }), "blank"},
		"grey float":       {float(300, 200, func(int) float32 { return 0.25 }), "blank"},
		"white":            {short(300, 200, func(int) uint16 { return 65535 }), "overexposed"},
		"white 8 bit":      {&frame.Image{W: 90, H: 90, U8: []uint8(strings.Repeat("\xff", 8100))}, "overexposed"},
		"no numbers":       {float(300, 200, func(int) float32 { return nan }), "blank"},
		"infinite":         {float(300, 200, func(int) float32 { return inf }), "blank"},
		"enormous numbers": {float(300, 200, func(i int) float32 { return float32(i%7) * 1e37 }), "stars"},
		"noise":            {float(1000, 700, func(int) float32 { return float32(100 + 10*rng.NormFloat64()) }), "stars"},
		"noise with gaps": {float(1000, 700, func(i int) float32 {
			if i%3 == 0 {
				return nan
			}
			return float32(rng.NormFloat64())
		}), "stars"},
		"bits":         {short(500, 400, func(i int) uint16 { return uint16(i & 1) }), "stars"},
		"chessboard":   {short(500, 400, func(i int) uint16 { return uint16((i/8%2 ^ i/4000%2) * 1000) }), "stars"},
		"salt, pepper": {short(500, 400, func(int) uint16 { return uint16(rng.IntN(2) * 65535) }), ""},
		"ramp":         {short(500, 400, func(i int) uint16 { return uint16(i % 500 * 100) }), "stars"},
	} {
		t.Run(name, func(t *testing.T) {
			f := find(t, c.im, Options{})
			if len(f.Stars) > 3 {
				t.Errorf("seed %d: %d stars, the first %+v", seed, len(f.Stars), f.Stars[0])
			}
			if all := f.words(); !strings.Contains(all, c.reason) {
				t.Errorf("troubles %q, want one with %q", all, c.reason)
			}
			for _, s := range f.Stars {
				if !(s.ErrX > 0 && s.ErrY > 0 && s.Flux > 0) || math.IsInf(s.ErrX+s.ErrY+s.Flux, 0) {
					t.Errorf("star without sense: %+v", s)
				}
			}
		})
	}
}

// Pixels that are no numbers hide stars but do not shift or add any.
func TestHolesInTheData(t *testing.T) {
	s := render.Scene{
		W: 800, H: 600, Seed: seed, PSF: render.PSF{FWHM: 3},
		Sky: render.Sky{Level: 100}, Sensor: render.Sensor{Read: 3, Bias: 300},
	}
	rng := rand.New(rand.NewPCG(seed, 4))
	truth := field(200, s.W, s.H, 3000, rng)
	im := s.Render(truth)
	for _, v := range im.U16 {
		im.F32 = append(im.F32, float32(v))
	}
	im.U16 = nil
	for range 3000 {
		im.F32[rng.IntN(len(im.F32))] = float32(math.NaN())
	}
	for i := 200 * 800; i < 230*800; i++ {
		im.F32[i] = float32(math.Inf(-1))
	}
	f := find(t, im, Options{})
	pairs, _, left := match(truth, f, 1.5)
	if len(pairs) < 170 || len(left) > 2 {
		t.Errorf("seed %d: %d of %d stars found, %d false", s.Seed, len(pairs), len(truth), len(left))
	}
}

// Any picture of any size is survived.
func FuzzFind(f *testing.F) {
	f.Add(uint16(20), uint16(20), uint8(0), uint8(0), []byte("\x00\x00\xff\xff\x00"))
	f.Add(uint16(64), uint16(9), uint8(1), uint8(1), []byte("\x00\x00\xff\xff\x00 stars"))
	f.Add(uint16(33), uint16(70), uint8(2), uint8(2), []byte("\x7f\xc0\x00\x00\xff\x80"))
	f.Fuzz(func(t *testing.T, w, h uint16, kind, mosaic uint8, data []byte) {
		im := &frame.Image{W: int(w % 200), H: int(h % 200), Mosaic: []string{"", "RGGB", "????"}[mosaic%3]}
		n := im.W * im.H
		byteAt := func(i int) byte {
			if len(data) == 0 {
				return 0
			}
			return data[i%len(data)] + byte(i/len(data)*int(kind/3))
		}
		switch kind % 3 {
		case 0:
			im.U8 = make([]uint8, n)
			for i := range im.U8 {
				im.U8[i] = byteAt(i)
			}
		case 1:
			im.U16 = make([]uint16, n)
			for i := range im.U16 {
				im.U16[i] = uint16(byteAt(2*i))<<8 | uint16(byteAt(2*i+1))
			}
		default:
			im.F32 = make([]float32, n)
			for i := range im.F32 {
				im.F32[i] = math.Float32frombits(uint32(byteAt(4*i))<<24 | uint32(byteAt(4*i+1))<<16 | uint32(byteAt(4*i+2))<<8)
			}
		}
		field, err := Find(im, Options{Workers: 1})
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range field.Stars {
			if !(s.ErrX > 0) || !(s.ErrY > 0) || !(s.Flux > 0) || math.IsInf(s.X+s.Y+s.ErrX+s.ErrY, 0) || math.IsNaN(s.X+s.Y) {
				t.Fatalf("star without sense: %+v", s)
			}
		}
		field.Troubles()
	})
}
