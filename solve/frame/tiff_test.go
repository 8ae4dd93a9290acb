package frame

import (
	"bytes"
	"encoding/binary"
	"image"
	"math"
	"testing"

	"golang.org/x/image/tiff"
)

// Files by libtiff and tifffile (testdata/README.md).
func TestTIFFFiles(t *testing.T) {
	base := mustDecode(t, testFile(t, "u16.fits"), "u16", Options{})
	v := func(i int) float64 { return float64(base.Image.U16[i]) }
	mixed := func(shift float64) func(int) float64 {
		return func(i int) float64 {
			r, g, b := math.Floor(v(i)/shift), math.Floor((math.Floor(v(i)/2)+77)/shift), math.Floor(math.Floor(v(i)/3)/shift)
			return math.Floor((r + 2*g + b + 2) / 4)
		}
	}
	for _, c := range []struct {
		file string
		kind string
		want func(int) float64
		tol  float64
	}{
		{"u16-lzw-tiles.tif", "U16", v, 0},
		{"u16-zip-big-endian.tif", "U16", v, 0},
		{"u16-bigtiff.tif", "U16", v, 0},
		{"u16-inverted.tif", "U16", v, 0},
		{"rgb16-zip.tif", "U16", mixed(1), 0},
		{"rgb16-planes.tif", "U16", mixed(1), 0},
		{"u8-packbits-planes.tif", "U8", mixed(256), 0},
		{"real-zip-predictor3.tif", "F32", func(i int) float64 { return float64(float32(v(i) * 0.37)) }, 0},
		{"half.tif", "F32", func(i int) float64 { return v(i) / 64 }, 0.26}, // 11 bits of 1024
	} {
		fr := mustDecode(t, testFile(t, c.file), c.file, Options{})
		if got := kindOf(&fr.Image); got != c.kind {
			t.Errorf("%s: pixels are %s, want %s", c.file, got, c.kind)
		}
		samePixels(t, &fr.Image, 48, 40, c.want, c.tol)
	}
}

// Every form that the Go TIFF library writes, against its own decoder.
func TestTIFFAgainstLibrary(t *testing.T) {
	for name, m := range pictures(61, 47) {
		for _, o := range []*tiff.Options{nil, {Compression: tiff.Deflate}, {Compression: tiff.Deflate, Predictor: true}} {
			var b bytes.Buffer
			if err := tiff.Encode(&b, m, o); err != nil {
				t.Fatal(err)
			}
			twin, err := tiff.Decode(bytes.NewReader(b.Bytes()))
			if err != nil {
				t.Fatal(err)
			}
			fr, want := mustDecode(t, b.Bytes(), name, Options{}), luminances(twin)
			samePixels(t, &fr.Image, 61, 47, func(i int) float64 { return want[i] }, 0)
		}
	}
}

// Sample widths that only raw data use, in both byte orders, and signed ones.
func TestTIFFSamples(t *testing.T) {
	const w, h = 21, 17
	v := sky(w, h, 31)
	for _, big := range []bool{false, true} {
		for _, bits := range []int{9, 10, 12, 14, 16} {
			d := newTIFF(big).long(tagWidth, w).long(tagHeight, h).short(tagBits, bits).short(tagPhotometric, 1).long(tagRowsPerStrip, h)
			var rows []byte
			low := make([]uint16, len(v))
			for y := range h {
				for x := range w {
					low[y*w+x] = v[y*w+x] & (1<<bits - 1)
				}
				if bits == 16 {
					rows = append(rows, words16(d.order, low[y*w:(y+1)*w])...)
				} else {
					rows = append(rows, packed(low[y*w:(y+1)*w], bits)...)
				}
			}
			d, rows = d.strips(8, false, rows)
			fr := mustDecode(t, d.bytes(rows), "x", Options{})
			samePixels(t, &fr.Image, w, h, func(i int) float64 { return float64(low[i]) }, 0)
			if want := float32(int(1)<<bits - 1); fr.Image.Saturation != want {
				t.Errorf("%d bits: saturation %g, want %g", bits, fr.Image.Saturation, want)
			}
		}
		d := newTIFF(big).long(tagWidth, w).long(tagHeight, h).short(tagBits, 16).short(tagPhotometric, 1).short(tagSampleFormat, formatInt)
		d, rows := d.strips(8, false, words16(d.order, v))
		fr := mustDecode(t, d.bytes(rows), "x", Options{})
		samePixels(t, &fr.Image, w, h, func(i int) float64 { return float64(int16(v[i])) }, 0)
	}
}

func TestOldTIFFs(t *testing.T) {
	// One bit a pixel goes through the TIFF library.
	d := newTIFF(false).long(tagWidth, 24).long(tagHeight, 16).short(tagBits, 1).short(tagPhotometric, 1).long(tagRowsPerStrip, 16)
	bits := bytes.Repeat([]byte{0xaa, 0x0f, 0x01}, 16)
	d, px := d.strips(8, false, bits)
	fr := mustDecode(t, d.bytes(px), "x", Options{})
	samePixels(t, &fr.Image, 24, 16, func(i int) float64 { return 255 * float64(bits[i/8]>>(7-i%8)&1) }, 0)
	// A reduced copy in front of the picture does not count.
	big := newTIFF(false).long(tagWidth, 20).long(tagHeight, 20).short(tagBits, 8).short(tagPhotometric, 1)
	small := newTIFF(false).long(tagSubfileType, 1).long(tagWidth, 40).long(tagHeight, 40).short(tagBits, 8).short(tagPhotometric, 1)
	px = make([]byte, 2000)
	px[0], px[1600] = 1, 2
	small, _ = small.strips(8, false, px[:1600])
	big, _ = big.strips(1608, false, px[1600:])
	small.next = big
	if fr := mustDecode(t, small.bytes(px), "x", Options{}); fr.Image.W != 20 || fr.Image.at(0) != 2 {
		t.Errorf("picture %d wide with %g was taken, want 20 with 2", fr.Image.W, fr.Image.at(0))
	}
}

func TestHostileTIFF(t *testing.T) {
	plain := func() *tiffDir {
		return newTIFF(false).long(tagWidth, 40).long(tagHeight, 30).short(tagBits, 16).short(tagPhotometric, 1).long(tagRowsPerStrip, 30)
	}
	px := make([]byte, 2400)
	d, _ := plain().strips(8, false, px)
	good := d.bytes(px)
	mustDecode(t, good, "x", Options{})
	refused(t, good[:100], ErrDamaged)
	refused(t, good[:6], ErrFormat)
	refused(t, []byte("II*\x00\x00\x00\x00\x00"), ErrDamaged)
	for name, c := range map[string]struct {
		d    *tiffDir
		kind error
	}{
		"enormous":           {plain().long(tagWidth, 1<<30).long(tagHeight, 1<<30), ErrTooLarge},
		"over the limit":     {plain().long(tagWidth, 30000).long(tagHeight, 30000), nil},
		"strips past end":    {plain().long(tagStripOffsets, 1<<30).long(tagStripCounts, 2400), nil},
		"endless strips":     {plain().long(tagWidth, 16).long(tagHeight, maxTiles+1).long(tagRowsPerStrip, 1), ErrTooLarge},
		"few strips":         {plain().long(tagRowsPerStrip, 1), nil},
		"odd bits":           {plain().short(tagBits, 13, 12).short(tagSamples, 2), nil},
		"unknown packing":    {plain().short(tagCompression, 12345), ErrUnsupported},
		"unknown colours":    {plain().short(tagPhotometric, 12345), ErrUnsupported},
		"deflate of rubbish": {plain().short(tagCompression, packDeflate), ErrDamaged},
		"lzw of rubbish":     {plain().short(tagCompression, packLZW), ErrDamaged},
		"predictor":          {plain().short(tagPredictor, 7), ErrUnsupported},
		"bomb":               {plain().short(tagCompression, packDeflate).long(tagWidth, 20000).long(tagHeight, 20000).long(tagRowsPerStrip, 20000), ErrTooLarge},
	} {
		t.Run(name, func(t *testing.T) {
			if _, ok := c.d.fields[tagStripOffsets]; !ok {
				c.d.strips(8, false, px)
			}
			refused(t, c.d.bytes(px), c.kind)
		})
	}
	// All strips at the same few bytes: more pixels than the file can hold.
	d = plain().long(tagHeight, 30*1000).long(tagRowsPerStrip, 30)
	var off, n []int
	for range 1000 {
		off, n = append(off, 8), append(n, 2400)
	}
	refused(t, d.long(tagStripOffsets, off...).long(tagStripCounts, n...).bytes(px), ErrTooLarge, "cannot fit")
	// A chain of directories that bites its tail.
	loop := bytes.Clone(good)
	at := binary.LittleEndian.Uint32(loop[4:])
	entries := binary.LittleEndian.Uint16(loop[at:])
	binary.LittleEndian.PutUint32(loop[int(at)+2+12*int(entries):], at)
	mustDecode(t, loop, "loop", Options{})
	// A directory that is its own child.
	d = plain().long(tagSubIFDs, 0)
	d, _ = d.strips(8, false, px)
	self := d.bytes(px)
	sub := bytes.Index(self, []byte{0x4a, 0x01, 4, 0})
	copy(self[sub+8:], self[4:8])
	mustDecode(t, self, "self", Options{})
}

func TestSetImageOfOddStride(t *testing.T) {
	m := image.NewGray16(image.Rect(0, 0, 10, 4))
	for i := range m.Pix {
		m.Pix[i] = byte(i)
	}
	var im Image
	setImage(&im, m.SubImage(image.Rect(2, 1, 7, 3)))
	samePixels(t, &im, 5, 2, func(i int) float64 {
		at := (1+i/5)*20 + (2+i%5)*2
		return float64(at&255)*256 + float64((at+1)&255)
	}, 0)
}
