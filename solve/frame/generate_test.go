package frame

import (
	"bytes"
	"compress/lzw"
	"compress/zlib"
	"encoding/binary"
	"fmt"
	"io"
	"math/rand/v2"
	"runtime"
	"strings"
	"testing"
)

// Files that are right but for one lie: each format's maker draws a file from the
// dice, and changes one number of it where it is asked to. What is wrong then lies
// behind everything that a random change breaks first.

// dice are the choices of one file.
type dice struct {
	*rand.Rand
	lie   int   // number of the field that lies, counted as fields are written; 0 none
	value int64 // what it says
	at    int   // fields so far
}

// one picks one of some numbers.
func (d *dice) one(v ...int) int { return v[d.IntN(len(v))] }

// field returns a number of the file, or the lie when it is this one's turn.
func (d *dice) field(v int) int {
	d.at++
	if d.at == d.lie {
		return int(d.value)
	}
	return v
}

// bytes returns some bytes, one of which the lie may change.
func (d *dice) bytes(b []byte) []byte {
	d.at++
	if d.at == d.lie && len(b) > 0 {
		b = bytes.Clone(b)
		k := uint64(d.value)
		b[k%uint64(len(b))] ^= byte(1 + k>>32%255)
	}
	return b
}

// makers write a file of each format.
var makers = map[string]func(*dice) []byte{
	"FITS": makeFITS, "FITS tiles": makeTiles, "FITS gzip": func(d *dice) []byte { return d.bytes(gzipped(makeFITS(d))) },
	"TIFF": makeTIFF, "DNG": makeDNG, "PNG": makePNG, "JPEG": makeJPEG, "BMFF": makeBMFF, "star list": makeStarList,
}

// makerNames are their names in a fixed order.
var makerNames = []string{"FITS", "FITS tiles", "FITS gzip", "TIFF", "DNG", "PNG", "JPEG", "BMFF", "star list"}

func (d *dice) noise(n, top int) []uint16 {
	v := make([]uint16, n)
	for i := range v {
		v[i] = uint16(d.IntN(top))
	}
	return v
}

func makeFITS(d *dice) []byte {
	bits := d.one(8, 16, 32, 64, -32, -64)
	w, h := 16+d.IntN(30), 16+d.IntN(30)
	planes := d.one(1, 1, 3)
	cards := []string{"SIMPLE  = T", fmt.Sprintf("BITPIX  = %d", d.field(bits)), fmt.Sprintf("NAXIS   = %d", d.field(d.one(2, 3)+planes/3)),
		fmt.Sprintf("NAXIS1  = %d", d.field(w)), fmt.Sprintf("NAXIS2  = %d", d.field(h)), fmt.Sprintf("NAXIS3  = %d", d.field(planes)), "NAXIS4  = 1",
		fmt.Sprintf("PCOUNT  = %d", d.field(0)), fmt.Sprintf("GCOUNT  = %d", d.field(1)), fmt.Sprintf("BZERO   = %d", d.field(d.one(0, 32768))),
		fmt.Sprintf("BSCALE  = %d", d.field(1)), fmt.Sprintf("BLANK   = %d", d.field(7)), "BAYERPAT= 'RGGB'", fmt.Sprintf("XBAYROFF= %d", d.field(0)),
		fmt.Sprintf("EXPTIME = %d", d.field(5)), "DATE-OBS= '2026-11-25T12:40:00'", fmt.Sprintf("SITELAT = %d", d.field(-31)), fmt.Sprintf("SITELONG= %d", d.field(121))}
	data := make([]byte, w*h*planes*max(bits, -bits)/8)
	for i := range data {
		data[i] = byte(d.IntN(64))
	}
	return append(fitsHeader(cards...), pad(d.bytes(data), 0)...)
}

func makeTiles(d *dice) []byte {
	w, h, tw, th := 16+d.IntN(40), 16+d.IntN(40), 1+d.IntN(40), 1+d.IntN(40)
	tw, th = min(tw, w), min(th, h)
	size, method := d.one(1, 2, 4), []string{"RICE_1", "GZIP_1", "GZIP_2"}[d.IntN(3)]
	block := d.one(16, 32)
	rows, heap, n := []byte(nil), []byte(nil), 0
	for y := 0; y < h; y += th {
		for x := 0; x < w; x += tw {
			v := make([]int32, min(tw, w-x)*min(th, h-y))
			raw := make([]byte, len(v)*size)
			for i := range v {
				v[i] = int32(d.IntN(100))
				raw[i*size+size-1] = byte(v[i])
				if method == "GZIP_2" {
					raw[i*size+size-1] = 0
				}
			}
			var packed []byte
			if method == "RICE_1" {
				packed = rice(v, size, block)
			} else {
				packed = gzipped(raw)
			}
			rows = binary.BigEndian.AppendUint32(rows, uint32(d.field(len(packed))))
			rows = binary.BigEndian.AppendUint32(rows, uint32(d.field(len(heap))))
			heap = append(heap, d.bytes(packed)...)
			n++
		}
	}
	cards := []string{"XTENSION= 'BINTABLE'", "BITPIX  = 8", "NAXIS   = 2", fmt.Sprintf("NAXIS1  = %d", d.field(8)), fmt.Sprintf("NAXIS2  = %d", d.field(n)),
		fmt.Sprintf("PCOUNT  = %d", d.field(len(heap))), "GCOUNT  = 1", fmt.Sprintf("TFIELDS = %d", d.field(1)), "TTYPE1  = 'COMPRESSED_DATA'",
		fmt.Sprintf("TFORM1  = '%dPB'", d.field(1)), "ZIMAGE  = T", fmt.Sprintf("ZCMPTYPE= '%s'", method), fmt.Sprintf("ZBITPIX = %d", d.field(8*size)),
		fmt.Sprintf("ZNAXIS  = %d", d.field(2)), fmt.Sprintf("ZNAXIS1 = %d", d.field(w)), fmt.Sprintf("ZNAXIS2 = %d", d.field(h)),
		fmt.Sprintf("ZTILE1  = %d", d.field(tw)), fmt.Sprintf("ZTILE2  = %d", d.field(th)), "ZNAME1  = 'BLOCKSIZE'", fmt.Sprintf("ZVAL1   = %d", d.field(block)),
		"ZNAME2  = 'BYTEPIX'", fmt.Sprintf("ZVAL2   = %d", d.field(size)), fmt.Sprintf("THEAP   = %d", d.field(len(rows))), fmt.Sprintf("ZBLANK  = %d", d.field(-5))}
	head := append(fitsHeader("SIMPLE  = T", "BITPIX  = 8", "NAXIS   = 0"), fitsHeader(cards...)...)
	return append(head, pad(append(rows, heap...), 0)...)
}

// packTIFF packs a strip or tile.
func packTIFF(b []byte, packing int) []byte {
	var out bytes.Buffer
	var w io.WriteCloser
	switch packing {
	case packDeflate:
		w = zlib.NewWriter(&out)
	case packBits:
		for len(b) > 0 {
			n := min(128, len(b))
			out.WriteByte(byte(n - 1))
			out.Write(b[:n])
			b = b[n:]
		}
		return out.Bytes()
	case packLZW: // early change makes no difference while codes stay short
		w = lzw.NewWriter(&out, lzw.MSB, 8)
	default:
		return b
	}
	w.Write(b)
	w.Close()
	return out.Bytes()
}

func makeTIFF(d *dice) []byte {
	big, w, h := d.IntN(2) == 1, 16+d.IntN(30), 16+d.IntN(30)
	bits, format := 8, formatUint
	switch d.IntN(5) {
	case 1:
		bits = 16
	case 2:
		bits = 12
	case 3:
		bits, format = 32, formatFloat
	case 4:
		bits, format = 16, formatInt
	}
	samples := d.one(1, 1, 3, 4)
	packing := d.one(packNone, packDeflate, packBits)
	planar := samples > 1 && d.IntN(2) == 1
	predictor := 1
	if bits%8 == 0 && packing == packDeflate && format == formatUint {
		predictor = d.one(1, 2)
	}
	tiles, tw, th := d.IntN(2) == 1, w, 1+d.IntN(h)
	if tiles {
		tw, th = d.one(8, 16), d.one(8, 16)
	}
	perPixel, layers := samples, 1
	if planar {
		perPixel, layers = 1, samples
	}
	var pieces [][]byte
	for range layers {
		for y := 0; y < h; y += th {
			for x := 0; x < w; x += tw {
				rows := th
				if !tiles {
					rows = min(th, h-y)
				}
				b := make([]byte, (tw*perPixel*bits+7)/8*rows)
				for i := range b {
					b[i] = byte(d.IntN(60))
				}
				pieces = append(pieces, d.bytes(packTIFF(b, packing)))
			}
		}
	}
	dir := newTIFF(big)
	off, n := []int{}, []int{}
	var px []byte
	for _, p := range pieces {
		off, n = append(off, d.field(8+len(px))), append(n, d.field(len(p)))
		px = append(px, p...)
	}
	if tiles {
		dir.long(tagTileWidth, d.field(tw)).long(tagTileHeight, d.field(th)).long(tagTileOffsets, off...).long(tagTileCounts, n...)
	} else {
		dir.long(tagRowsPerStrip, d.field(th)).long(tagStripOffsets, off...).long(tagStripCounts, n...)
	}
	photo, plan := blackIsZero, 1
	if samples > 2 {
		photo = photoRGB
	}
	if planar {
		plan = 2
	}
	each := make([]int, samples)
	for i := range each {
		each[i] = bits
	}
	each[0] = d.field(bits)
	dir.long(tagWidth, d.field(w)).long(tagHeight, d.field(h)).short(tagBits, each...).short(tagCompression, d.field(packing)).
		short(tagPhotometric, d.field(photo)).short(tagSamples, d.field(samples)).short(tagPlanar, d.field(plan)).short(tagPredictor, d.field(predictor)).
		short(tagSampleFormat, d.field(format))
	return dir.bytes(px)
}

func makeDNG(d *dice) []byte {
	w, h := 16+2*d.IntN(12), 16+2*d.IntN(12)
	main, raw := dng(d.IntN(2) == 1, w, h, 16)
	v := d.noise(w*h, 1<<12)
	raw.long(tagWidth, d.field(w)).long(tagHeight, d.field(h)).short(tagBits, d.field(16)).long(tagActiveArea, d.field(0), d.field(0), d.field(h), d.field(w)).
		long(tagWhiteLevel, d.field(4095)).short(tagCFADim, d.field(2), d.field(2)).short(tagCFALayout, d.field(1)).short(tagLinearTable, 0, 1, d.field(2), 3)
	tiles := d.IntN(2) == 1
	pieces := [][]byte{losslessJPEG(v, w/2, 2, 14, 1+d.IntN(7))}
	if tiles {
		raw.long(tagTileWidth, d.field(16)).long(tagTileHeight, d.field(16))
		pieces = jpegTiles(v, w, h, 16, d.one(1, 2))
	}
	raw.short(tagCompression, d.field(packJPEG))
	for i := range pieces {
		pieces[i] = d.bytes(pieces[i])
		head := bytes.Clone(pieces[i][:min(70, len(pieces[i]))]) // headers and code, more often than bits
		pieces[i] = append(d.bytes(head), pieces[i][len(head):]...)
	}
	data := dngFile(main, raw, tiles, pieces...)
	if d.at++; d.at == d.lie { // one of the offsets or counts, wherever they are
		at := 264 + int(uint64(d.value)%uint64(len(data)-268))
		binary.LittleEndian.PutUint32(data[at:], uint32(d.value>>16))
	}
	return data
}

func makePNG(d *dice) []byte {
	kinds := [][2]int{{1, 0}, {2, 0}, {4, 0}, {8, 0}, {16, 0}, {8, 2}, {16, 2}, {1, 3}, {2, 3}, {4, 3}, {8, 3}, {8, 4}, {16, 4}, {8, 6}, {16, 6}}
	k := kinds[d.IntN(len(kinds))]
	w, h := 16+d.IntN(30), 16+d.IntN(30)
	lace := d.IntN(2)
	passes := pngHeader{w: int64(w), h: int64(h), interlace: lace}.passes()
	channels := [7]int{1, 0, 3, 1, 2, 0, 4}[k[1]]
	var rows []byte
	for _, p := range passes {
		for range p.h {
			rows = append(rows, byte(d.field(d.IntN(5))))
			for range (p.w*channels*k[0] + 7) / 8 {
				rows = append(rows, byte(d.IntN(256)))
			}
		}
	}
	var z bytes.Buffer
	zw := zlib.NewWriter(&z)
	zw.Write(rows)
	zw.Close()
	head := binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, uint32(d.field(w))), uint32(d.field(h)))
	head = append(head, byte(d.field(k[0])), byte(d.field(k[1])), byte(d.field(0)), byte(d.field(0)), byte(d.field(lace)))
	palette := make([]byte, 3*d.one(1, 4, 256))
	chunks := [][]byte{[]byte("\x89PNG\r\n\x1a\n"), pngChunk("IHDR", head), pngChunk("PLTE", palette)}
	for b := d.bytes(z.Bytes()); len(b) > 0; {
		n := min(len(b), 1+d.IntN(2000))
		chunks = append(chunks, pngChunk("IDAT", b[:n]))
		b = b[n:]
	}
	return bytes.Join(append(chunks, pngChunk("IEND", nil)), nil)
}

func makeJPEG(d *dice) []byte {
	var data []byte
	switch d.IntN(6) {
	case 0:
		data = encodeJPEG(pictures(16+d.IntN(40), 16+d.IntN(40))["rgb 8"])
	case 1:
		data = encodeJPEG(pictures(16+d.IntN(40), 16+d.IntN(40))["grey 8"])
	case 2:
		data = manyScans(64, 1+d.IntN(4))
	default:
		data = bytes.Clone(progressives[d.IntN(len(progressives))])
	}
	// The lie is in a header, whatever its place.
	for at := 2; at+4 <= len(data) && data[at] == 0xff; {
		n := int(binary.BigEndian.Uint16(data[at+2:]))
		for i := at + 2; i < min(at+2+n, len(data)); i++ {
			data[i] = byte(d.field(int(data[i])))
		}
		at += 2 + n
		if data[at-n] == 0 && bytes.IndexByte(data[min(at, len(data)):], 0xff) < 0 {
			break
		}
		for at+1 < len(data) && !(data[at] == 0xff && data[at+1] != 0 && (data[at+1] < 0xd0 || data[at+1] > 0xd8)) {
			at++
		}
	}
	return d.bytes(data)
}

// progressives are the files of another encoder.
var progressives [][]byte

func makeBMFF(d *dice) []byte {
	data := rawBMFF(encodeJPEG(pictures(20, 18)["grey 8"]), encodeJPEG(pictures(17, 16)["grey 8"]))
	words := min(len(data)/4, 220)
	for i := range words {
		if v := binary.BigEndian.Uint32(data[4*i:]); i > 2 {
			binary.BigEndian.PutUint32(data[4*i:], uint32(d.field(int(v))))
		}
	}
	return d.bytes(data)
}

func makeStarList(d *dice) []byte {
	var b strings.Builder
	fmt.Fprintf(&b, "# width=%d, height=%d, exptime=%d\nx,y,flux\n", d.field(100), d.field(90), d.field(5))
	for range 3 + d.IntN(20) {
		fmt.Fprintf(&b, "%d,%d.5,%d\n", d.field(d.IntN(100)), d.field(d.IntN(88)), d.field(d.IntN(1000)))
	}
	return d.bytes([]byte(b.String()))
}

// make writes file number seed of a format; lie is the field that lies, modulo
// their number, 0 none.
func generate(t testing.TB, format string, seed uint64, lie uint16, value int64) []byte {
	if progressives == nil {
		for _, name := range []string{"progressive.jpg", "progressive-420.jpg", "progressive-444-restart.jpg", "progressive-422.jpg", "progressive-grey.jpg"} {
			progressives = append(progressives, testFile(t, name))
		}
	}
	d := &dice{Rand: rand.New(rand.NewPCG(seed, 1))}
	data := makers[format](d)
	if lie == 0 {
		return data
	}
	fields := d.at
	d = &dice{Rand: rand.New(rand.NewPCG(seed, 1)), lie: 1 + int(lie-1)%fields, value: value}
	return makers[format](d)
}

// lies are what a field may say.
var lies = []int64{0, -1, 1, 2, 3, 7, 8, 16, 17, 255, 256, 32767, 65535, 65536, 1 << 20, 1 << 24, 1<<31 - 1, 1 << 31, 1<<32 - 1, 1 << 40, 1<<63 - 1}

// counted counts what is read of a file.
type counted struct {
	*bytes.Reader
	n int64
}

func (c *counted) ReadAt(p []byte, off int64) (int, error) {
	n, err := c.Reader.ReadAt(p, off)
	c.n += int64(n)
	return n, err
}

// keepsBudget decodes a file as from disk and fails when what is read or
// allocated is out of proportion to the file and the picture. It returns whether
// it was decoded.
func keepsBudget(t testing.TB, data []byte) bool {
	t.Helper()
	c := &counted{Reader: bytes.NewReader(data)}
	w := newWork(t.Context(), int64(len(data)))
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	fr, err := decode(&file{name: "x", source: source{r: c, size: int64(len(data)), work: w}}, Options{})
	runtime.ReadMemStats(&after)
	plane := int64(0)
	if err == nil {
		plane = int64(len(fr.Image.raw()))
	}
	if most := int64(workFree) + workPerByte*int64(len(data)) + 16*workPerPixel*plane; err == nil && c.n > most {
		t.Fatalf("%d bytes read of a file of %d with a plane of %d", c.n, len(data), plane)
	}
	if used := int64(after.TotalAlloc - before.TotalAlloc); err == nil && used > 3*plane+roomMost+workFree {
		t.Fatalf("%d MB allocated for a file of %d bytes with a plane of %d", used>>20, len(data), plane)
	}
	if err != nil && strings.Contains(err.Error(), "reader failed") {
		t.Fatal(err)
	}
	if err == nil && fr.Stars == nil && fr.Image.check() != nil {
		t.Fatal(fr.Image.check())
	}
	return err == nil
}

// TestGeneratedFiles: those without a lie are read, those with one keep to the
// budget, and enough of them get past the headers.
func TestGeneratedFiles(t *testing.T) {
	if testing.Short() {
		t.Skip("slow under the race detector; nothing in it runs beside anything")
	}
	const seed = 15
	r := rand.New(rand.NewPCG(seed, 1))
	for _, format := range makerNames {
		read, of := 0, 60
		for i := range of {
			if data := generate(t, format, uint64(i), 0, 0); !keepsBudget(t, data) {
				_, err := Decode(data, "x", Options{})
				t.Fatalf("%s number %d without a lie: %v", format, i, err)
			}
			if keepsBudget(t, generate(t, format, uint64(i), uint16(1+r.IntN(1<<16-1)), lies[r.IntN(len(lies))])) {
				read++
			}
		}
		t.Logf("%s: %d of %d with a lie were read", format, read, of)
		if read < of/10 || read == of {
			t.Errorf("%s: %d of %d with a lie were read: the lies are too coarse or none", format, read, of)
		}
	}
}

// FuzzLies draws files that are right but for one number.
func FuzzLies(f *testing.F) {
	for i := range makerNames {
		f.Add(uint8(i), uint64(1), uint16(0), int64(0))
		for k := range 4 {
			f.Add(uint8(i), uint64(k), uint16(7*k+1), lies[(5*i+3*k)%len(lies)])
		}
	}
	f.Fuzz(func(t *testing.T, format uint8, seed uint64, lie uint16, value int64) {
		keepsBudget(t, generate(t, makerNames[int(format)%len(makerNames)], seed, lie, value))
	})
}
