package frame

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"sync"

	"github.com/klauspost/compress/gzip"

	"pintle/index/fitshead"
)

// allocate makes the picture's memory.
func (t *tiled) allocate(im *Image) {
	n := im.W * im.H
	switch {
	case t.st.whole() && t.st.bitpix == 8:
		im.U8 = Pixels[uint8](n)
	case t.st.whole():
		im.U16 = Pixels[uint16](n)
	default:
		im.F32 = Pixels[float32](n)
	}
}

// unpack unpacks every tile of the picture, those of one layer at once.
func (t *tiled) unpack(im *Image) error {
	workers := sync.Pool{New: func() any { return new(tileWork) }}
	colour := t.axes[2] == 3
	layers := t.grid[2]
	if !colour {
		layers = 1
	}
	if colour && im.F32 == nil { // planes are summed as floats
		im.U8, im.U16, im.F32 = nil, nil, Pixels[float32](im.W*im.H)
	}
	perLayer := t.grid[0] * t.grid[1]
	negative := make([]bool, perLayer)
	for z := range layers {
		err := each(int(perLayer), im.W*im.H, func(i int) error {
			w := workers.Get().(*tileWork)
			defer workers.Put(w)
			w.tiled, w.im, w.colour, w.negative = t, im, colour, false
			err := w.do(z*perLayer + int64(i))
			negative[i] = negative[i] || w.negative
			return err
		})
		if err != nil {
			return err
		}
	}
	for _, neg := range negative {
		if neg && im.U16 != nil {
			im.F32, im.U16 = t.st.signed(im.U16), nil
		}
	}
	return nil
}

// tileWork unpacks one tile. Its buffers serve the next one too.
type tileWork struct {
	*tiled
	im       *Image
	colour   bool
	negative bool
	row      []byte
	data     []byte
	raw      []byte
	shuffled []byte
	ints     []int32
	reals    []float32
	gzip     *gzip.Reader
}

// grow returns s with n values, in new memory only when it must.
func grow[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}

// do unpacks tile number i, counted from 0, into the picture.
func (w *tileWork) do(i int64) error {
	var lo, size [3]int64
	k := i
	for a := range w.grid {
		lo[a] = k % w.grid[a] * w.tile[a]
		size[a] = min(w.tile[a], w.axes[a]-lo[a])
		k /= w.grid[a]
	}
	if !w.colour {
		size[2] = 1 // only the first plane counts
	}
	n := int(size[0] * size[1] * size[2])
	w.row = grow(w.row, int(w.tiled.row))
	row := w.row
	if err := w.s.fill(row, w.u.off+i*w.tiled.row, "FITS table row"); err != nil {
		return err
	}
	if err := w.s.work.spend(workPerTile + int64(n)*w.st.bytes()); err != nil {
		return err
	}
	vals, err := w.values(row, n, i)
	if err != nil {
		return fmt.Errorf("FITS tile %d: %w", i+1, err)
	}
	for z := range size[2] {
		for y := range size[1] {
			from := int((z*size[1] + y) * size[0])
			at := (lo[1]+y)*w.axes[0] + lo[0]
			w.put(int(at), vals, from, int(size[0]), lo[2]+z)
		}
	}
	return nil
}

// numbers holds the values of a tile, as integers or as floats.
type numbers struct {
	ints  []int32
	reals []float32
}

// put writes a row of a tile.
func (w *tileWork) put(at int, v numbers, from, n int, plane int64) {
	im := w.im
	switch {
	case w.colour:
		weight := float32(0.25)
		if plane == 1 {
			weight = 0.5
		}
		for i := range n {
			im.F32[at+i] += weight * w.real(v, from+i)
		}
	case im.U8 != nil:
		for i, x := range v.ints[from : from+n] {
			im.U8[at+i] = uint8(x)
		}
	case im.U16 != nil:
		flip := int32(0)
		if w.st.zero == 32768 {
			flip = 0x8000
		}
		all := int32(0) // a bit that any has
		for i, x := range v.ints[from : from+n] {
			im.U16[at+i] = uint16(x + flip)
			all |= x
		}
		w.negative = w.negative || flip == 0 && all < 0
	case v.reals != nil:
		copy(im.F32[at:at+n], v.reals[from:from+n])
	default:
		for i := range n {
			im.F32[at+i] = w.real(v, from+i)
		}
	}
}

// real returns a value as a float, NaN for no data.
func (w *tileWork) real(v numbers, i int) float32 {
	if v.reals != nil {
		return v.reals[i]
	}
	if w.st.hasBlank && int64(v.ints[i]) == w.st.blank {
		return float32(math.NaN())
	}
	return float32(w.st.zero + w.st.scale*float64(v.ints[i]))
}

// values unpacks n values of a tile.
func (w *tileWork) values(row []byte, n int, tile int64) (numbers, error) {
	data, err := w.cell(row, w.packed)
	if err != nil {
		return numbers{}, err
	}
	if len(data) > 0 {
		if !w.quant && (w.st.bitpix < 0 || w.st.bitpix == 64) {
			return w.rawReals(data, n, w.method == "GZIP_2")
		}
		w.ints = grow(w.ints, n)
		v := numbers{ints: w.ints}
		if w.method == "RICE_1" {
			err = unrice(v.ints, data, w.size, w.block)
		} else {
			err = w.gunzipInts(v.ints, data)
		}
		if err == nil && w.quant {
			v.reals, err = w.dequantise(v.ints, row, tile)
		}
		return v, err
	}
	if data, err = w.cell(row, w.gzipped); err != nil {
		return numbers{}, err
	}
	if len(data) > 0 {
		return w.rawReals(data, n, false)
	}
	if data, err = w.cell(row, w.plain); err != nil {
		return numbers{}, err
	}
	if want := n * int(w.st.bytes()); len(data) != want {
		return numbers{}, fmt.Errorf("%d bytes instead of %d: %w", len(data), want, ErrDamaged)
	}
	return w.fromBytes(data, n), nil
}

// fromBytes converts big-endian numbers of the picture's own type.
func (w *tileWork) fromBytes(b []byte, n int) numbers {
	if w.im.F32 == nil {
		w.ints = grow(w.ints, n)
		integers(w.ints, b, int(w.st.bytes()))
		return numbers{ints: w.ints}
	}
	w.reals = grow(w.reals, n)
	w.st.floats(w.reals, b)
	return numbers{reals: w.reals}
}

// rawReals unpacks numbers of the picture's own type.
func (w *tileWork) rawReals(data []byte, n int, shuffled bool) (numbers, error) {
	b, err := w.gunzip(data, n, int(w.st.bytes()), shuffled)
	if err != nil {
		return numbers{}, err
	}
	return w.fromBytes(b, n), nil
}

// gunzipInts unpacks integers: of the picture's type, or of 4 bytes when they
// stand for floats.
func (w *tileWork) gunzipInts(dst []int32, data []byte) error {
	size := int(w.st.bytes())
	if w.quant {
		size = 4
	}
	b, err := w.gunzip(data, len(dst), size, w.method == "GZIP_2")
	if err != nil {
		return err
	}
	integers(dst, b, size)
	return nil
}

// cell returns what a descriptor column of a row points to in the heap, nil
// when it is empty or missing.
func (w *tileWork) cell(row []byte, c column) ([]byte, error) {
	if !c.points() {
		return nil, nil
	}
	count, off := descriptor(row[c.at:], c.form.Type)
	if count == 0 {
		return nil, nil
	}
	n := times(count, max(fitshead.Size(c.form.Of), 1))
	if count < 0 || off < 0 || n < 0 || off > w.end-w.heap || n > w.end-w.heap-off {
		return nil, fmt.Errorf("%d bytes from byte %d of the heap are claimed, it has %d: %w", n, off, w.end-w.heap, ErrDamaged)
	}
	if w.s.mem != nil {
		return w.s.bytes(w.heap+off, n, "FITS heap")
	}
	w.data = grow(w.data, int(n))
	return w.data, w.s.fill(w.data, w.heap+off, "FITS heap")
}

// gunzip unpacks exactly n numbers of size bytes.
func (w *tileWork) gunzip(data []byte, n, size int, shuffled bool) ([]byte, error) {
	if int64(n)*int64(size) > int64(len(data))*inflateMost {
		return nil, fmt.Errorf("%d bytes cannot be packed in %d: %w", n*size, len(data), ErrDamaged)
	}
	var err error
	if w.gzip == nil {
		w.gzip, err = gzip.NewReader(bytes.NewReader(data))
	} else {
		err = w.gzip.Reset(bytes.NewReader(data))
	}
	if err != nil {
		w.gzip = nil
		return nil, damaged("gzip", err)
	}
	w.raw = grow(w.raw, n*size)
	if _, err := io.ReadFull(w.gzip, w.raw); err != nil {
		return nil, damaged("gzip", err)
	}
	if !shuffled {
		return w.raw, nil
	}
	w.shuffled = grow(w.shuffled, n*size)
	unshuffle(w.shuffled, w.raw, size)
	return w.shuffled, nil
}
