package frame

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/color"
	"math"
	"math/bits"
	"slices"
	"testing"
)

// luminance is the slow twin of setImage: a pixel by the colour models of the
// standard library, mixed as (R + 2 G + B) / 4 at the depth of the picture, the
// transparency left out.
func luminance(m image.Image, x, y int) float64 {
	x, y = x+m.Bounds().Min.X, y+m.Bounds().Min.Y
	mix := func(r, g, b uint16) float64 { return float64((int(r) + 2*int(g) + int(b) + 2) / 4) }
	if _, listed := m.(*image.Paletted); listed { // whatever its colours are, they have 8 bits
		r, g, b, _ := m.At(x, y).RGBA()
		return mix(uint16(r>>8), uint16(g>>8), uint16(b>>8))
	}
	switch c := m.At(x, y).(type) {
	case color.Gray:
		return float64(c.Y)
	case color.Gray16:
		return float64(c.Y)
	case color.RGBA64:
		return mix(c.R, c.G, c.B)
	case color.NRGBA64:
		return mix(c.R, c.G, c.B)
	case color.NRGBA:
		return mix(uint16(c.R), uint16(c.G), uint16(c.B))
	default:
		r, g, b, _ := c.RGBA()
		return mix(uint16(r>>8), uint16(g>>8), uint16(b>>8))
	}
}

// luminances returns the light of all pixels by the slow twin, row by row.
func luminances(m image.Image) (all []float64) {
	w, h := m.Bounds().Dx(), m.Bounds().Dy()
	for i := range w * h {
		all = append(all, luminance(m, i%w, i/w))
	}
	return all
}

// checkSetImage compares setImage with the slow twin, which goes first: setImage
// takes over the memory of the picture.
func checkSetImage(t *testing.T, name string, m image.Image) {
	t.Helper()
	want := luminances(m)
	if slices.Max(want)-slices.Min(want) < 10 {
		t.Fatalf("%s: the picture is nearly blank and proves nothing", name)
	}
	var im Image
	setImage(&im, m)
	t.Log(name)
	samePixels(t, &im, m.Bounds().Dx(), m.Bounds().Dy(), func(i int) float64 { return want[i] }, 0)
}

// Pictures in every form that a decoder may give, whole and cut out.
func TestSetImage(t *testing.T) {
	all := pictures(31, 17)
	r := image.Rect(0, 0, 31, 17)
	inks, colours := image.NewCMYK(r), image.NewPaletted(r, color.Palette{color.Black, color.RGBA{255, 0, 0, 255}, color.RGBA{10, 200, 90, 255}, color.White})
	for i := range 31 * 17 {
		inks.SetCMYK(i%31, i/31, color.CMYK{uint8(3 * i), uint8(7 * i), uint8(11 * i), uint8(i % 50)})
		colours.SetColorIndex(i%31, i/31, uint8(i%4))
	}
	all["inks"], all["colours of a palette"] = inks, colours
	for name, m := range all {
		part := m.(interface {
			SubImage(image.Rectangle) image.Image
		}).SubImage(image.Rect(0, 2, 29, 15))
		checkSetImage(t, name, m)
		checkSetImage(t, name+", a part", part)
	}
}

// bitWriter puts codes into the data of a JPEG scan.
type bitWriter struct {
	out  []byte
	byte uint
	n    int
}

func (w *bitWriter) put(code uint, length int) {
	for i := length - 1; i >= 0; i-- {
		w.byte, w.n = w.byte<<1|code>>i&1, w.n+1
		if w.n == 8 {
			if w.out = append(w.out, byte(w.byte)); w.byte == 0xff {
				w.out = append(w.out, 0)
			}
			w.byte, w.n = 0, 0
		}
	}
}

// dc codes the step of an even block's value with the usual Huffman table
// (ISO/IEC 10918-1, table K.3), and the end of the block (K.5).
func (w *bitWriter) dc(step int) {
	codes := [...][2]uint{{0, 2}, {2, 3}, {3, 3}, {4, 3}, {5, 3}, {6, 3}, {14, 4}, {30, 5}, {62, 6}, {126, 7}}
	size := bits.Len(uint(max(step, -step)))
	w.put(codes[size][0], int(codes[size][1]))
	if step < 0 {
		step += 1<<size - 1
	}
	w.put(uint(step), size)
	w.put(10, 4)
}

// inkJPEG returns a JPEG picture in four inks, as printers' programs write it: 255
// means no ink. Each block of 8 x 8 pixels is even. Its Huffman tables are those
// of the standard library's encoder.
func inkJPEG(blocks ...[4]int) []byte {
	segment := func(marker byte, data ...byte) []byte {
		return append(binary.BigEndian.AppendUint16([]byte{0xff, marker}, uint16(len(data)+2)), data...)
	}
	quant := append([]byte{0}, bytes.Repeat([]byte{8}, 64)...) // 8: one step a grey value
	tables := encodeJPEG(image.NewGray(image.Rect(0, 0, 8, 8)))
	at := bytes.Index(tables, []byte{0xff, 0xc4})
	tables = tables[at : at+2+int(binary.BigEndian.Uint16(tables[at+2:]))]
	out := append([]byte{0xff, 0xd8}, segment(0xee, append([]byte("Adobe"), 0, 100, 0, 0, 0, 0, 0)...)...)
	out = append(append(out, segment(0xdb, quant...)...), tables...)
	out = append(out, segment(0xc0, 8, 0, 8, 0, byte(8*len(blocks)), 4, 1, 0x11, 0, 2, 0x11, 0, 3, 0x11, 0, 4, 0x11, 0)...)
	out = append(out, segment(0xda, 4, 1, 0, 2, 0, 3, 0, 4, 0, 0, 63, 0)...)
	var w bitWriter
	last := [4]int{128, 128, 128, 128}
	for _, b := range blocks {
		for k, v := range b {
			w.dc(v - last[k])
		}
		last = b
	}
	w.put(0x7f, 7)
	return append(append(out, w.out...), 0xff, 0xd9)
}

// A picture of printers' inks keeps its light: white, grey by black ink alone,
// a colour, black. Worked out by hand: the light of a colour is what its ink and
// the black leave, (R + 2 G + B) / 4.
func TestInkJPEG(t *testing.T) {
	fr := mustDecode(t, inkJPEG([4]int{255, 255, 255, 255}, [4]int{255, 255, 255, 100}, [4]int{155, 205, 55, 230}, [4]int{0, 0, 0, 0}), "inks.jpg", Options{})
	if fr.Image.W != 32 || fr.Image.H != 8 {
		t.Fatalf("picture of %d x %d", fr.Image.W, fr.Image.H)
	}
	colour := float64(155+2*205+55) / 4 * 230 / 255
	for i, want := range []float64{255, 100, colour, 0} {
		if got := float64(fr.Image.at(8*i + 3)); math.Abs(got-want) > 2 {
			t.Errorf("block %d is %g, want %g", i, got, want)
		}
	}
}
