package frame

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color"
	"image/png"
	"strings"
	"testing"
)

// pictures returns one invented picture in each of the standard library's
// forms that PNG can hold.
func pictures(w, h int) map[string]image.Image {
	v, u := sky(w, h, 21), sky(w, h, 22)
	r := image.Rect(0, 0, w, h)
	g8, g16, p := image.NewGray(r), image.NewGray16(r), image.NewPaletted(r, greys())
	rgb, rgb16, rgba, rgba16 := image.NewRGBA(r), image.NewRGBA64(r), image.NewNRGBA(r), image.NewNRGBA64(r)
	for i, a := range v {
		x, y, b := i%w, i/w, u[i]
		g8.SetGray(x, y, color.Gray{uint8(a >> 6)})
		g16.SetGray16(x, y, color.Gray16{a})
		p.SetColorIndex(x, y, uint8(a>>6)&15)
		rgb.SetRGBA(x, y, color.RGBA{uint8(a >> 6), uint8(b >> 6), uint8(a), 255})
		rgb16.SetRGBA64(x, y, color.RGBA64{a, b, a / 2, 65535})
		rgba.SetNRGBA(x, y, color.NRGBA{uint8(a >> 6), uint8(b >> 6), uint8(a), uint8(100 + i%100)})
		rgba16.SetNRGBA64(x, y, color.NRGBA64{a, b, a / 2, uint16(40000 + i%1000)})
	}
	return map[string]image.Image{"grey 8": g8, "grey 16": g16, "palette": p, "rgb 8": rgb, "rgb 16": rgb16, "rgba 8": rgba, "rgba 16": rgba16}
}

func greys() color.Palette {
	var p color.Palette
	for i := range 16 {
		p = append(p, color.Gray{uint8(17 * i)})
	}
	return p
}

func encodePNG(m image.Image) []byte {
	var b bytes.Buffer
	if err := png.Encode(&b, m); err != nil {
		panic(err)
	}
	return b.Bytes()
}

// The rows decoded here against the standard library's decoder.
func TestPNGAgainstLibrary(t *testing.T) {
	if testing.Short() {
		t.Skip("slow, and nothing runs beside it")
	}
	for _, size := range [][2]int{{61, 47}, {1, 20}, {400, 330}} {
		for name, m := range pictures(size[0], size[1]) {
			data := encodePNG(m)
			fr := mustDecode(t, data, name, Options{})
			twin, err := png.Decode(bytes.NewReader(data))
			if err != nil {
				t.Fatal(err)
			}
			kind := "U8"
			if strings.HasSuffix(name, "16") {
				kind = "U16"
			}
			if kindOf(&fr.Image) != kind {
				t.Errorf("%s: pixels are %s, want %s", name, kindOf(&fr.Image), kind)
			}
			want := luminances(twin)
			samePixels(t, &fr.Image, size[0], size[1], func(i int) float64 { return want[i] }, 0)
		}
	}
}

func TestColourMix(t *testing.T) {
	m := image.NewRGBA64(image.Rect(0, 0, 1, 1))
	m.SetRGBA64(0, 0, color.RGBA64{4000, 8000, 20000, 65535})
	fr := mustDecode(t, encodePNG(m), "x", Options{})
	if got := fr.Image.U16[0]; got != 10000 { // (4000 + 2*8000 + 20000) / 4
		t.Errorf("luminance %d, want 10000", got)
	}
}

// Every filter, on every pixel width, undone by the formulas of ISO/IEC 15948,
// section 9.2, the slow way.
func TestUnfilter(t *testing.T) {
	raw := bytesOf(sky(60, 2, 23))
	for _, bpp := range []int{1, 2, 3, 4, 6, 8} {
		for kind := byte(0); kind <= 4; kind++ {
			last, want := raw[:120], raw[120:]
			row := make([]byte, len(want))
			for i := range want {
				a, b, c := 0, int(last[i]), 0
				if i >= bpp {
					a, c = int(want[i-bpp]), int(last[i-bpp])
				}
				p := a + b - c
				pa, pb, pc := max(p-a, a-p), max(p-b, b-p), max(p-c, c-p)
				nearest := c
				if pa <= pb && pa <= pc {
					nearest = a
				} else if pb <= pc {
					nearest = b
				}
				row[i] = want[i] - byte([]int{0, a, b, (a + b) / 2, nearest}[kind])
			}
			if err := unfilter(kind, row, last, bpp); err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(row, want) {
				t.Errorf("filter %d, %d bytes a pixel: rows differ", kind, bpp)
			}
		}
	}
	if err := unfilter(5, make([]byte, 4), make([]byte, 4), 1); err == nil {
		t.Error("filter 5 was accepted")
	}
}

// pngChunk returns a chunk with its checksum.
func pngChunk(kind string, data []byte) []byte {
	b := binary.BigEndian.AppendUint32(nil, uint32(len(data)))
	b = append(append(b, kind...), data...)
	return binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(b[4:]))
}

func TestPNGWithEXIF(t *testing.T) {
	data := encodePNG(pictures(30, 20)["grey 8"])
	exif := newTIFF(false).add(tagExifIFD, newTIFF(false).
		text(tagDateOriginal, "2026:11:27 23:30:00").text(tagOffOriginal, "+13:00").rational(tagExposureTime, 5, 1)).bytes(nil)
	end := len(data) - 12
	data = append(append(bytes.Clone(data[:end]), pngChunk("eXIf", exif)...), data[end:]...)
	fr := mustDecode(t, data, "x.png", Options{})
	if got := fr.Time.Mid.Format("2006-01-02T15:04:05.000"); got != "2026-11-27T10:30:02.500" {
		t.Errorf("mid exposure %s (%s), want 2026-11-27T10:30:02.500", got, fr.Time.Source)
	}
}

func TestHostilePNG(t *testing.T) {
	good := encodePNG(pictures(61, 47)["grey 16"])
	refused(t, good[:20], ErrDamaged)
	refused(t, good[:len(good)/2], ErrDamaged, "copy the file again")
	refused(t, good[:60], ErrDamaged)
	bad := bytes.Clone(good)
	bad[len(bad)-20] ^= 1
	refused(t, bad, ErrDamaged)
	claim := func(w, h uint32, depth, colour byte) []byte {
		b := binary.BigEndian.AppendUint32(nil, w)
		b = binary.BigEndian.AppendUint32(b, h)
		b = append(b, depth, colour, 0, 0, 0)
		return bytes.Join([][]byte{good[:8], pngChunk("IHDR", b), good[33:]}, nil)
	}
	refused(t, claim(60000, 60000, 16, 0), ErrTooLarge, "400 megapixels")
	refused(t, claim(20000, 20000, 16, 6), ErrTooLarge, "cannot fit")
	refused(t, claim(0, 10, 16, 0), ErrDamaged)
	refused(t, claim(4294967295, 4294967295, 16, 0), ErrTooLarge)
	refused(t, claim(61, 47, 3, 0), ErrDamaged)
	refused(t, claim(61, 47, 8, 5), ErrDamaged)
	refused(t, claim(61, 48, 16, 0), ErrDamaged) // one row too few
}
