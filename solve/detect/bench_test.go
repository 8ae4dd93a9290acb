package detect

import (
	"encoding/binary"
	"flag"
	"math/rand/v2"
	"os"
	"testing"

	"pintle/solve/frame"
	"pintle/solve/render"
)

var (
	rawFile  = flag.String("raw", "", "BenchmarkRaw: file of little-endian 16 bit pixels")
	rawWidth = flag.Int("width", 0, "BenchmarkRaw: pixels in a row of -raw")
)

// BenchmarkRaw times detection on pixels from a file; testdata/compare_sep.py
// runs it beside another program.
func BenchmarkRaw(b *testing.B) {
	if *rawFile == "" {
		b.Skip("no -raw file")
	}
	data, err := os.ReadFile(*rawFile)
	if err != nil {
		b.Fatal(err)
	}
	im := &frame.Image{W: *rawWidth, H: len(data) / 2 / *rawWidth, U16: make([]uint16, len(data)/2)}
	for i := range im.U16 {
		im.U16[i] = binary.LittleEndian.Uint16(data[2*i:])
	}
	run(b, im)
}

func run(b *testing.B, im *frame.Image) {
	b.Helper()
	b.ReportAllocs()
	b.SetBytes(int64(im.W * im.H)) // MB/s read as megapixels per second
	b.ResetTimer()
	for b.Loop() {
		find(b, im, Options{})
	}
}

// The floor: 26 megapixels of 16 bits in memory, each looked at once.
func BenchmarkFloor(b *testing.B) {
	im := &frame.Image{W: 6248, H: 4176, U16: frame.Pixels[uint16](6248 * 4176)}
	row := make([]float32, im.W)
	for i := range im.U16 {
		im.U16[i] = uint16(i)
	}
	for b.Loop() {
		for y := range im.H {
			if !allWithin(span(im, y, 0, im.W, row), 0, 1<<16) {
				b.Fatal("a pixel is no number")
			}
		}
	}
}

// Detection of 6 megapixels; MB/s is megapixels per second.
func BenchmarkFind(b *testing.B) {
	for _, c := range []struct {
		name  string
		stars int
		to    func(im *frame.Image)
		scene render.Scene
	}{
		{"sparse16", 100, nil, render.Scene{}},
		{"dense16", 20000, nil, render.Scene{}},
		{"sparse8", 100, nil, render.Scene{Sensor: render.Sensor{Bits: 8, Gain: 8}}},
		{"dense8", 20000, nil, render.Scene{Sensor: render.Sensor{Bits: 8, Gain: 8}}},
		{"sparseFloat", 100, float, render.Scene{}},
		{"denseFloat", 20000, float, render.Scene{}},
		{"bayer", 1000, nil, render.Scene{Sensor: render.Sensor{Mosaic: "RGGB"}}},
		{"unfocused", 1000, nil, render.Scene{PSF: render.PSF{FWHM: 3, Defocus: 12}}},
	} {
		b.Run(c.name, func(b *testing.B) {
			s := c.scene
			s.W, s.H, s.Seed = 3000, 2000, seed
			s.Sky = render.Sky{Level: 200, DX: 0.3, Vignette: 0.3}
			s.Sensor.Read = 3
			if s.PSF.FWHM == 0 {
				s.PSF.FWHM = 3
			}
			im := s.Render(field(c.stars, s.W, s.H, 500, rand.New(rand.NewPCG(seed, 1))))
			if c.to != nil {
				c.to(im)
			}
			run(b, im)
		})
	}
}

// float turns a picture's pixels into floats.
func float(im *frame.Image) {
	for _, v := range im.U16 {
		im.F32 = append(im.F32, float32(v))
	}
	im.U16 = nil
}
