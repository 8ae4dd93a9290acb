package frame

import (
	"bytes"
	"compress/gzip"
	"compress/zlib"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/png"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// cheapJPEG is a lossless JPEG of w x h pixels of n colours, all alike, whose code
// takes one bit a sample.
func cheapJPEG(w, h, n int) []byte {
	out := []byte{0xff, 0xd8, 0xff, 0xc3}
	out = binary.BigEndian.AppendUint16(out, uint16(8+3*n))
	out = append(out, 16, byte(h>>8), byte(h), byte(w>>8), byte(w), byte(n))
	for c := range n {
		out = append(out, byte(c), 0x11, 0)
	}
	out = append(out, 0xff, 0xc4, 0, 2+17+2, 0, 2) // two codes of one bit
	out = append(out, make([]byte, 15)...)
	out = append(out, 0, 1, 0xff, 0xda, 0, byte(6+2*n), byte(n))
	for c := range n {
		out = append(out, byte(c), 0)
	}
	out = append(out, 1, 0, 0)
	out = append(out, make([]byte, (w*h*n+7)/8)...)
	return append(out, 0xff, 0xd9)
}

// manyTiles is a DNG of side x side tiles of one pixel each, all of which are the
// same n bytes of piece.
func manyTiles(side, packing int, piece []byte) []byte {
	main, raw := dng(false, side, side, 16)
	raw.short(tagCompression, packing).long(tagTileWidth, 1).long(tagTileHeight, 1)
	thumb := make([]byte, 256)
	main.strips(8, false, thumb)
	off, n := make([]int, side*side), make([]int, side*side)
	for i := range off {
		off[i], n[i] = 8+len(thumb), len(piece)
	}
	raw.long(tagTileOffsets, off...).long(tagTileCounts, n...)
	return main.bytes(append(thumb, piece...))
}

// manyRice is a picture of side x side tiles of one pixel, each of which claims the
// whole heap of n bytes.
func manyRice(side, n int) []byte {
	rows := make([]byte, side*side*8)
	for i := range side * side {
		binary.BigEndian.PutUint32(rows[8*i:], uint32(n))
	}
	cards := []string{"XTENSION= 'BINTABLE'", "BITPIX  = 8", "NAXIS   = 2", "NAXIS1  = 8", fmt.Sprintf("NAXIS2  = %d", side*side),
		fmt.Sprintf("PCOUNT  = %d", n), "GCOUNT  = 1", "TFIELDS = 1", "TTYPE1  = 'COMPRESSED_DATA'", "TFORM1  = '1PB'", "ZIMAGE  = T", "ZCMPTYPE= 'RICE_1'",
		"ZBITPIX = 16", "ZNAXIS  = 2", fmt.Sprintf("ZNAXIS1 = %d", side), fmt.Sprintf("ZNAXIS2 = %d", side), "ZTILE1  = 1", "ZTILE2  = 1", "ZNAME1  = 'BYTEPIX'", "ZVAL1   = 2"}
	head := append(fitsHeader("SIMPLE  = T", "BITPIX  = 8", "NAXIS   = 0"), fitsHeader(cards...)...)
	return append(head, pad(append(rows, make([]byte, n)...), 0)...)
}

// TestTilesThatLie: tiles of one pixel each of which unpacks to a row of 65535 x 4
// samples, or claims megabytes of the file. The work is bounded by the pixels and
// the bytes that there are; without the bound each of these would be read.
func TestTilesThatLie(t *testing.T) {
	refused(t, manyTiles(48, packJPEG, cheapJPEG(65535, 1, 4)), ErrTooLarge, "unpack to far more")
	refused(t, manyTiles(48, packJPEG, append(cheapJPEG(2, 2, 1), make([]byte, 1<<20)...)), ErrTooLarge, "unpack to far more")
	refused(t, manyRice(48, 1<<20), ErrTooLarge, "unpack to far more")
	// The same with honest claims is read.
	if fr := mustDecode(t, manyTiles(48, packJPEG, cheapJPEG(1, 1, 1)), "x", Options{}); fr.Image.W != 48 {
		t.Errorf("%d wide, want 48", fr.Image.W)
	}
	if fr := mustDecode(t, manyRice(48, 16), "x", Options{}); fr.Image.W != 48 {
		t.Errorf("%d wide, want 48", fr.Image.W)
	}
}

// interlaced writes a picture by Adam7 (ISO/IEC 15948, section 8.2), without
// filters; at writes the bits of a pixel into the row of a pass.
func interlaced(w, h, depth, colour int, palette []byte, at func(x, y, i int, row []byte)) []byte {
	var rows bytes.Buffer
	channels := [7]int{1, 0, 3, 1, 2, 0, 4}[colour]
	for _, p := range [][4]int{{0, 0, 8, 8}, {4, 0, 8, 8}, {0, 4, 4, 8}, {2, 0, 4, 4}, {0, 2, 2, 4}, {1, 0, 2, 2}, {0, 1, 1, 2}} {
		n := (w - p[0] + p[2] - 1) / p[2]
		for y := p[1]; y < h && n > 0; y += p[3] {
			row := make([]byte, (n*channels*depth+7)/8)
			for i := range n {
				at(p[0]+i*p[2], y, i, row)
			}
			rows.WriteByte(0)
			rows.Write(row)
		}
	}
	var z bytes.Buffer
	zw := zlib.NewWriter(&z)
	zw.Write(rows.Bytes())
	zw.Close()
	head := binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, uint32(w)), uint32(h))
	parts := [][]byte{[]byte("\x89PNG\r\n\x1a\n"), pngChunk("IHDR", append(head, byte(depth), byte(colour), 0, 0, 1))}
	if palette != nil {
		parts = append(parts, pngChunk("PLTE", palette))
	}
	return bytes.Join(append(parts, pngChunk("IDAT", z.Bytes()), pngChunk("IEND", nil)), nil)
}

// TestInterlacedPNG: every kind of interlaced PNG against the standard library,
// mixed to one plane as setImage does it.
func TestInterlacedPNG(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	palette := make([]byte, 3*256)
	for i := range palette {
		palette[i] = byte(r.IntN(256))
	}
	for _, k := range [][2]int{{1, 0}, {2, 0}, {4, 0}, {8, 0}, {16, 0}, {8, 2}, {16, 2}, {1, 3}, {2, 3}, {4, 3}, {8, 3}, {8, 6}, {16, 6}} {
		for _, size := range [][2]int{{21, 18}, {1, 1}, {3, 9}, {16, 5}} {
			depth, colour := k[0], k[1]
			bytesEach := depth * [7]int{1, 0, 3, 1, 2, 0, 4}[colour] / 8
			var p []byte
			if colour == 3 {
				p = palette[:3<<depth]
			}
			data := interlaced(size[0], size[1], depth, colour, p, func(_, _, i int, row []byte) {
				if depth < 8 {
					row[i*depth/8] |= byte(r.IntN(1<<depth)) << (8 - depth - i*depth%8)
					return
				}
				for b := range bytesEach {
					row[i*bytesEach+b] = byte(r.IntN(256))
				}
				if colour == 6 { // opaque: the library's alpha does not count here
					copy(row[i*bytesEach+bytesEach*3/4:(i+1)*bytesEach], []byte{255, 255})
				}
			})
			m, err := png.Decode(bytes.NewReader(data))
			if err != nil {
				t.Fatal(err)
			}
			var want Image
			setImage(&want, m)
			fr := mustDecode(t, data, "x", Options{})
			samePixels(t, &fr.Image, want.W, want.H, func(i int) float64 { return float64(want.at(i)) }, 0)
		}
	}
}

// TestMemoryOfReaders: what is allocated in all, which the peak cannot exceed, keeps
// to three times the plane.
func TestMemoryOfReaders(t *testing.T) {
	if testing.Short() {
		t.Skip("slow under the race detector; nothing in it runs beside anything")
	}
	const w, h = 3000, 2000
	rgba := interlaced(w, h, 16, 6, nil, func(int, int, int, []byte) {})
	grey := image.NewPaletted(image.Rect(0, 0, w, h), greys())
	for name, c := range map[string]struct {
		data  []byte
		plane uint64
	}{"interlaced RGBA of 16 bits": {rgba, 2 * w * h}, "palette": {encodePNG(grey), w * h}} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		mustDecode(t, c.data, name, Options{})
		runtime.ReadMemStats(&after)
		const small = 4 << 20
		if used := after.TotalAlloc - before.TotalAlloc; used > 3*c.plane+small+2*uint64(len(c.data)) {
			t.Errorf("%s: %d MB allocated for a plane of %d MB", name, used>>20, c.plane>>20)
		}
	}
}

// TestNoMemory: a picture whose plane does not fit in half of the free memory is
// refused with both figures.
func TestNoMemory(t *testing.T) {
	defer func() { freeMemory = systemFree }()
	freeMemory = func() (int64, bool) { return 5 << 20, true }
	main, raw := dng(false, 2048, 1024, 16)
	v := make([]uint16, 2048*1024)
	for name, data := range map[string][]byte{
		"FITS": fitsFile(v, append(imageCards(16, 2048, 1024), "BZERO   = 32768")...), "PNG": encodePNG(image.NewGray16(image.Rect(0, 0, 2048, 1024))),
		"JPEG": encodeJPEG(image.NewGray(image.Rect(0, 0, 4096, 1024))), "DNG": dngFile(main, raw, false, words16(raw.order, v)),
		"FITS, gzip": gzipped(fitsFile(v, append(imageCards(16, 2048, 1024), "BZERO   = 32768")...)),
	} {
		_, err := Decode(data, name, Options{})
		if !errors.Is(err, ErrTooLarge) || !strings.Contains(err.Error(), "takes 4 MB, half of the free memory is 2 MB") {
			t.Errorf("%s: %v, want both figures", name, err)
		}
	}
	freeMemory = func() (int64, bool) { return 0, false } // not known
	mustDecode(t, encodePNG(image.NewGray16(image.Rect(0, 0, 64, 64))), "x", Options{})
}

func TestSystemFree(t *testing.T) {
	free, ok := systemFree()
	if runtime.GOOS == "linux" && !ok {
		t.Skip("no /proc here")
	}
	if ok && (free < 1<<20 || free > 1<<50) {
		t.Errorf("%d bytes free", free)
	}
}

// TestReadHearsTheContext: Read returns while a decoder is still at work, and a
// reader stops at the next piece of the file.
func TestReadHearsTheContext(t *testing.T) {
	why := errors.New("enough")
	ctx, end := context.WithCancelCause(context.Background())
	release := make(chan struct{})
	defer close(release)
	_, err := atOnce(ctx, func() (*Frame, error) {
		end(why)
		<-release
		return &Frame{}, nil
	})
	if !errors.Is(err, why) {
		t.Errorf("a decoder at work: %v, want the cause of the end", err)
	}
	path := filepath.Join(t.TempDir(), "a.fits")
	if err := os.WriteFile(path, fitsFile(make([]uint8, 400), imageCards(8, 20, 20)...), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Read(ctx, path, Options{}); !errors.Is(err, why) {
		t.Errorf("Read: %v, want the cause of the end", err)
	}
	if _, err := read(ctx, path, Options{}); !errors.Is(err, why) {
		t.Errorf("a reader: %v, want the cause of the end", err)
	}
}

// manyScans is a grey progressive JPEG of side x side pixels whose luminance comes
// in one scan and then in many that say nothing, of some bytes each.
func manyScans(side, scans int) []byte {
	seg := func(marker byte, body ...byte) []byte {
		return append([]byte{0xff, marker, byte((len(body) + 2) >> 8), byte(len(body) + 2)}, body...)
	}
	code := func(class, value byte) []byte { return append(append([]byte{class, 1}, make([]byte, 15)...), value) }
	blocks := (side / 8) * (side / 8)
	out := [][]byte{{0xff, 0xd8}, seg(0xdb, append([]byte{0}, bytes.Repeat([]byte{1}, 64)...)...),
		seg(0xc2, 8, byte(side>>8), byte(side), byte(side>>8), byte(side), 1, 1, 0x11, 0),
		seg(0xc4, code(0, 0)...), seg(0xc4, code(0x10, 0xe0)...), // a difference of 0 bits; 16384 blocks without coefficients
		seg(0xda, 1, 1, 0, 0, 0, 0), make([]byte, blocks/8+1)}
	for range scans {
		out = append(out, seg(0xda, 1, 1, 0, 1, 63, 0x10), make([]byte, blocks/16384*15/8+4))
	}
	return bytes.Join(append(out, []byte{0xff, 0xd9}), nil)
}

// TestManyScans: a progressive picture costs time and memory in proportion to its
// pixels, however many scans it has.
func TestManyScans(t *testing.T) {
	if testing.Short() {
		t.Skip("slow, and nothing runs beside it")
	}
	refused(t, manyScans(2048, 95), ErrTooLarge, "unpack to far more")
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	fr := mustDecode(t, manyScans(2048, 8), "x", Options{})
	runtime.ReadMemStats(&after)
	if fr.Image.W != 2048 || fr.Image.U8[5] != 128 {
		t.Errorf("%d wide, pixels of %d, want 2048 of 128", fr.Image.W, fr.Image.U8[5])
	}
	if used := after.TotalAlloc - before.TotalAlloc; used > 3*2048*2048+4<<20 {
		t.Errorf("%d MB allocated for a plane of 4 MB", used>>20)
	}
}

// TestGzipMemory: of a packed cube only the plane that is used is unpacked, and a
// file of several pictures no further than the memory rule allows.
func TestGzipMemory(t *testing.T) {
	if testing.Short() {
		t.Skip("slow, and nothing runs beside it")
	}
	cube := gzipped(fitsFile(make([]uint8, 400*500*200), imageCards(8, 500, 400, 200)...))
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	fr := mustDecode(t, cube, "x", Options{})
	runtime.ReadMemStats(&after)
	if fr.Image.W != 500 || fr.Image.H != 400 {
		t.Errorf("%d x %d, want the first plane of 500 x 400", fr.Image.W, fr.Image.H)
	}
	if used := after.TotalAlloc - before.TotalAlloc; used > 8<<20 {
		t.Errorf("%d MB allocated for the first plane of 200 kB", used>>20)
	}
	empty := fitsHeader("SIMPLE  = T", "BITPIX  = 8", "NAXIS   = 0")
	table := fitsHeader("XTENSION= 'BINTABLE'", "BITPIX  = 8", "NAXIS   = 2", "NAXIS1  = 1000", "NAXIS2  = 200000", "PCOUNT  = 0", "GCOUNT  = 1", "TFIELDS = 0")
	var z bytes.Buffer
	zw := gzip.NewWriter(&z)
	zw.Write(append(empty, table...))
	zw.Write(make([]byte, 200_000_000))
	zw.Close()
	refused(t, z.Bytes(), ErrTooLarge, "unpack it first")
}
