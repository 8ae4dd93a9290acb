package frame

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/astrogo/fitsio"
)

func isKind(err, kind error) bool { return errors.Is(err, kind) }

func TestEveryBITPIX(t *testing.T) {
	const w, h = 24, 20
	v := sky(w, h, 1)
	as := func(f func(x uint16) float64) func(int) float64 { return func(i int) float64 { return f(v[i]) } }
	i8, i32, i64 := make([]uint8, w*h), make([]int32, w*h), make([]int64, w*h)
	i16, f32, f64 := make([]int16, w*h), make([]float32, w*h), make([]float64, w*h)
	for i, x := range v {
		i8[i], i16[i], i32[i], i64[i] = uint8(x>>8), int16(int(x)/2-1000), int32(x)*1000, int64(x)*100000
		f32[i], f64[i] = float32(x)/3, float64(x)/7
	}
	for _, c := range []struct {
		name  string
		data  any
		cards []string
		kind  string
		want  func(int) float64
		tol   float64
	}{
		{"8", i8, imageCards(8, w, h), "U8", as(func(x uint16) float64 { return float64(x >> 8) }), 0},
		{"8 scaled", i8, append(imageCards(8, w, h), "BSCALE  = 2.5", "BZERO   = -7"), "F32", as(func(x uint16) float64 { return 2.5*float64(x>>8) - 7 }), 1e-3},
		{"unsigned 16", stored16(v), append(imageCards(16, w, h), "BZERO   = 32768"), "U16", as(func(x uint16) float64 { return float64(x) }), 0},
		{"unsigned 16 by float cards", stored16(v), append(imageCards(16, w, h), "BSCALE  = 1.0", "BZERO   = 3.2768D4"), "U16", as(func(x uint16) float64 { return float64(x) }), 0},
		{"signed 16 with negatives", i16, imageCards(16, w, h), "F32", as(func(x uint16) float64 { return float64(int(x)/2 - 1000) }), 0},
		{"signed 16 without negatives", half16(v), imageCards(16, w, h), "U16", as(func(x uint16) float64 { return float64(x / 2) }), 0},
		{"16 scaled", i16, append(imageCards(16, w, h), "BSCALE  = .5", "BZERO   = 1e3"), "F32", as(func(x uint16) float64 { return 0.5*float64(int(x)/2-1000) + 1000 }), 0},
		{"32", i32, imageCards(32, w, h), "F32", as(func(x uint16) float64 { return float64(x) * 1000 }), 4},
		{"unsigned 32", i32, append(imageCards(32, w, h), "BZERO   = 2147483648"), "F32", as(func(x uint16) float64 { return float64(x)*1000 + 2147483648 }), 256},
		{"64", i64, imageCards(64, w, h), "F32", as(func(x uint16) float64 { return float64(x) * 100000 }), 512},
		{"-32", f32, imageCards(-32, w, h), "F32", as(func(x uint16) float64 { return float64(float32(x) / 3) }), 0},
		{"-32 scaled", f32, append(imageCards(-32, w, h), "BSCALE  = 3"), "F32", as(func(x uint16) float64 { return float64(x) }), 0.01},
		{"-64", f64, imageCards(-64, w, h), "F32", as(func(x uint16) float64 { return float64(x) / 7 }), 1e-3},
	} {
		t.Run(c.name, func(t *testing.T) {
			fr := mustDecode(t, fitsFile(c.data, c.cards...), "x.fits", Options{})
			if got := kindOf(&fr.Image); got != c.kind {
				t.Errorf("pixels are %s, want %s", got, c.kind)
			}
			samePixels(t, &fr.Image, w, h, c.want, c.tol)
		})
	}
}

func half16(v []uint16) []int16 {
	out := make([]int16, len(v))
	for i, x := range v {
		out[i] = int16(x / 2)
	}
	return out
}

func kindOf(im *Image) string {
	switch {
	case im.U8 != nil:
		return "U8"
	case im.U16 != nil:
		return "U16"
	}
	return "F32"
}

// A file written by github.com/astrogo/fitsio, read from disk: the picture is
// large enough to be read in parallel pieces.
func TestWrittenByFitsio(t *testing.T) {
	const w, h = 1201, 701
	v := sky(w, h, 2)
	path := filepath.Join(t.TempDir(), "x.fits")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	out, err := fitsio.Create(f)
	if err != nil {
		t.Fatal(err)
	}
	im := fitsio.NewImage(16, []int{w, h})
	err = im.Header().Append(
		fitsio.Card{Name: "BZERO", Value: 32768}, fitsio.Card{Name: "BSCALE", Value: 1},
		fitsio.Card{Name: "DATE-OBS", Value: "2026-11-25T12:40:00.500"}, fitsio.Card{Name: "EXPTIME", Value: 3.0},
		fitsio.Card{Name: "BAYERPAT", Value: "RGGB"})
	if err != nil {
		t.Fatal(err)
	}
	raw := stored16(v)
	if err := im.Write(&raw); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(out.Write(im), im.Close(), out.Close(), f.Close()); err != nil {
		t.Fatal(err)
	}
	fr, err := Read(context.Background(), path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	samePixels(t, &fr.Image, w, h, func(i int) float64 { return float64(v[i]) }, 0)
	if got := fr.Time.Mid.Format("15:04:05.000"); got != "12:40:02.000" {
		t.Errorf("mid exposure %s, want 12:40:02.000", got)
	}
	if fr.Image.Mosaic != "RGGB" {
		t.Errorf("mosaic %q, want RGGB", fr.Image.Mosaic)
	}
}

// What the header library gets wrong when fed as it is (see package fitshead).
func TestHeaderTraps(t *testing.T) {
	cards := append(imageCards(8, 16, 16),
		"PLAIN   = 'no comment'",
		"QUOTE   = 'it''s here' / it's",
		"SLASH   = 'a/b' / c",
		"LONG    = 'a string that goes on to the very last column of its card, and is cut'",
		"OPEN    = 'never closed",
		"POINT   = .5 / starts with a point",
		"SMALL   = 1e3",
		"DEXP    = 1.25D-2",
		"BIG     = 9223372036854775808 / 2^63",
		"NEG     = -3000000000",
		"EMPTY   =",
		"YES     = T",
		"NAN     = NaN",
		"COMMENT = 'not a value'",
		"END OF  = 5",
	)
	data := fitsFile(make([]uint8, 256), cards...)
	// Cards behind END do not count.
	copy(data[bytes.Index(data, []byte(fmt.Sprintf("%-80s", "END")))+80:], "YES     =                    F")
	c, off, err := readCards(memory(data), 0)
	if err != nil {
		t.Fatal(err)
	}
	if off != blockSize {
		t.Errorf("data at %d, want %d", off, blockSize)
	}
	for key, want := range map[string]any{
		"PLAIN": "no comment", "QUOTE": "it's here", "SLASH": "a/b", "OPEN": "never closed",
		"POINT": 0.5, "SMALL": 1000.0, "DEXP": 0.0125, "BIG": math.Ldexp(1, 63), "NEG": int64(-3e9), "YES": true,
		"NAN": "NaN", "EMPTY": nil,
	} {
		if c[key] != want {
			t.Errorf("%s = %v (%T), want %v", key, c[key], c[key], want)
		}
	}
	if s, _ := c.Text("LONG"); len(s) < 60 {
		t.Errorf("LONG = %q, want most of it", s)
	}
}

func TestExtensions(t *testing.T) {
	const w, h = 32, 24
	plane := func(v uint8) []byte { return pad(bytes.Repeat([]byte{v}, w*h), 0) }
	file := func(parts ...[]byte) []byte { return bytes.Join(parts, nil) }
	empty := fitsHeader("SIMPLE  =                    T", "BITPIX  = 8", "NAXIS   = 0", "EXTEND  = T", "EXPTIME = 7.5", "BAYERPAT= 'GRBG'")
	for _, c := range []struct {
		name string
		data []byte
		want float32
	}{
		{"mean goes before maximum", file(empty, fitsHeader(extension("MAXPIXEL", 8, w, h)...), plane(1),
			fitsHeader(extension("AVEPIXEL", 8, w, h)...), plane(2), fitsHeader(extension("STDPIXEL", 8, w, h)...), plane(3)), 2},
		{"science goes before weights", file(empty, fitsHeader(extension("WEIGHT", 8, w, h)...), plane(1),
			fitsHeader(extension("SCI", 8, w, h)...), plane(2)), 2},
		{"the first of equals", file(empty, fitsHeader(extension("A", 8, w, h)...), plane(1), fitsHeader(extension("B", 8, w, h)...), plane(2)), 1},
		{"a thumbnail does not count", file(fitsHeader(imageCards(8, 16, 16)...), pad(make([]byte, 256), 0), fitsHeader(extension("FULL", 8, w, h)...), plane(4)), 4},
		{"junk behind the picture", file(fitsHeader(imageCards(8, w, h)...), plane(5), []byte("junk that is no header")), 5},
	} {
		fr := mustDecode(t, c.data, "x", Options{})
		if got := fr.Image.at(0); got != c.want {
			t.Errorf("%s: plane %g was taken, want %g (%s)", c.name, got, c.want, fr.Format)
		}
	}
	fr := mustDecode(t, file(empty, fitsHeader(extension("A", 8, w, h)...), plane(1)), "x", Options{})
	if fr.Exposure.Seconds() != 7.5 {
		t.Errorf("exposure %v, want 7.5 s from the primary header", fr.Exposure)
	}
	if fr.Image.Mosaic != "GRBG" {
		t.Errorf("mosaic %q, want GRBG from the primary header", fr.Image.Mosaic)
	}
}

func TestFITSColour(t *testing.T) {
	const w, h = 20, 18
	r, g, b := sky(w, h, 3), sky(w, h, 4), sky(w, h, 5)
	planes := append(append(stored16(r), stored16(g)...), stored16(b)...)
	var mixed []int16
	for i := range r {
		mixed = append(mixed, stored16(r)[i], stored16(g)[i], stored16(b)[i])
	}
	want := func(i int) float64 { return math.Floor((float64(r[i])+2*float64(g[i])+float64(b[i]))/4 + 0.5) }
	for name, c := range map[string]struct {
		data  []int16
		cards []string
	}{
		"planes":      {planes, append(imageCards(16, w, h, 3), "BZERO   = 32768")},
		"interleaved": {mixed, append(imageCards(16, 3, w, h), "BZERO   = 32768")},
	} {
		fr := mustDecode(t, fitsFile(c.data, c.cards...), name, Options{})
		if fr.Image.U16 == nil || fr.Image.Mosaic != "" {
			t.Errorf("%s: pixels %s, mosaic %q", name, kindOf(&fr.Image), fr.Image.Mosaic)
		}
		samePixels(t, &fr.Image, w, h, want, 0)
	}
	fr := mustDecode(t, fitsFile(planes[:4*w*h/2], append(imageCards(16, w, h, 2), "BZERO   = 32768")...), "two planes", Options{})
	samePixels(t, &fr.Image, w, h, func(i int) float64 { return float64(r[i]) }, 0)
	if !hasNote(fr, "first plane") {
		t.Errorf("no note that planes were left out: %q", fr.Notes)
	}
}

func TestGzip(t *testing.T) {
	const w, h = 200, 150
	v := sky(w, h, 6)
	plain := fitsFile(stored16(v), append(imageCards(16, w, h), "BZERO   = 32768")...)
	packed := gzipped(plain)
	fr := mustDecode(t, packed, "x.fits.gz", Options{})
	samePixels(t, &fr.Image, w, h, func(i int) float64 { return float64(v[i]) }, 0)

	multi := bytes.Join([][]byte{fitsHeader("SIMPLE  =                    T", "BITPIX  = 8", "NAXIS   = 0"),
		fitsHeader(extension("MAX", 8, 32, 20)...), pad(bytes.Repeat([]byte{1}, 640), 0),
		fitsHeader(extension("MEAN", 8, 32, 20)...), pad(bytes.Repeat([]byte{2}, 640), 0)}, nil)
	fr = mustDecode(t, gzipped(multi), "x.fits.gz", Options{})
	if fr.Image.at(0) != 2 {
		t.Errorf("plane %g was taken, want the mean, 2", fr.Image.at(0))
	}
	refused(t, packed[:len(packed)/2], ErrDamaged, "copy the file again")
	bad := bytes.Clone(packed)
	bad[len(bad)-6] ^= 1 // the checksum
	refused(t, bad, ErrDamaged)
	refused(t, gzipped([]byte("just text, and not much of it"+string(make([]byte, 3000)))), ErrFormat, "only FITS")
}

func gzipped(b []byte) []byte {
	var z bytes.Buffer
	w := gzip.NewWriter(&z)
	w.Write(b)
	w.Close()
	return z.Bytes()
}

func TestHostileFITS(t *testing.T) {
	good := fitsFile(make([]uint8, 40*40), imageCards(8, 40, 40)...)
	cut := func(cards ...string) []byte { return append(fitsHeader(cards...), make([]byte, 2*blockSize)...) }
	for _, c := range []struct {
		name  string
		data  []byte
		kind  error
		words string
	}{
		{"header only", good[:blockSize], ErrDamaged, "the file has 2880"},
		{"half a header", good[:1000], ErrDamaged, ""},
		{"truncated pixels", good[:blockSize+1000], ErrDamaged, "copy it again"},
		{"no END", bytes.Repeat([]byte("SIMPLE  =                    T"+string(bytes.Repeat([]byte(" "), 50))), 36*4), ErrDamaged, ""},
		{"enormous", cut(imageCards(-64, 2000000000, 2000000000)...), ErrTooLarge, ""},
		{"more than the limit", cut(imageCards(8, 20001, 20000)...), ErrTooLarge, "400 megapixels"},
		{"not in the file", cut(imageCards(16, 10000, 10000)...), ErrDamaged, "200000000 bytes"},
		{"negative size", cut(imageCards(16, -5, 10)...), ErrDamaged, "NAXIS1"},
		{"overflowing product", cut(imageCards(64, 2147483647, 2147483647, 2147483647)...), ErrTooLarge, ""},
		{"no BITPIX", cut("SIMPLE  =                    T", "NAXIS   = 2"), ErrDamaged, ""},
		{"odd BITPIX", cut(imageCards(24, 40, 40)...), ErrDamaged, "24"},
		{"NAXIS as text", cut("SIMPLE  =                    T", "BITPIX  = 8", "NAXIS   = 'two'"), ErrDamaged, ""},
		{"a billion axes", cut("SIMPLE  =                    T", "BITPIX  = 8", "NAXIS   = 999999999"), ErrDamaged, "NAXIS"},
		{"missing axis", cut("SIMPLE  =                    T", "BITPIX  = 8", "NAXIS   = 2", "NAXIS1  = 40"), ErrDamaged, ""},
		{"no picture", fitsHeader("SIMPLE  =                    T", "BITPIX  = 8", "NAXIS   = 0"), ErrFormat, "without a picture"},
		{"BSCALE 0", append(fitsHeader(append(imageCards(8, 40, 40), "BSCALE  = 0")...), make([]byte, 2880)...), ErrDamaged, "BSCALE"},
		{"all NaN", fitsFile(nans(20*20), imageCards(-32, 20, 20)...), ErrDamaged, "not one"},
		{"gzip of a claim", gzipped(cut(imageCards(-64, 20000, 20000)...)), ErrTooLarge, "cannot be packed"},
	} {
		t.Run(c.name, func(t *testing.T) { refused(t, c.data, c.kind, c.words) })
	}
}

func nans(n int) []float32 {
	v := make([]float32, n)
	for i := range v {
		v[i] = float32(math.NaN())
	}
	return v
}

func TestMissingPixels(t *testing.T) {
	const w, h = 130, 100
	v := make([]float32, w*h)
	for i := range v {
		v[i] = 100
		if i%w >= 64 {
			v[i] = 900
		}
	}
	v[5*w+5], v[5*w+100], v[90*w+70] = float32(math.NaN()), float32(math.Inf(1)), -3e38
	fr := mustDecode(t, fitsFile(v, imageCards(-32, w, h)...), "x", Options{})
	for at, want := range map[int]float32{5*w + 5: 100, 5*w + 100: 900, 90*w + 70: 900} {
		if fr.Image.F32[at] != want {
			t.Errorf("pixel %d, %d is %g, want the level around it, %g", at%w, at/w, fr.Image.F32[at], want)
		}
	}
	if !hasNote(fr, "3 of 13000 pixels hold no data") {
		t.Errorf("notes %q do not count the pixels", fr.Notes)
	}
	low := half16(sky(w, h, 7))
	low[5], low[77] = -3, -32768
	fr = mustDecode(t, fitsFile(low, append(imageCards(16, w, h), "BLANK   = -32768")...), "x", Options{})
	if got := fr.Image.F32[77]; got < 450 || got > 600 || fr.Image.F32[5] != -3 {
		t.Errorf("signed blank pixel became %g, want about 500, next to %g", got, fr.Image.F32[5])
	}
	raw := stored16(sky(w, h, 7))
	raw[77] = -32768
	fr = mustDecode(t, fitsFile(raw, append(imageCards(16, w, h), "BZERO   = 32768", "BLANK   = -32768")...), "x", Options{})
	if got := fr.Image.U16[77]; got < 900 || got > 1200 {
		t.Errorf("blank pixel became %d, want the level around it, about 1000", got)
	}
}

func TestOddUnits(t *testing.T) {
	const w, h = 64, 48
	v := sky(w, h, 8)
	for _, unit := range []float64{1e-19, 1e12} {
		f := make([]float64, w*h)
		for i, x := range v {
			f[i] = float64(x) * unit
		}
		fr := mustDecode(t, fitsFile(f, imageCards(-64, w, h)...), "x", Options{})
		if !hasNote(fr, "were multiplied by") {
			t.Errorf("unit %g: no note of the scaling in %q", unit, fr.Notes)
		}
		scale := float64(fr.Image.F32[0]) / float64(v[0])
		if scale < 0.1 || scale > 1e4 {
			t.Errorf("unit %g: pixels are %g times the plain values", unit, scale)
		}
		samePixels(t, &fr.Image, w, h, func(i int) float64 { return scale * float64(v[i]) }, scale*0.02)
	}
}

func TestSaturation(t *testing.T) {
	v := stored16(sky(32, 32, 9))
	low := half16(sky(32, 32, 9))
	if got := mustDecode(t, fitsFile(low, imageCards(16, 32, 32)...), "x", Options{}).Image.Saturation; got != 32767 {
		t.Errorf("signed: saturation %g, want 32767", got)
	}
	for card, want := range map[string]float32{"": 65535, "SATURATE= 4000": 4000, "SATURATE= 70000": 65535} {
		cards := append(imageCards(16, 32, 32), "BZERO   = 32768")
		if card != "" {
			cards = append(cards, card)
		}
		if got := mustDecode(t, fitsFile(v, cards...), "x", Options{}).Image.Saturation; got != want {
			t.Errorf("%q: saturation %g, want %g", card, got, want)
		}
	}
}

// TestWidePCOUNT: the numbers behind an array are counted in 64 bits (FITS
// standard 4.0, section 4.4.1.2); the library has 32.
func TestWidePCOUNT(t *testing.T) {
	c, _, err := readCards(memory(fitsHeader("XTENSION= 'BINTABLE'", "BITPIX  = 8", "NAXIS   = 2", "NAXIS1  = 8", "NAXIS2  = 10", "PCOUNT  = 3000000000", "GCOUNT  = 1")), 0)
	if err != nil {
		t.Fatal(err)
	}
	u, err := newHDU(c, blockSize)
	if err != nil || u.size != 3_000_000_080 {
		t.Errorf("data of %d bytes, %v, want 3000000080", u.size, err)
	}
	for _, card := range []string{"PCOUNT  = -5", "PCOUNT  = 9000000000000000000", "PCOUNT  = 99999999999999999999", "PCOUNT  = 'x'"} {
		c, _, err := readCards(memory(fitsHeader("SIMPLE  = T", "BITPIX  = 8", "NAXIS   = 1", "NAXIS1  = 8", card)), 0)
		if err != nil {
			t.Fatal(err)
		}
		if u, err := newHDU(c, 0); err == nil || !strings.Contains(err.Error(), "PCOUNT = ") {
			t.Errorf("%s: %d bytes, %v", card, u.size, err)
		}
	}
}

// TestEmptyAxis: a compressed picture with an axis of no pixels has an error of its
// own.
func TestEmptyAxis(t *testing.T) {
	data := testFile(t, "u16-rice-tiles.fits")
	card := func(old, new string) {
		copy(data[bytes.Index(data, []byte(old)):], fmt.Sprintf("%-80s", new))
	}
	card("ZNAXIS  =", "ZNAXIS  = 3")
	card("ZEXTEND =", "ZNAXIS3 = 0")
	_, err := Decode(data, "x", Options{})
	if !errors.Is(err, ErrDamaged) || !strings.Contains(err.Error(), "ZNAXIS3 = 0") {
		t.Errorf("%v, want one about ZNAXIS3 = 0", err)
	}
}
