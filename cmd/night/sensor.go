package night

import (
	"pintle/solve/frame"
	"pintle/solve/render"
)

// spot is a bad pixel.
type spot struct {
	at   int
	add  float32
	dead bool
}

// findSpots returns the sensor's bad pixels, which are the same in every frame:
// they are read off a picture of nothing.
func findSpots(s *Spec) []spot {
	c := &s.Camera
	if c.Defects == (render.Defects{}) {
		return nil
	}
	const floor = 100
	dark := render.Scene{W: c.W, H: c.H, Seed: s.Seed, PSF: c.PSF, Defects: c.Defects}
	dark.Sensor = render.Sensor{Gain: c.Sensor.Gain, Bits: c.Sensor.Bits, Bias: floor, NoNoise: true}
	im := dark.Render(nil)
	var out []spot
	for y := range im.H {
		for x, v := range im.Row(y, nil) {
			if v != floor {
				out = append(out, spot{at: y*im.W + x, add: v - floor, dead: v == 0})
			}
		}
	}
	return out
}

// spoil puts the bad pixel into a picture.
func (p spot) spoil(im *frame.Image) {
	put := func(old, top float32) float32 {
		if p.dead {
			return 0
		}
		return min(old+p.add, top)
	}
	if im.U8 != nil {
		im.U8[p.at] = uint8(put(float32(im.U8[p.at]), 255))
		return
	}
	im.U16[p.at] = uint16(put(float32(im.U16[p.at]), 65535))
}
