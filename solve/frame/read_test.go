package frame

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestNotAPicture(t *testing.T) {
	dir := t.TempDir()
	_, err := Read(context.Background(), filepath.Join(dir, "missing.fits"), Options{})
	if !errors.Is(err, fs.ErrNotExist) || !strings.Contains(err.Error(), "missing.fits") || strings.Count(err.Error(), "missing.fits") != 1 {
		t.Errorf("missing file: %v", err)
	}
	if _, err := Read(context.Background(), dir, Options{}); !errors.Is(err, ErrFormat) || !strings.Contains(err.Error(), "directory") {
		t.Errorf("directory: %v", err)
	}
	for name, content := range map[string]string{"empty": "", "short": "S", "zip": "PK\x03\x04 and more of it", "text": "once upon a time\n"} {
		p := filepath.Join(dir, name)
		if err := os.WriteFile(p, []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
		if _, err := Read(context.Background(), p, Options{}); !errors.Is(err, ErrFormat) {
			t.Errorf("%s: %v, want %v", name, err, ErrFormat)
		}
	}
}

// A file read from disk and from memory give the same; memory may be used up.
func TestReadAndDecode(t *testing.T) {
	if testing.Short() {
		t.Skip("slow, and nothing runs beside it")
	}
	dir := t.TempDir()
	const w, h = 1300, 900 // read in parallel pieces
	v := sky(w, h, 61)
	for name, data := range map[string][]byte{
		"x.fits": fitsFile(stored16(v), append(imageCards(16, w, h), "BZERO   = 32768")...),
		"x.png":  encodePNG(pictures(700, 500)["grey 16"]),
		"x.tif":  testFile(t, "u16-lzw-tiles.tif"),
		"x.fz":   testFile(t, "u16-rice.fits"),
	} {
		p := filepath.Join(dir, name)
		if err := os.WriteFile(p, data, 0o644); err != nil {
			t.Fatal(err)
		}
		disk, err := Read(context.Background(), p, Options{})
		if err != nil {
			t.Fatal(err)
		}
		mem, err := Decode(data, name, Options{})
		if err != nil {
			t.Fatal(err)
		}
		samePixels(t, &mem.Image, disk.Image.W, disk.Image.H, func(i int) float64 { return float64(disk.Image.at(i)) }, 0)
		if mem.Hash != disk.Hash {
			t.Errorf("%s: hash %x from memory, %x from disk", name, mem.Hash, disk.Hash)
		}
	}
}

func TestHash(t *testing.T) {
	if testing.Short() {
		t.Skip("slow, and nothing runs beside it")
	}
	const w, h = 1300, 900
	v := sky(w, h, 62)
	file := func(v []uint16, cards ...string) uint64 {
		return mustDecode(t, fitsFile(stored16(v), append(append(imageCards(16, w, h), "BZERO   = 32768"), cards...)...), "x", Options{}).Hash
	}
	first := file(v)
	if got := file(v, "DATE-OBS= '2026-11-25T12:40:00'"); got != first {
		t.Error("the same pixels under another header hash differently")
	}
	if got := file(sky(w, h, 63)); got == first {
		t.Error("another picture hashes the same")
	}
	a := mustDecode(t, []byte("x,y,flux\n1,2,3\n"), "x", Options{}).Hash
	b := mustDecode(t, []byte("x,y,flux\n1,2,4\n"), "x", Options{}).Hash
	if a == b {
		t.Error("two star lists hash the same")
	}
}

func TestOneImageFormOnly(t *testing.T) {
	for name, im := range map[string]Image{
		"nothing": {W: 2, H: 2}, "two": {W: 1, H: 1, U8: []uint8{1}, U16: []uint16{1}}, "short": {W: 2, H: 2, U8: []uint8{1}},
		"negative": {W: -1, H: -1, U8: []uint8{1}},
	} {
		if im.check() == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}

func TestSwapWords(t *testing.T) {
	for _, n := range []int{0, 1, 2, 3, 4, 5, 17, 64} {
		for skip := range 4 {
			w := make([]uint16, n+skip)
			want := make([]uint16, n+skip)
			high := false
			for i := range w {
				w[i] = uint16(i*40503 + 7)
				want[i] = w[i]
				if i >= skip {
					want[i] = (w[i]<<8 | w[i]>>8) ^ 0x8000
					if !hostLittle {
						want[i] = w[i] ^ 0x8000
					}
					high = high || want[i] >= 0x8000
				}
			}
			if got := swapWords(w[skip:], 0x8000); got != high {
				t.Errorf("%d words: high bit %v, want %v", n, got, high)
			}
			for i := range w {
				if w[i] != want[i] {
					t.Fatalf("%d words, %d skipped: word %d is %#x, want %#x", n, skip, i, w[i], want[i])
				}
			}
		}
	}
}

// A pipe, a device or a folder in the place of a photograph is refused at once.
func TestFrameThatIsNoFile(t *testing.T) {
	dir := t.TempDir()
	pipe := filepath.Join(dir, "a.fits")
	if err := mkfifo(pipe); err != nil {
		t.Skip(err)
	}
	for _, path := range []string{pipe, os.DevNull, dir} {
		if _, err := Read(context.Background(), path, Options{}); !errors.Is(err, ErrFormat) {
			t.Errorf("%s: %v, want %v", path, err, ErrFormat)
		}
	}
}
