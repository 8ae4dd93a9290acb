package session

import (
	"bytes"
	"image"
	"image/png"
	"math"
	"slices"

	"pintle/solve/frame"
)

// wide is how many pixels across the picture of a frame is at most.
const wide = 480

// picture returns a small grey PNG of a frame, faint stars lifted so that they
// can be seen on a phone. nil when it has no pixels.
func picture(im *frame.Image) []byte {
	if im.W < 1 || im.H < 1 || im.U8 == nil && im.U16 == nil && im.F32 == nil {
		return nil
	}
	step := max(1, (im.W+wide-1)/wide, (im.H+wide-1)/wide)
	b := drawn(im, step, 2)
	for _, coarser := range []int{1, 2, 4} {
		if len(b) <= mostPicture {
			break
		}
		b = drawn(im, coarser*step, 5) // without the noise of its sky, which fills most of it
	}
	return b
}

// mostPicture bounds a picture, bytes: an old phone fetches it frame by frame.
const mostPicture = 100_000

// drawn draws an image with a pixel for each step by step of its own, black up to so
// many times the scatter of its sky above that.
func drawn(im *frame.Image, step int, floor float64) []byte {
	w, h := (im.W+step-1)/step, (im.H+step-1)/step
	// Of each block its brightest pixel: a star must not drown in its sky.
	small := make([]float32, w*h)
	var row []float32
	for y := range im.H {
		row = im.Row(y, row)
		out := small[y/step*w:][:w]
		for x, v := range row {
			if y%step == 0 && x%step == 0 || v > out[x/step] {
				out[x/step] = v
			}
		}
	}
	low, noise := levels(small)
	g := image.NewGray(image.Rect(0, 0, w, h))
	top := math.Asinh(200)
	for i, v := range small {
		x := math.Asinh(math.Max(float64(v-low)/noise-floor, 0)) / top
		g.Pix[i] = uint8(255 * min(max(x, 0), 1))
	}
	var b bytes.Buffer
	e := png.Encoder{CompressionLevel: png.BestSpeed}
	if e.Encode(&b, g) != nil {
		return nil
	}
	return b.Bytes()
}

// levels returns the level of the sky and its scatter.
func levels(v []float32) (low float32, noise float64) {
	var s []float32
	for i := 0; i < len(v); i += 1 + len(v)/4096 {
		if x := v[i]; x == x {
			s = append(s, x)
		}
	}
	if len(s) == 0 {
		return 0, 1
	}
	slices.Sort(s)
	low = s[len(s)/2]
	return low, math.Max(float64(low-s[len(s)/6]), 1e-6+math.Abs(float64(low))*1e-4)
}
