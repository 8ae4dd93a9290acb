package frame

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Decode reads a photograph or star list from memory; name is used as Read
// uses the base name of a file. The data may be overwritten, and the pixels may
// share its memory.
func Decode(data []byte, name string, o Options) (*Frame, error) {
	fr, err := decode(&file{
		source: source{r: bytes.NewReader(data), size: int64(len(data)), mem: data, work: newWork(context.Background(), int64(len(data)))},
		name:   name,
	}, o)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return fr, nil
}

// fitsHeader returns a FITS header, END and padding included.
func fitsHeader(cards ...string) []byte {
	var b bytes.Buffer
	for _, c := range append(cards, "END") {
		fmt.Fprintf(&b, "%-80.80s", c)
	}
	return pad(b.Bytes(), ' ')
}

// pad fills up to whole FITS blocks.
func pad(b []byte, with byte) []byte {
	for len(b)%blockSize != 0 {
		b = append(b, with)
	}
	return b
}

// imageCards returns the mandatory cards of a primary picture.
func imageCards(bitpix int, axes ...int) []string {
	c := []string{"SIMPLE  =                    T", fmt.Sprintf("BITPIX  = %20d", bitpix), fmt.Sprintf("NAXIS   = %20d", len(axes))}
	for i, n := range axes {
		c = append(c, fmt.Sprintf("%-8s= %20d", fmt.Sprint("NAXIS", i+1), n))
	}
	return c
}

// extension returns the mandatory cards of a picture in an extension.
func extension(name string, bitpix int, axes ...int) []string {
	c := imageCards(bitpix, axes...)
	c[0] = "XTENSION= 'IMAGE   '"
	return append(c, "PCOUNT  = 0", "GCOUNT  = 1", fmt.Sprintf("EXTNAME = '%s'", name))
}

// fitsFile returns a FITS file with one picture of big-endian data.
func fitsFile(data any, cards ...string) []byte {
	var b bytes.Buffer
	b.Write(fitsHeader(cards...))
	if err := binary.Write(&b, binary.BigEndian, data); err != nil {
		panic(err)
	}
	return pad(b.Bytes(), 0)
}

// sky returns an invented 16-bit picture: noise on a gradient, and stars.
func sky(w, h int, seed int64) []uint16 {
	rng := rand.New(rand.NewSource(seed))
	out := make([]uint16, w*h)
	for i := range out {
		out[i] = uint16(1000 + float64(i%w) + rng.NormFloat64()*20)
	}
	for range w * h / 400 {
		x, y, peak := rng.Float64()*float64(w), rng.Float64()*float64(h), math.Exp(rng.Float64()*6+5)
		for dy := -5; dy <= 5; dy++ {
			for dx := -5; dx <= 5; dx++ {
				px, py := int(x)+dx, int(y)+dy
				if px < 0 || py < 0 || px >= w || py >= h {
					continue
				}
				r2 := (float64(px)-x)*(float64(px)-x) + (float64(py)-y)*(float64(py)-y)
				out[py*w+px] = uint16(min(65535, float64(out[py*w+px])+peak*math.Exp(-r2/3)))
			}
		}
	}
	return out
}

// stored16 returns unsigned 16-bit values as FITS stores them with BZERO 32768.
func stored16(v []uint16) []int16 {
	out := make([]int16, len(v))
	for i, x := range v {
		out[i] = int16(int(x) - 32768)
	}
	return out
}

// mustDecode decodes a copy of data.
func mustDecode(t testing.TB, data []byte, name string, o Options) *Frame {
	t.Helper()
	fr, err := Decode(bytes.Clone(data), name, o)
	if err != nil {
		t.Fatal(err)
	}
	return fr
}

// samePixels compares a picture with what it should hold.
func samePixels(t *testing.T, im *Image, w, h int, want func(i int) float64, tolerance float64) {
	t.Helper()
	if im.W != w || im.H != h {
		t.Fatalf("picture of %d x %d, want %d x %d", im.W, im.H, w, h)
	}
	for i := range w * h {
		if got := float64(im.at(i)); math.IsNaN(got) || math.Abs(got-want(i)) > tolerance {
			t.Fatalf("pixel %d, %d is %g, want %g", i%w, i/w, got, want(i))
		}
	}
}

// refused checks that data is refused with an error of the kind and the words.
func refused(t *testing.T, data []byte, kind error, words ...string) {
	t.Helper()
	fr, err := Decode(bytes.Clone(data), "x", Options{})
	if err == nil {
		t.Fatalf("read as %s of %d x %d, want an error", fr.Format, fr.Image.W, fr.Image.H)
	}
	if kind != nil && !isKind(err, kind) {
		t.Errorf("error %q is not of kind %q", err, kind)
	}
	for _, w := range words {
		if !strings.Contains(err.Error(), w) {
			t.Errorf("error %q does not say %q", err, w)
		}
	}
}

// shared returns a file of the shared test data, or skips.
func shared(t testing.TB, parts ...string) string {
	t.Helper()
	p := filepath.Join(append([]string{"..", "..", "..", "shared"}, parts...)...)
	if _, err := os.Stat(p); err != nil {
		t.Skipf("no shared test data: %v", err)
	}
	return p
}

// testFile reads a file of testdata.
func testFile(t testing.TB, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// hasNote reports whether one of a frame's notes holds the words.
func hasNote(fr *Frame, words string) bool {
	return strings.Contains(strings.Join(fr.Notes, "\n"), words)
}
