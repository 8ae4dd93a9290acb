// Package frame turns a picture file into pixels and what the file says of
// time, site and optics.
package frame

// Image is one plane of pixels, row-major, first row as stored. Pixel (0, 0)
// is the centre of the first pixel of the first row; x counts columns, y rows.
// Exactly one of U8, U16 and F32 is set, with W*H values.
type Image struct {
	W, H int
	U8   []uint8
	U16  []uint16
	F32  []float32
	// Mosaic is empty for luminance, else the colours of an undecoded 2 x 2
	// filter mosaic in the first two stored rows, such as "RGGB", or "????"
	// when such a pattern is evident but not named.
	Mosaic string
	// Saturation is the value at or above which a pixel is full; 0 is unknown.
	Saturation float32
}

// Row copies row y into dst, which it grows to W values when it must, and
// returns it.
func (im *Image) Row(y int, dst []float32) []float32 {
	if cap(dst) < im.W {
		dst = make([]float32, im.W)
	}
	dst = dst[:im.W]
	at := y * im.W
	switch {
	case im.U8 != nil:
		for i, v := range im.U8[at : at+im.W] {
			dst[i] = float32(v)
		}
	case im.U16 != nil:
		for i, v := range im.U16[at : at+im.W] {
			dst[i] = float32(v)
		}
	default:
		copy(dst, im.F32[at:at+im.W])
	}
	return dst
}
