package session

import (
	"bytes"
	"image/png"
	"math/rand/v2"
	"testing"

	"pintle/solve/frame"
)

// The picture of a frame stays small whatever is on it: a noisy sky, with stars that must
// stay, and a scene by day, which is all detail.
func TestPictureIsSmall(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8)) // fixed
	sky := &frame.Image{W: 1440, H: 1440, U16: make([]uint16, 1440*1440)}
	day := &frame.Image{W: 1440, H: 1440, U16: make([]uint16, 1440*1440)}
	for i := range sky.U16 {
		sky.U16[i] = uint16(1000 + 12*rng.NormFloat64())
		day.U16[i] = uint16(rng.IntN(65536))
	}
	sky.U16[700*1440+700] = 3000
	for name, im := range map[string]*frame.Image{"sky": sky, "day": day} {
		b := picture(im)
		if len(b) == 0 || len(b) > mostPicture {
			t.Errorf("%s: %d bytes, the limit is %d", name, len(b), mostPicture)
		}
		p, err := png.Decode(bytes.NewReader(b))
		if err != nil {
			t.Fatal(err)
		}
		if name == "sky" {
			if r, _, _, _ := p.At(p.Bounds().Dx()*700/1440, p.Bounds().Dy()*700/1440).RGBA(); r < 0x4000 {
				t.Errorf("the star is gone: %#x", r)
			}
		}
	}
}
