package frame

import (
	"encoding/binary"
	"math"
	"math/bits"
	"math/rand"
	"testing"
)

// Files packed by CFITSIO, and what it unpacks from them (testdata/README.md).
func TestTiles(t *testing.T) {
	base := mustDecode(t, testFile(t, "u16.fits"), "u16", Options{})
	v := func(i int) float64 { return float64(base.Image.U16[i]) }
	for _, c := range []struct {
		file string
		kind string
		want func(int) float64
	}{
		{"u16-rice.fits", "U16", v},
		{"u16-rice-tiles.fits", "U16", v},
		{"u16-gzip1.fits", "U16", v},
		{"u16-gzip2.fits", "U16", v},
		{"u8-rice.fits", "U8", func(i int) float64 { return math.Floor(v(i) / 256) }},
		{"i16-rice.fits", "F32", func(i int) float64 { return math.Floor(v(i)/2) - 1200 }},
		{"i32-rice.fits", "F32", func(i int) float64 { return float64(float32(1000*v(i) - 500000)) }},
	} {
		fr := mustDecode(t, testFile(t, c.file), c.file, Options{})
		if got := kindOf(&fr.Image); got != c.kind {
			t.Errorf("%s: pixels are %s, want %s", c.file, got, c.kind)
		}
		samePixels(t, &fr.Image, 48, 40, c.want, 0)
	}
}

// Floats packed by CFITSIO as scaled integers, with each kind of dithering, and
// without loss. The reference is what its own funpack makes of them.
func TestQuantisedTiles(t *testing.T) {
	for _, name := range []string{"real-rice-dither1", "real-rice-dither2", "real-rice-nodither", "real-gzip2-exact"} {
		var want []float64
		if name == "real-gzip2-exact" {
			b := testFile(t, "real.fits")[blockSize:]
			for i := range 48 * 40 {
				want = append(want, float64(math.Float32frombits(binary.BigEndian.Uint32(b[4*i:]))))
			}
		} else {
			b := testFile(t, name+".f32")
			for i := range 48 * 40 {
				want = append(want, float64(math.Float32frombits(binary.BigEndian.Uint32(b[4*i:]))))
			}
		}
		fr := mustDecode(t, testFile(t, name+".fits"), name, Options{})
		missing := 0
		for i, w := range want {
			got := float64(fr.Image.F32[i])
			if math.IsNaN(w) {
				missing++
				continue
			}
			if math.Abs(got-w) > 2e-7*math.Abs(w) { // one rounding of float32
				t.Fatalf("%s: pixel %d, %d is %.9g, want %.9g", name, i%48, i/48, got, w)
			}
		}
		if missing != 7 || !hasNote(fr, "7 of 1920 pixels hold no data") {
			t.Errorf("%s: %d pixels without data in the reference, notes %q", name, missing, fr.Notes)
		}
	}
}

// The FITS standard 4.0, appendix I: "If you calculate the 10000th value, the
// seed must be 1043618065".
func TestDitherSequence(t *testing.T) {
	const m = 2147483647
	v := ditherValues()
	if got := math.Round(v[9999] * m); got != 1043618065 {
		t.Errorf("seed of value 10000 is %.0f, want 1043618065", got)
	}
}

// rice packs numbers as unrice unpacks them: written from the standard's text,
// the slow and obvious way, a string of '0' and '1' at a time.
func rice(v []int32, size, block int) []byte {
	k := riceKinds[size]
	var out []byte
	put := func(x uint64, n uint) {
		for i := int(n) - 1; i >= 0; i-- {
			out = append(out, '0'+byte(x>>uint(i)&1))
		}
	}
	mask := uint64(1)<<k.width - 1
	last := v[0]
	put(uint64(uint32(last))&mask, k.width)
	for at := 0; at < len(v); at += block {
		part := v[at:min(at+block, len(v))]
		var folded []uint64
		sum := uint64(0)
		for _, x := range part {
			d := int64(extend(uint32(x-last), k.width))
			if k.width == 8 {
				d = int64(int8(x - last))
			}
			f := uint64(d<<1) ^ uint64(d>>63)
			folded = append(folded, f&(mask<<1|1)&mask)
			sum += folded[len(folded)-1]
			last = x
		}
		low := uint(max(0, bits.Len64(sum/uint64(len(part)))-1))
		switch {
		case sum == 0:
			put(0, k.split)
		case low >= k.raw:
			put(uint64(k.raw+1), k.split)
			for _, f := range folded {
				put(f, k.width)
			}
		default:
			put(uint64(low+1), k.split)
			for _, f := range folded {
				for range f >> low {
					out = append(out, '0')
				}
				out = append(out, '1')
				put(f&(1<<low-1), low)
			}
		}
	}
	packed := make([]byte, (len(out)+7)/8)
	for i, c := range out {
		packed[i/8] |= (c - '0') << (7 - i%8)
	}
	return packed
}

func TestRiceAgainstTwin(t *testing.T) {
	rng := rand.New(rand.NewSource(11))
	for trial := range 400 {
		size := []int{1, 2, 4}[trial%3]
		v := make([]int32, 1+rng.Intn(300))
		wide := rng.Float64() * float64(8*size)
		for i := range v {
			v[i] = int32(rng.NormFloat64() * math.Exp2(wide-2))
			if rng.Intn(5) == 0 && i > 0 {
				v[i] = v[i-1]
			}
			switch size {
			case 1:
				v[i] = int32(uint8(v[i]))
			case 2:
				v[i] = int32(int16(v[i]))
			}
		}
		block := []int{16, 32, 7}[rng.Intn(3)]
		packed := rice(v, size, block)
		got := make([]int32, len(v))
		if err := unrice(got, packed, size, block); err != nil {
			t.Fatalf("trial %d, size %d: %v", trial, size, err)
		}
		for i := range v {
			if got[i] != v[i] {
				t.Fatalf("trial %d, size %d, block %d: number %d is %d, want %d", trial, size, block, i, got[i], v[i])
			}
		}
		if len(packed) > 4 {
			if err := unrice(make([]int32, len(v)+2000), packed[:len(packed)/2], size, block); err == nil {
				t.Fatalf("trial %d: half the bytes unpacked without error", trial)
			}
		}
	}
}

func TestHostileTiles(t *testing.T) {
	good := testFile(t, "u16-rice.fits")
	for name, c := range map[string]struct {
		find, put string
		kind      error
	}{
		"unknown packing":   {"'RICE_1  '", "'HCOMP_1 '", ErrUnsupported},
		"huge picture":      {"ZNAXIS1 =                   48", "ZNAXIS1 =            999999999", ErrTooLarge},
		"no tile":           {"ZTILE1  =                   48", "ZTILE1  =                    0", ErrDamaged},
		"wrong tile count":  {"ZTILE1  =                   48", "ZTILE1  =                    7", ErrDamaged},
		"odd block":         {"ZVAL1   =                   32", "ZVAL1   =            123456789", ErrUnsupported},
		"odd number size":   {"ZVAL2   =                    2", "ZVAL2   =                    3", ErrUnsupported},
		"odd column":        {"'1PB(", "'9ZB(", ErrDamaged},
		"column past row":   {"'1PB(", "'9PB(", ErrDamaged},
		"no packed column":  {"'COMPRESSED_DATA'", "'SOMETHING_ELSE_'", ErrDamaged},
		"cut off":           {"", "", ErrDamaged},
		"table of few rows": {"NAXIS2  =                   40", "NAXIS2  =                   39", ErrDamaged},
	} {
		t.Run(name, func(t *testing.T) {
			b := replaced(t, good, c.find, c.put)
			if c.find == "" {
				b = b[:len(b)-3000]
			}
			refused(t, b, c.kind)
		})
	}
	// A descriptor that points past the heap.
	b := append([]byte(nil), good...)
	units, err := readHDUs(memory(b))
	if err != nil {
		t.Fatal(err)
	}
	at := units[1].off
	binary.BigEndian.PutUint32(b[at+4:], 1<<30)
	refused(t, b, ErrDamaged, "heap")
}

// replaced returns a copy of b with the first find replaced by as many bytes.
func replaced(t *testing.T, b []byte, find, put string) []byte {
	t.Helper()
	b = append([]byte(nil), b...)
	if find == "" {
		return b
	}
	at := -1
	for i := range b[:len(b)-len(find)] {
		if string(b[i:i+len(find)]) == find {
			at = i
			break
		}
	}
	if at < 0 || len(find) != len(put) {
		t.Fatalf("cannot replace %q by %q", find, put)
	}
	copy(b[at:], put)
	return b
}
