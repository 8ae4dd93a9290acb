package render

import (
	"bytes"
	"image"
	"image/jpeg"

	"golang.org/x/image/draw"
	"golang.org/x/image/font"
	"golang.org/x/image/font/basicfont"
	"golang.org/x/image/math/fixed"

	"pintle/solve/frame"
)

// What happens to a picture after the exposure. A star at (x, y) of the picture
// given is at (by*(x+0.5)-0.5, by*(y+0.5)-0.5) of one that is by times as large.

// Rescale resizes a picture as photo editors do, by cubic interpolation, over
// all pixels that count when it shrinks. A mosaic is treated as if it were none.
func Rescale(im *frame.Image, by float64) *frame.Image {
	w, h := int(float64(im.W)*by+0.5), int(float64(im.H)*by+0.5)
	to := image.Rect(0, 0, w, h)
	out := &frame.Image{W: w, H: h, Saturation: im.Saturation}
	if im.U8 != nil {
		dst := image.NewGray(to)
		draw.CatmullRom.Scale(dst, to, gray(im), gray(im).Bounds(), draw.Src, nil)
		out.U8 = dst.Pix
		return out
	}
	src := image.NewGray16(image.Rect(0, 0, im.W, im.H))
	for i, v := range im.U16 {
		src.Pix[2*i], src.Pix[2*i+1] = uint8(v>>8), uint8(v)
	}
	dst := image.NewGray16(to)
	draw.CatmullRom.Scale(dst, to, src, src.Bounds(), draw.Src, nil)
	out.U16 = make([]uint16, w*h)
	for i := range out.U16 {
		out.U16[i] = uint16(dst.Pix[2*i])<<8 | uint16(dst.Pix[2*i+1])
	}
	return out
}

// Bin averages squares of 2 x 2 pixels; an odd last column or row is lost.
func Bin(im *frame.Image) *frame.Image {
	out := &frame.Image{W: im.W / 2, H: im.H / 2, Saturation: im.Saturation}
	if im.U8 != nil {
		out.U8 = make([]uint8, out.W*out.H)
	} else {
		out.U16 = make([]uint16, out.W*out.H)
	}
	for y := range out.H {
		for x := range out.W {
			i, o := 2*y*im.W+2*x, y*out.W+x
			if im.U8 != nil {
				out.U8[o] = uint8((int(im.U8[i]) + int(im.U8[i+1]) + int(im.U8[i+im.W]) + int(im.U8[i+im.W+1]) + 2) / 4)
				continue
			}
			out.U16[o] = uint16((int(im.U16[i]) + int(im.U16[i+1]) + int(im.U16[i+im.W]) + int(im.U16[i+im.W+1]) + 2) / 4)
		}
	}
	return out
}

// Compress passes a picture of 8 bits through JPEG of a quality from 1 to 100.
func Compress(im *frame.Image, quality int) *frame.Image {
	var b bytes.Buffer
	err := jpeg.Encode(&b, gray(im), &jpeg.Options{Quality: quality})
	if err != nil {
		panic(err) // only for sides above 65535
	}
	back, err := jpeg.Decode(&b)
	if err != nil {
		panic(err)
	}
	g := back.(*image.Gray)
	out := &frame.Image{W: im.W, H: im.H, Saturation: im.Saturation}
	for y := range im.H {
		out.U8 = append(out.U8, g.Pix[y*g.Stride:][:im.W]...)
	}
	return out
}

// Caption burns a black border and white lines of text, from the lower left
// corner up, into a picture of 8 bits. Letters are by times 7 x 13 pixels.
func Caption(im *frame.Image, border, by int, lines ...string) {
	for y := range im.H {
		for x := range im.W {
			if x < border || y < border || x >= im.W-border || y >= im.H-border {
				im.U8[y*im.W+x] = 0
			}
		}
	}
	for i, s := range lines {
		w, h := 7*len(s), 13
		small := image.NewGray(image.Rect(0, 0, w, h))
		d := font.Drawer{Dst: small, Src: image.White, Face: basicfont.Face7x13, Dot: fixed.P(0, 11)}
		d.DrawString(s)
		x0, y0 := 2*border+10, im.H-2*border-10-by*h*(len(lines)-i)
		for y := max(y0, 0); y < min(y0+by*h, im.H); y++ {
			for x := x0; x < min(x0+by*w, im.W); x++ {
				if small.GrayAt((x-x0)/by, (y-y0)/by).Y > 0 {
					im.U8[y*im.W+x] = 255
				}
			}
		}
	}
}

// gray is the picture's own pixels for the image libraries.
func gray(im *frame.Image) *image.Gray {
	return &image.Gray{Pix: im.U8, Stride: im.W, Rect: image.Rect(0, 0, im.W, im.H)}
}
