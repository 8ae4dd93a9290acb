package frame

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/binary"
	"fmt"
	"image"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"runtime/metrics"
	"strings"
	"testing"
	"time"
)

// Limits that every frame keeps, whatever is in it; -long holds the time against
// it, too.
const (
	mostCPU    = 2 * time.Second
	mostMemory = roomMost // besides three times the plane of pixels
)

// hostileKind makes files of one kind.
type hostileKind struct {
	name string
	make func(t *testing.T, r *rand.Rand) []byte
}

// size is an edge of a picture, from lo to hi, as many small as large.
func size(r *rand.Rand, lo, hi int) int {
	for hi > lo*2 && r.IntN(2) == 0 {
		hi /= 2
	}
	return lo + r.IntN(hi-lo+1)
}

// hostileKinds are the ways in which files have stalled readers, or could.
func hostileKinds() []hostileKind {
	kinds := []hostileKind{
		{"tiles that unpack to rows", func(_ *testing.T, r *rand.Rand) []byte {
			return manyTiles(size(r, 16, 256), packJPEG, cheapJPEG(65535, 1+r.IntN(3), 1+r.IntN(4)))
		}},
		{"tiles that claim megabytes", func(_ *testing.T, r *rand.Rand) []byte {
			return manyTiles(size(r, 16, 256), packJPEG, append(cheapJPEG(1+r.IntN(4), 2, 1), make([]byte, size(r, 1<<10, 8<<20))...))
		}},
		{"tiles of other packings", func(_ *testing.T, r *rand.Rand) []byte {
			packing := []int{packDeflate, packBits, packLZW}[r.IntN(3)]
			return manyTiles(size(r, 16, 200), packing, packTIFF(make([]byte, size(r, 1<<10, 4<<20)), packing))
		}},
		{"tiles that claim the heap", func(_ *testing.T, r *rand.Rand) []byte { return manyRice(size(r, 16, 512), size(r, 16, 4<<20)) }},
		{"interlaced pictures of little", func(_ *testing.T, r *rand.Rand) []byte {
			k := [][2]int{{16, 6}, {8, 6}, {16, 2}, {8, 0}, {1, 0}}[r.IntN(5)]
			return interlaced(size(r, 500, 4000), size(r, 500, 4000), k[0], k[1], nil, func(int, int, int, []byte) {})
		}},
		{"scans that say nothing", func(_ *testing.T, r *rand.Rand) []byte { return manyScans(size(r, 8, 400)*8, 1+r.IntN(99)) }},
		{"gzip of nothing", func(_ *testing.T, r *rand.Rand) []byte {
			return zeros(size(r, 1<<20, 600<<20), func(w *gzip.Writer) {
				w.Write(fitsHeader(imageCards(8, size(r, 100, 20000), size(r, 100, 20000))...))
			})
		}},
		{"gzip within gzip", func(_ *testing.T, r *rand.Rand) []byte {
			b := zeros(size(r, 1<<20, 64<<20), func(*gzip.Writer) {})
			for range 1 + r.IntN(4) {
				b = gzipped(b)
			}
			return b
		}},
		{"headers without end", func(_ *testing.T, r *rand.Rand) []byte {
			head := "SIMPLE  =                    T" + strings.Repeat(" ", 50)
			return []byte(head + strings.Repeat("COMMENT x"+strings.Repeat(" ", 71), size(r, 100, 400000)))
		}},
		{"extensions without end", func(_ *testing.T, r *rand.Rand) []byte {
			out := fitsHeader("SIMPLE  = T", "BITPIX  = 8", "NAXIS   = 0")
			return append(out, bytes.Repeat(fitsHeader("XTENSION= 'IMAGE'", "BITPIX  = 8", "NAXIS   = 0"), size(r, 100, 10000))...)
		}},
		{"sizes beyond the file", func(_ *testing.T, r *rand.Rand) []byte {
			return fitsHeader(imageCards([]int{8, 16, 32, -32, -64}[r.IntN(5)], size(r, 1, 1<<31-1), size(r, 1, 1<<31-1))...)
		}},
		{"directories in a ring", func(_ *testing.T, r *rand.Rand) []byte { return ring(r) }},
		{"chunks without end", func(_ *testing.T, r *rand.Rand) []byte {
			b := encodePNG(image.NewGray(image.Rect(0, 0, 64, 64)))
			chunk := pngChunk([]string{"tEXt", "iTXt", "zTXt", "IDAT", "eXIf"}[r.IntN(5)], make([]byte, size(r, 0, 40)))
			return append(append(bytes.Clone(b[:33]), bytes.Repeat(chunk, size(r, 100, 200000))...), b[33:]...)
		}},
		{"markers without end", func(_ *testing.T, r *rand.Rand) []byte {
			b := encodeJPEG(image.NewGray(image.Rect(0, 0, 64, 64)))
			mark := append([]byte{0xff, byte(0xe0 + r.IntN(16)), 0, 8}, make([]byte, 6)...)
			return append(append([]byte{0xff, 0xd8}, bytes.Repeat(mark, size(r, 100, 400000))...), b[2:]...)
		}},
		{"boxes within boxes", func(_ *testing.T, r *rand.Rand) []byte {
			inner := []byte("ftypcrx isom")
			for range size(r, 4, 4000) {
				inner = append(binary.BigEndian.AppendUint32(nil, uint32(len(inner)+8)), append([]byte("moov"), inner...)...)
			}
			return append([]byte{0, 0, 0, 16, 'f', 't', 'y', 'p', 'c', 'r', 'x', ' ', 0, 0, 0, 1}, inner...)
		}},
		{"lists of too many", func(_ *testing.T, r *rand.Rand) []byte {
			return []byte("x,y,flux\n" + strings.Repeat("10,20,30\n", size(r, 1000, 1<<20)))
		}},
		{"a line without end", func(_ *testing.T, r *rand.Rand) []byte {
			return []byte("x,y,flux\n" + strings.Repeat([]string{"1,", "\"", "9", "#"}[r.IntN(4)], size(r, 1<<10, 16<<20)))
		}},
	}
	for _, format := range makerNames {
		kinds = append(kinds, hostileKind{format + " with a lie", func(t *testing.T, r *rand.Rand) []byte {
			return generate(t, format, r.Uint64N(1<<20), uint16(1+r.IntN(1<<16-1)), lies[r.IntN(len(lies))])
		}}, hostileKind{format + ", torn and changed", func(t *testing.T, r *rand.Rand) []byte {
			b := generate(t, format, r.Uint64N(1<<20), 0, 0)
			b = b[:1+r.IntN(len(b))]
			for range r.IntN(9) {
				b[r.IntN(len(b))] = byte(r.IntN(256))
			}
			return b
		}})
	}
	return kinds
}

// zeros is a gzip of what begins it and of n zeros.
func zeros(n int, begin func(*gzip.Writer)) []byte {
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	begin(w)
	empty := make([]byte, 1<<20)
	for ; n > 0; n -= len(empty) {
		w.Write(empty)
	}
	w.Close()
	return b.Bytes()
}

// ring is a TIFF whose directories follow one another for ever, each with as many
// directories below it as its entries say.
func ring(r *rand.Rand) []byte {
	n := size(r, 1, 4000)
	b := []byte{'I', 'I', 42, 0, 8, 0, 0, 0}
	b = binary.LittleEndian.AppendUint16(b, uint16(n))
	for range n {
		b = binary.LittleEndian.AppendUint16(b, []uint16{tagSubIFDs, 0x8769, tagWidth, tagStripOffsets}[r.IntN(4)])
		b = binary.LittleEndian.AppendUint16(b, 4)
		b = binary.LittleEndian.AppendUint32(b, uint32([]int{1, n, 1 << 30}[r.IntN(3)]))
		b = binary.LittleEndian.AppendUint32(b, 8)
	}
	return binary.LittleEndian.AppendUint32(b, 8)
}

// TestHostileFrames reads files of every kind from disk, as the verbs do: 400 with
// -long, else some of each kind. None takes more memory than the rule allows, and
// none more than 2 s of processor time, whether it is read or refused.
func TestHostileFrames(t *testing.T) {
	if testing.Short() {
		t.Skip("slow under the race detector; nothing in it runs beside anything")
	}
	const seed, of, some = 20261128, 400, 20
	kinds := hostileKinds()
	count := some
	if *long {
		count = of
	}
	dir := t.TempDir()
	read, slowest, largest := 0, time.Duration(0), int64(0)
	for i := range count {
		k := kinds[i%len(kinds)]
		name := fmt.Sprintf("seed %d, number %d, %s", seed, i, k.name)
		path := filepath.Join(dir, "x")
		if err := os.WriteFile(path, k.make(t, rand.New(rand.NewPCG(seed, uint64(i)))), 0o644); err != nil {
			t.Fatal(err)
		}
		used, took, plane, err := readHostile(path)
		if err == nil {
			read++
		} else if strings.Contains(err.Error(), "reader failed") {
			t.Errorf("%s: %v", name, err)
		}
		if used > 3*plane+mostMemory {
			t.Errorf("%s: %d MB allocated for a plane of %d MB", name, used>>20, plane>>20)
		}
		if *long && took > mostCPU {
			t.Errorf("%s: %v of processor time (%v)", name, took, err)
		}
		slowest, largest = max(slowest, took), max(largest, used-3*plane)
	}
	t.Logf("%d files, %d of them read; at most %v of processor time and %d MB besides three times the plane", count, read, slowest, largest>>20)
	if read == 0 || read == count {
		t.Errorf("%d of %d were read: the files are too coarse or harmless", read, count)
	}
}

// readHostile reads a file; used is all that was allocated, which the peak cannot
// exceed, or the peak where that is much; plane is what the pixels take.
func readHostile(path string) (used int64, took time.Duration, plane int64, err error) {
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	start := cpu()
	fr, err := Read(context.Background(), path, Options{})
	took = cpu() - start
	runtime.ReadMemStats(&after)
	if err == nil {
		plane = int64(len(fr.Image.raw()))
	}
	if used = int64(after.TotalAlloc - before.TotalAlloc); used > 3*plane+mostMemory {
		used = peak(func() { _, _ = Read(context.Background(), path, Options{}) })
	}
	return used, took, plane, err
}

// peak is the most that the heap grows by, garbage that waits to be collected
// among it, while something is done.
func peak(do func()) int64 {
	heap := []metrics.Sample{{Name: "/memory/classes/heap/objects:bytes"}}
	now := func() int64 { metrics.Read(heap); return int64(heap[0].Value.Uint64()) }
	runtime.GC()
	before, most := now(), int64(0)
	done, stopped := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(stopped)
		for {
			select {
			case <-done:
				return
			case <-time.After(time.Millisecond):
				most = max(most, now()-before)
			}
		}
	}()
	do()
	close(done)
	<-stopped
	return most
}
