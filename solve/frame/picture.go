package frame

import (
	"image"
	"image/draw"
)

// setImage takes the luminance of a decoded picture, in the decoder's own
// memory where it is grey already.
func setImage(im *Image, m image.Image) {
	r := m.Bounds()
	im.W, im.H = r.Dx(), r.Dy()
	switch p := m.(type) {
	case *image.Gray:
		im.U8 = tight(p.Pix, im.W, im.H, p.Stride)
	case *image.YCbCr:
		im.U8 = tight(p.Y, im.W, im.H, p.YStride)
	case *image.Gray16:
		im.U16 = words(tight(p.Pix, 2*im.W, im.H, p.Stride))
	case *image.RGBA:
		im.U8 = Pixels[uint8](im.W * im.H)
		mix8(im.U8, p.Pix, im.W, im.H, p.Stride)
	case *image.NRGBA:
		im.U8 = Pixels[uint8](im.W * im.H)
		mix8(im.U8, p.Pix, im.W, im.H, p.Stride)
	case *image.RGBA64:
		im.U16 = mix16(p.Pix, im.W, im.H, p.Stride)
	case *image.NRGBA64:
		im.U16 = mix16(p.Pix, im.W, im.H, p.Stride)
	default: // palettes, CMYK
		setBands(im, m)
	}
}

// setBands takes the luminance of a picture of any kind, some rows at a time.
func setBands(im *Image, m image.Image) {
	const rows = 64
	r := m.Bounds()
	im.U8 = Pixels[uint8](im.W * im.H)
	band := image.NewRGBA(image.Rect(0, 0, im.W, rows))
	for y := 0; y < im.H; y += rows {
		n := min(rows, im.H-y)
		draw.Draw(band, image.Rect(0, 0, im.W, n), m, r.Min.Add(image.Pt(0, y)), draw.Src)
		mix8(im.U8[y*im.W:], band.Pix, im.W, n, band.Stride)
	}
}

// tight closes the gaps between rows in place.
func tight(p []uint8, w, h, stride int) []uint8 {
	if stride != w {
		for y := 1; y < h; y++ {
			copy(p[y*w:(y+1)*w], p[y*stride:y*stride+w])
		}
	}
	return p[:w*h]
}

// words returns big-endian bytes as numbers, in place where it can.
func words(b []uint8) []uint16 {
	w := wordsOf(b)
	if w == nil {
		w = make([]uint16, len(b)/2)
		copy(bytesOf(w), b)
	}
	swapWords(w, 0)
	return w
}

// Colours are mixed as (R + 2 G + B) / 4, the weights that the sensor's own
// mosaic gives them.

func mix8(out, p []uint8, w, h, stride int) {
	for y := range h {
		row := p[y*stride : y*stride+4*w]
		for x := range w {
			q := row[4*x : 4*x+3]
			out[y*w+x] = uint8((uint(q[0]) + 2*uint(q[1]) + uint(q[2]) + 2) / 4)
		}
	}
}

func mix16(p []uint8, w, h, stride int) []uint16 {
	out := Pixels[uint16](w * h)
	for y := range h {
		row := p[y*stride : y*stride+8*w]
		for x := range w {
			q := row[8*x : 8*x+6]
			r, g, b := uint(q[0])<<8|uint(q[1]), uint(q[2])<<8|uint(q[3]), uint(q[4])<<8|uint(q[5])
			out[y*w+x] = uint16((r + 2*g + b + 2) / 4)
		}
	}
	return out
}
