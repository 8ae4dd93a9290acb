package frame

import (
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"io"

	"github.com/klauspost/compress/zlib"
)

// pngHeader is the IHDR chunk of a PNG file, and where the chunks that matter
// lie (ISO/IEC 15948; eXIf from PNG 1.5 extensions).
type pngHeader struct {
	w, h      int64
	depth     int
	colour    int // 0 grey, 2 RGB, 3 palette, 4 grey and alpha, 6 RGB and alpha
	interlace int
	pixels    int64 // offset of the first IDAT chunk
	palette   span
	exif      span
}

// channels returns the samples of a pixel.
func (h pngHeader) channels() int { return [7]int{1, 0, 3, 1, 2, 0, 4}[h.colour] }

// legal reports whether colour type, depth and interlacing go together.
func (h pngHeader) legal() bool {
	switch h.depth {
	case 1, 2, 4:
		return h.interlace < 2 && (h.colour == 0 || h.colour == 3)
	case 8:
		return h.interlace < 2 && (h.colour == 0 || h.colour == 2 || h.colour == 3 || h.colour == 4 || h.colour == 6)
	case 16:
		return h.interlace < 2 && (h.colour == 0 || h.colour == 2 || h.colour == 4 || h.colour == 6)
	}
	return false
}

// readPNG reads PNG pictures row by row into the one plane that is kept. The
// standard library would hold all colours, and an interlaced picture twice.
func readPNG(f *file, fr *Frame) (facts, error) {
	fr.Format = "PNG"
	h, err := pngChunks(&f.source)
	if err != nil {
		return facts{}, err
	}
	bits := int64(h.channels() * h.depth)
	if err := room(h.w, h.h, f.size, max(1, 8*inflateMost/bits)); err != nil {
		return facts{}, err
	}
	var what facts
	if h.exif.n > 0 {
		if b, err := f.bytes(h.exif.off, h.exif.n, "EXIF"); err == nil {
			what.exif = parseEXIF(memory(b))
		}
	}
	if err := (&pngRows{pngHeader: h, s: &f.source, im: &fr.Image}).decode(); err != nil {
		fr.Image = Image{}
		return what, err
	}
	fr.Image.Saturation = full(&fr.Image)
	if h.colour == 0 {
		fr.Image.Mosaic = evident(&fr.Image)
	}
	return what, nil
}

// full returns the largest value that the pixels' type holds.
func full(im *Image) float32 {
	if im.U8 != nil {
		return 255
	}
	return 65535
}

// maxChunks bounds the walk through a file's chunks (no source).
const maxChunks = 1 << 20

// pngChunks reads the header and finds the pixels and the EXIF block.
func pngChunks(s *source) (pngHeader, error) {
	b, err := s.bytes(8, 25, "PNG header")
	if err != nil {
		return pngHeader{}, err
	}
	be := binary.BigEndian
	if string(b[4:8]) != "IHDR" || be.Uint32(b) != 13 {
		return pngHeader{}, fmt.Errorf("PNG file without header: %w", ErrDamaged)
	}
	h := pngHeader{w: int64(be.Uint32(b[8:])), h: int64(be.Uint32(b[12:])), depth: int(b[16]), colour: int(b[17]), interlace: int(b[20])}
	if !h.legal() {
		return h, fmt.Errorf("PNG of colour type %d, depth %d, interlace %d: %w", h.colour, h.depth, h.interlace, ErrDamaged)
	}
	if crc32.ChecksumIEEE(b[4:21]) != be.Uint32(b[21:]) {
		return h, fmt.Errorf("PNG header with a wrong checksum: %w; copy the file again", ErrDamaged)
	}
	for at, n := int64(33), 0; n < maxChunks; n++ {
		c, err := s.bytes(at, 8, "PNG chunk")
		if err != nil {
			break
		}
		size := int64(be.Uint32(c))
		switch kind := string(c[4:8]); {
		case kind == "IDAT" && h.pixels == 0:
			h.pixels = at
		case kind == "PLTE" && size <= 3*256:
			h.palette = span{at + 8, size}
		case kind == "eXIf" && size < 1<<20:
			h.exif = span{at + 8, size}
		case kind == "IEND":
			n = maxChunks
		}
		at += 12 + size
	}
	if h.pixels == 0 {
		return h, fmt.Errorf("PNG file without pixels: %w", ErrDamaged)
	}
	return h, nil
}

// idat reads the content of consecutive IDAT chunks and checks their checksums.
type idat struct {
	r    io.Reader
	left int64 // bytes left in this chunk
	sum  uint32
	any  bool // a chunk was begun
}

func (d *idat) Read(p []byte) (int, error) {
	for d.left == 0 {
		if err := d.chunk(); err != nil {
			return 0, err
		}
	}
	n, err := d.r.Read(p[:min(int64(len(p)), d.left)])
	d.sum = crc32.Update(d.sum, crc32.IEEETable, p[:n])
	d.left -= int64(n)
	if err == io.EOF && d.left > 0 {
		err = io.ErrUnexpectedEOF
	} else if err == io.EOF {
		err = nil
	}
	return n, err
}

// chunk checks the chunk that ended and begins the next.
func (d *idat) chunk() error {
	var b [12]byte
	head := b[4:]
	if d.any {
		head = b[:]
	}
	if _, err := io.ReadFull(d.r, head); err != nil {
		return io.ErrUnexpectedEOF
	}
	if d.any && binary.BigEndian.Uint32(b[:]) != d.sum {
		return fmt.Errorf("wrong checksum")
	}
	if string(b[8:]) != "IDAT" {
		return io.EOF
	}
	d.left = int64(binary.BigEndian.Uint32(b[4:]))
	d.sum = crc32.ChecksumIEEE(b[8:])
	d.any = true
	return nil
}

// pngPass is the pixels of one pass over the picture: every dx-th column from x0
// and every dy-th row from y0, w x h of them.
type pngPass struct{ x0, y0, dx, dy, w, h int }

// passes returns those of the interlacing of ISO/IEC 15948, section 8.2, without
// the empty ones, or one over everything.
func (h pngHeader) passes() []pngPass {
	all := []pngPass{{0, 0, 1, 1, 0, 0}}
	if h.interlace == 1 {
		all = []pngPass{{0, 0, 8, 8, 0, 0}, {4, 0, 8, 8, 0, 0}, {0, 4, 4, 8, 0, 0}, {2, 0, 4, 4, 0, 0}, {0, 2, 2, 4, 0, 0}, {1, 0, 2, 2, 0, 0}, {0, 1, 1, 2, 0, 0}}
	}
	var out []pngPass
	for _, p := range all {
		p.w, p.h = (int(h.w)-p.x0+p.dx-1)/p.dx, (int(h.h)-p.y0+p.dy-1)/p.dy
		if p.w > 0 && p.h > 0 {
			out = append(out, p)
		}
	}
	return out
}

// pngRows decodes the rows of a PNG picture.
type pngRows struct {
	pngHeader
	s    *source
	im   *Image
	bpp  int        // bytes of a pixel, at least 1
	look *[256]byte // what the numbers of a palette or of few bits stand for
	u8   []uint8    // pixels of a row of a pass
	u16  []uint16   // samples, then pixels of a row
}

// decode unpacks blocks of rows while the block before is unfiltered.
func (p *pngRows) decode() error {
	if err := p.allocate(); err != nil {
		return err
	}
	free, full := make(chan []byte, 2), make(chan pngBlock, 2)
	most := max(chunk, p.rowBytes(int(p.w)))
	for range 2 {
		free <- make([]byte, min(most, (p.rowBytes(int(p.w))+8)*int(p.h)))
	}
	go p.unpack(free, full)
	defer func() { // let the other end, also after an error here
		close(free)
		for range full {
		}
	}()
	var last []byte
	y := 0
	for b := range full {
		if b.err != nil {
			return b.err
		}
		size := p.rowBytes(b.pass.w)
		if b.first {
			last, y = make([]byte, size), 0
		}
		for at := 0; at < len(b.rows); at += size {
			row := b.rows[at : at+size]
			if err := unfilter(row[0], row[1:], last[1:], p.bpp); err != nil {
				return err
			}
			p.put(b.pass, y, row[1:])
			last = row
			y++
		}
		last = append([]byte(nil), last...)
		free <- b.rows[:cap(b.rows)]
	}
	return nil
}

// rowBytes returns the bytes of a row of w pixels and its filter.
func (p *pngRows) rowBytes(w int) int { return (w*p.channels()*p.depth+7)/8 + 1 }

// allocate makes the picture's memory.
func (p *pngRows) allocate() error {
	im := p.im
	im.W, im.H = int(p.w), int(p.h)
	p.bpp = max(1, p.channels()*p.depth/8)
	if err := p.s.work.plane(p.w, p.h, int64(p.depth+7)/8, 4*int64(p.rowBytes(im.W))); err != nil {
		return err
	}
	p.s.work.grant(int64(p.rowBytes(im.W)) * p.h)
	if p.depth == 16 {
		im.U16 = Pixels[uint16](im.W * im.H)
		p.u16 = make([]uint16, im.W*p.channels())
		return nil
	}
	im.U8, p.u8 = Pixels[uint8](im.W*im.H), make([]uint8, im.W)
	return p.table()
}

// table fills in what numbers stand for where they are not the pixels themselves.
func (p *pngRows) table() error {
	if p.colour != 3 && p.depth == 8 {
		return nil
	}
	p.look = new([256]byte)
	if p.colour != 3 {
		for i := range 1 << p.depth {
			p.look[i] = byte(i * 255 / (1<<p.depth - 1))
		}
		return nil
	}
	b, err := p.s.bytes(p.palette.off, p.palette.n, "PNG palette")
	if err != nil || len(b) < 3 {
		return fmt.Errorf("PNG picture without the palette it needs: %w", ErrDamaged)
	}
	for i := range len(b) / 3 {
		p.look[i] = byte((uint(b[3*i]) + 2*uint(b[3*i+1]) + uint(b[3*i+2]) + 2) / 4)
	}
	return nil
}

// pngBlock is some filtered rows of a pass, or why there are none.
type pngBlock struct {
	rows  []byte
	pass  pngPass
	first bool // the pass begins with them
	err   error
}

// unpack inflates all rows, block by block.
func (p *pngRows) unpack(free chan []byte, full chan pngBlock) {
	var err error
	defer func() {
		if err != nil {
			full <- pngBlock{err: fmt.Errorf("%w; copy the file again", damaged("PNG pixels", err))}
		}
		close(full)
	}()
	defer catch(&err)
	z, err := zlib.NewReader(&idat{r: p.s.section(p.pixels, p.s.size)})
	if err != nil {
		return
	}
	for _, ps := range p.passes() {
		size := p.rowBytes(ps.w)
		for y := 0; y < ps.h; {
			b, ok := <-free
			if !ok {
				return
			}
			n := min(len(b)/size, ps.h-y)
			b = b[:n*size]
			if _, err = io.ReadFull(meter{z, p.s.work}, b); err != nil {
				return
			}
			full <- pngBlock{rows: b, pass: ps, first: y == 0}
			y += n
		}
	}
	var end [1]byte
	if _, e := z.Read(end[:]); e != nil && e != io.EOF {
		err = e // the checksum at the end
	}
}

// put writes the luminance of row k of a pass.
func (p *pngRows) put(ps pngPass, k int, row []byte) {
	at := (ps.y0+k*ps.dy)*p.im.W + ps.x0
	if p.depth == 16 {
		spread(p.im.U16[at:], p.line16(ps.w, row), ps.dx)
		return
	}
	spread(p.im.U8[at:], p.line8(ps.w, row), ps.dx)
}

// spread writes pixels dx apart.
func spread[T uint8 | uint16](dst, src []T, dx int) {
	if dx == 1 {
		copy(dst, src)
		return
	}
	for i, v := range src {
		dst[i*dx] = v
	}
}

// line8 returns the luminance of a row of w pixels of up to 8 bits a sample.
func (p *pngRows) line8(w int, row []byte) []uint8 {
	out := p.u8[:w]
	switch n := p.channels(); {
	case p.look != nil:
		per := 8 / p.depth
		for i := range out {
			shift := 8 - p.depth*(i%per+1)
			out[i] = p.look[int(row[i/per])>>shift&(1<<p.depth-1)]
		}
	case n >= 3:
		putMixed(out, row, row[1:], row[2:], n)
	case n == 1:
		return row[:w]
	default:
		putPlain(out, row, n, false, 0)
	}
	return out
}

// line16 returns the luminance of a row of w pixels of 16 bits a sample.
func (p *pngRows) line16(w int, row []byte) []uint16 {
	n := p.channels()
	u := p.u16[:w*n]
	copy(bytesOf(u), row)
	swapWords(u, 0)
	if n >= 3 {
		putMixed(u[:w], u, u[1:], u[2:], n) // each is read before it is written
	} else {
		putPlain(u[:w], u, n, false, 0)
	}
	return u[:w]
}

// unfilter undoes a row's filter in place; last is the row above, unfiltered.
func unfilter(kind byte, row, last []byte, bpp int) error {
	switch kind {
	case 0:
	case 1:
		for i := bpp; i < len(row); i++ {
			row[i] += row[i-bpp]
		}
	case 2:
		last = last[:len(row)]
		for i := range row {
			row[i] += last[i]
		}
	case 3:
		for i := range min(bpp, len(row)) {
			row[i] += last[i] / 2
		}
		for i := bpp; i < len(row); i++ {
			row[i] += uint8((int(row[i-bpp]) + int(last[i])) / 2)
		}
	case 4:
		paethRow(row, last, bpp)
	default:
		return fmt.Errorf("PNG filter %d: %w", kind, ErrDamaged)
	}
	return nil
}

// paethRow undoes the filter of the nearest of left, above and above left.
func paethRow(row, last []byte, bpp int) {
	last = last[:len(row)]
	for k := range min(bpp, len(row)) {
		var a, c int
		for i := k; i < len(row); i += bpp {
			b := int(last[i])
			pa, pb := b-c, a-c
			pc := max(pa+pb, -pa-pb)
			pa, pb = max(pa, -pa), max(pb, -pb)
			p := c
			if pa <= pb && pa <= pc {
				p = a
			} else if pb <= pc {
				p = b
			}
			a = int(row[i] + uint8(p))
			row[i] = uint8(a)
			c = b
		}
	}
}
