package render

import (
	"math"
	"slices"
	"testing"

	"pintle/solve/frame"
)

// Stars are where the comment in picture.go says after resizing.
func TestResizedPlaces(t *testing.T) {
	for _, bits := range []int{8, 16} {
		s := Scene{W: 60, H: 40, PSF: PSF{FWHM: 4}, Sensor: Sensor{Bits: bits, NoNoise: true}}
		im := s.Render([]Star{{X: 31.2, Y: 17.6, Flux: 4000}})
		for by, got := range map[float64]*frame.Image{0.5: Bin(im), 0.4: Rescale(im, 0.4), 2.3: Rescale(im, 2.3)} {
			var light []float32
			for y := range got.H {
				light = append(light, got.Row(y, nil)...)
			}
			_, x, y := moments(light, got.W)
			wantX, wantY := by*31.7-0.5, by*18.1-0.5
			if math.Hypot(x-wantX, y-wantY) > 0.05*by+0.02 {
				t.Errorf("%d bits, by %g: at %.3f, %.3f, want %.3f, %.3f", bits, by, x, y, wantX, wantY)
			}
			if got.W != int(60*by+0.5) || got.H != int(40*by+0.5) {
				t.Errorf("by %g: %d x %d", by, got.W, got.H)
			}
		}
	}
}

func TestCompressAndCaption(t *testing.T) {
	s := Scene{W: 203, H: 101, Seed: seed, PSF: PSF{FWHM: 3}, Sky: Sky{Level: 30}, Sensor: Sensor{Bits: 8}}
	im := s.Render([]Star{{X: 50, Y: 40, Flux: 1000}})
	got := Compress(im, 90)
	worst := 0.0
	for i, v := range got.U8 {
		worst = max(worst, math.Abs(float64(v)-float64(im.U8[i])))
	}
	if len(got.U8) != len(im.U8) || worst == 0 || worst > 30 {
		t.Errorf("%d pixels, differences up to %g; want %d, some, but not above 30", len(got.U8), worst, len(im.U8))
	}
	old := slices.Clone(im.U8)
	Caption(im, 5, 2, "NGC 1", "120 s")
	changed, white := 0, 0
	for i, v := range im.U8 {
		x, y := i%203, i/203
		switch {
		case x < 5 || y < 5 || x >= 198 || y >= 96:
			if v != 0 {
				t.Fatalf("border pixel %d, %d is %d", x, y, v)
			}
		case v != old[i]:
			changed++
			if v == 255 {
				white++
			}
			if x < 20 || x > 20+70 || y < 81-52 {
				t.Fatalf("pixel %d, %d is %d, outside the text", x, y, v)
			}
		}
	}
	if changed == 0 || changed != white || changed > 70*52/2 {
		t.Errorf("%d pixels changed, %d of them white", changed, white)
	}
}
