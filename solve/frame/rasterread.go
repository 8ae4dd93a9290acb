package frame

import (
	"bufio"
	"fmt"
	"io"
	"math"

	"github.com/klauspost/compress/zlib"
	"golang.org/x/image/tiff/lzw"
)

// crop is the part of a raster that is kept.
type crop struct{ x0, y0, x1, y1 int64 }

// decode reads the pixels inside a crop into im, colours mixed to one plane.
// curve, when not nil, replaces integer samples.
func (r *raster) decode(im *Image, in crop, curve []uint16) error {
	im.W, im.H = int(in.x1-in.x0), int(in.y1-in.y0)
	n := im.W * im.H
	size := int64(4)
	switch {
	case r.format == formatUint && r.bits == 8 && curve == nil && r.packing != packJPEG:
		size = 1
	case r.format == formatUint && r.bits <= 16:
		size = 2
	}
	if err := r.c.work.plane(in.x1-in.x0, in.y1-in.y0, size, r.rowMemory(n)); err != nil {
		return err
	}
	r.c.work.grant(r.w * r.h * r.samples * (r.bits + 7) / 8)
	switch {
	case r.format != formatUint || r.bits > 16:
		im.F32 = Pixels[float32](n)
	case r.bits == 8 && curve == nil && r.packing != packJPEG:
		im.U8 = Pixels[uint8](n)
	default:
		im.U16 = Pixels[uint16](n)
	}
	return each(int(r.across*r.down), n, func(i int) error {
		t := tileRead{raster: r, im: im, in: in, curve: curve, index: int64(i)}
		if err := t.do(); err != nil {
			return fmt.Errorf("TIFF strip or tile %d: %w", i+1, err)
		}
		return nil
	})
}

// rowMemory returns the memory, in bytes, of the rows that are unpacked at once.
func (r *raster) rowMemory(pixels int) int64 {
	return times(r.rowBytes()+4*r.perRow(), 3*int64(parts(pixels)))
}

// rowReader gives the bytes or samples of a tile row by row.
type rowReader interface {
	// next returns the next row. It is good until the call after.
	next() (samples, error)
}

// samples is a row of samples of one kind.
type samples struct {
	u8  []uint8
	u16 []uint16
	f32 []float32
}

func (s samples) at(i int) float32 {
	switch {
	case s.u8 != nil:
		return float32(s.u8[i])
	case s.u16 != nil:
		return float32(s.u16[i])
	}
	return s.f32[i]
}

// from returns the samples from one on.
func (s samples) from(i int) samples {
	switch {
	case s.u8 != nil:
		return samples{u8: s.u8[i:]}
	case s.u16 != nil:
		return samples{u16: s.u16[i:]}
	}
	return samples{f32: s.f32[i:]}
}

// tileRead reads one strip or tile.
type tileRead struct {
	*raster
	im    *Image
	in    crop
	curve []uint16
	index int64 // among the tiles of a plane
}

func (t *tileRead) do() error {
	x0, y0 := t.index%t.across*t.tileW, t.index/t.across*t.tileH
	y1 := min(y0+t.tileH, t.h, t.in.y1)
	lo, hi := max(x0, t.in.x0), min(x0+t.tileW, t.w, t.in.x1)
	if y0 >= t.in.y1 || y1 <= t.in.y0 || lo >= hi {
		return nil
	}
	planes := int64(1)
	if t.planar {
		planes = min(t.samples, 3)
		if t.samples == 2 {
			planes = 1
		}
	}
	var rows [3]rowReader
	for p := range planes {
		r, err := t.open(t.index + p*t.across*t.down)
		if err != nil {
			return err
		}
		rows[p] = r
	}
	for y := y0; y < y1; y++ {
		var s [3]samples
		for p := range planes {
			var err error
			if s[p], err = rows[p].next(); err != nil {
				return err
			}
		}
		if y >= t.in.y0 {
			at := int((y-t.in.y0)*int64(t.im.W) + lo - t.in.x0)
			t.put(at, int(hi-lo), int(lo-x0), s)
		}
	}
	return nil
}

// open returns a reader of the rows of tile i.
func (t *tileRead) open(i int64) (rowReader, error) {
	if err := t.c.work.spend(workPerTile); err != nil {
		return nil, err
	}
	src := t.c.section(t.offsets[i], t.counts[i])
	if t.packing == packJPEG {
		b, err := t.c.bytes(t.offsets[i], t.counts[i], "TIFF tile")
		if err != nil {
			return nil, err
		}
		j, err := openLJPEG(b)
		if err != nil {
			return nil, err
		}
		if j.samples() < t.tileRows(t.index/t.across)*t.perRow() {
			return nil, fmt.Errorf("lossless JPEG of %d samples for a tile of %d x %d: %w", j.samples(), t.tileW, t.tileH, ErrDamaged)
		}
		j.work = t.c.work
		return &jpegRows{j: j, row: make([]uint16, t.perRow())}, nil
	}
	rd, err := unpackTIFF(src, t.packing)
	if err != nil {
		return nil, err
	}
	return &byteRows{r: t.raster, src: rd, row: make([]byte, t.rowBytes())}, nil
}

// unpackTIFF returns a reader of the bytes that src was packed from.
func unpackTIFF(src io.Reader, packing int64) (io.Reader, error) {
	switch packing {
	case packNone:
		return src, nil
	case packLZW:
		return lzw.NewReader(bufio.NewReaderSize(src, 32<<10), lzw.MSB, 8), nil
	case packBits:
		return &unpackBits{src: bufio.NewReader(src)}, nil
	}
	z, err := zlib.NewReader(bufio.NewReaderSize(src, 32<<10))
	if err != nil {
		return nil, damaged("deflate", err)
	}
	return z, nil
}

// unpackBits undoes the run lengths of TIFF 6.0, section 9.
type unpackBits struct {
	src *bufio.Reader
	n   int  // bytes left of a run or a literal
	run bool // the next n bytes are all b
	b   byte
}

func (u *unpackBits) Read(p []byte) (int, error) {
	for u.n == 0 {
		c, err := u.src.ReadByte()
		if err != nil {
			return 0, err
		}
		switch k := int(int8(c)); {
		case k >= 0:
			u.n, u.run = k+1, false
		case k != -128:
			u.n, u.run = 1-k, true
			if u.b, err = u.src.ReadByte(); err != nil {
				return 0, err
			}
		}
	}
	p = p[:min(len(p), u.n)]
	if u.run {
		for i := range p {
			p[i] = u.b
		}
		u.n -= len(p)
		return len(p), nil
	}
	n, err := u.src.Read(p)
	u.n -= n
	return n, err
}

// jpegRows gives the rows of a lossless JPEG tile.
type jpegRows struct {
	j   *ljpeg
	row []uint16
}

func (r *jpegRows) next() (samples, error) {
	return samples{u16: r.row}, r.j.read(r.row)
}

// byteRows gives the rows of a tile of plain samples.
type byteRows struct {
	r   *raster
	src io.Reader
	row []byte
	u16 []uint16
	f32 []float32
	tmp []byte
}

func (b *byteRows) next() (samples, error) {
	if err := b.r.c.work.spend(int64(len(b.row))); err != nil {
		return samples{}, err
	}
	if _, err := io.ReadFull(b.src, b.row); err != nil {
		return samples{}, damaged("pixels", err)
	}
	n := int(b.r.perRow())
	if b.r.predictor == 3 || b.r.predictor == 2 && (b.r.bits != 16 || b.r.format != formatUint) {
		b.unpredict()
	}
	switch {
	case b.r.format == formatUint && b.r.bits == 8:
		return samples{u8: b.row}, nil
	case b.r.format == formatUint && b.r.bits <= 16:
		if b.u16 == nil {
			b.u16 = make([]uint16, n)
		}
		b.words()
		if b.r.predictor == 2 {
			addLeft(b.u16, b.r.step())
		}
		return samples{u16: b.u16}, nil
	}
	if b.f32 == nil {
		b.f32 = make([]float32, n)
	}
	b.floats()
	return samples{f32: b.f32}, nil
}

// words converts samples of 9 to 16 bits. Fewer than 16 are packed, the
// highest bit first.
func (b *byteRows) words() {
	if b.r.bits == 16 {
		switch little := b.r.c.little(); {
		case little == hostLittle:
			copy(bytesOf(b.u16), b.row)
		case hostLittle:
			copy(bytesOf(b.u16), b.row)
			swapWords(b.u16, 0)
		default:
			for i := range b.u16 {
				b.u16[i] = b.r.c.order.Uint16(b.row[2*i:])
			}
		}
		return
	}
	bits := uint(b.r.bits)
	var hold uint32
	have := uint(0)
	at := 0
	for i := range b.u16 {
		for have < bits {
			hold = hold<<8 | uint32(b.row[at])
			at++
			have += 8
		}
		have -= bits
		b.u16[i] = uint16(hold >> have & (1<<bits - 1))
	}
}

// floats converts the samples that are kept as float32.
func (b *byteRows) floats() {
	o := b.r.c.order
	for i := range b.f32 {
		switch k := b.r.bits; {
		case b.r.format == formatFloat && k == 16:
			b.f32[i] = half(o.Uint16(b.row[2*i:]))
		case b.r.format == formatFloat && k == 32:
			b.f32[i] = math.Float32frombits(o.Uint32(b.row[4*i:]))
		case b.r.format == formatFloat:
			b.f32[i] = float32(math.Float64frombits(o.Uint64(b.row[8*i:])))
		case b.r.format == formatUint:
			b.f32[i] = float32(o.Uint32(b.row[4*i:]))
		case k == 8:
			b.f32[i] = float32(int8(b.row[i]))
		case k == 16:
			b.f32[i] = float32(int16(o.Uint16(b.row[2*i:])))
		default:
			b.f32[i] = float32(int32(o.Uint32(b.row[4*i:])))
		}
	}
}

// half converts an IEEE 754 number of 16 bits.
func half(v uint16) float32 {
	sign, exp, frac := float64(1), int(v>>10&31), float64(v&1023)
	if v>>15 != 0 {
		sign = -1
	}
	switch exp {
	case 0:
		return float32(sign * math.Ldexp(frac, -24))
	case 31:
		return float32(math.NaN())
	}
	return float32(sign * math.Ldexp(1024+frac, exp-25))
}

// unpredict undoes the differences to the pixel on the left: of numbers
// (predictor 2), or of the bytes of floats, highest bytes first (predictor 3).
func (b *byteRows) unpredict() {
	o, row, bits := b.r.c.order, b.row, b.r.bits
	step := b.r.step()
	switch {
	case b.r.predictor == 2 && bits == 8:
		addLeft(row, step)
	case b.r.predictor == 2 && bits == 16:
		for i := step; i < len(row)/2; i++ {
			o.PutUint16(row[2*i:], o.Uint16(row[2*i:])+o.Uint16(row[2*(i-step):]))
		}
	case b.r.predictor == 2 && bits == 32:
		for i := step; i < len(row)/4; i++ {
			o.PutUint32(row[4*i:], o.Uint32(row[4*i:])+o.Uint32(row[4*(i-step):]))
		}
	case b.r.predictor == 3:
		addLeft(row, step)
		b.unsplit()
	}
}

// step returns how far apart samples of one colour lie in a row.
func (r *raster) step() int {
	if r.planar {
		return 1
	}
	return int(r.samples)
}

// addLeft adds to each sample the one of the same colour on its left.
func addLeft[T uint8 | uint16](row []T, step int) {
	for i := step; i < len(row); i++ {
		row[i] += row[i-step]
	}
}

// unsplit puts the bytes of floats back together in the file's byte order.
func (b *byteRows) unsplit() {
	size := int(b.r.bits / 8)
	n := len(b.row) / size
	b.tmp = append(b.tmp[:0], b.row...)
	little := b.r.c.little()
	for k := range size {
		to := k
		if little {
			to = size - 1 - k
		}
		for i := range n {
			b.row[i*size+to] = b.tmp[k*n+i]
		}
	}
}
