package frame

import (
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"image/png"
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
	exif      span
}

// channels returns the samples of a pixel.
func (h pngHeader) channels() int { return [7]int{1, 0, 3, 1, 2, 0, 4}[h.colour] }

// plain reports whether rows follow one another as whole bytes a sample.
func (h pngHeader) plain() bool {
	return h.interlace == 0 && h.colour != 3 && (h.depth == 8 || h.depth == 16)
}

// readPNG reads PNG pictures. Common kinds are decoded here, row by row into
// the one plane that is kept; palettes, interlaced rows and packed bits go
// through the standard library.
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
	if h.plain() {
		err = (&pngRows{pngHeader: h, s: &f.source, im: &fr.Image}).decode()
	} else {
		err = libraryPNG(&f.source, &fr.Image)
	}
	if err != nil {
		fr.Image = Image{}
		return what, err
	}
	fr.Image.Saturation = full(&fr.Image)
	if h.colour == 0 {
		fr.Image.Mosaic = evident(&fr.Image)
	}
	return what, nil
}

func libraryPNG(s *source, im *Image) error {
	m, err := png.Decode(s.section(0, s.size))
	if err != nil {
		return fmt.Errorf("PNG (%v): %w", err, ErrDamaged)
	}
	setImage(im, m)
	return nil
}

// full returns the largest value that the pixels' type holds.
func full(im *Image) float32 {
	if im.U8 != nil {
		return 255
	}
	return 65535
}

// maxChunks bounds the walk through a file's chunks.
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
	if h.colour > 6 || h.channels() == 0 || h.depth < 1 || h.depth > 16 {
		return h, fmt.Errorf("PNG of colour type %d, depth %d: %w", h.colour, h.depth, ErrDamaged)
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

// pngRows decodes the rows of a plain PNG picture.
type pngRows struct {
	pngHeader
	s   *source
	im  *Image
	bpp int      // bytes of a pixel
	u16 []uint16 // a row of samples
}

// decode unpacks blocks of rows while the block before is unfiltered.
func (p *pngRows) decode() error {
	im := p.im
	im.W, im.H = int(p.w), int(p.h)
	p.bpp = p.channels() * p.depth / 8
	if p.depth == 8 {
		im.U8 = Pixels[uint8](im.W * im.H)
	} else {
		im.U16 = Pixels[uint16](im.W * im.H)
		p.u16 = make([]uint16, im.W*p.channels())
	}
	size := im.W*p.bpp + 1
	rows := max(1, chunk/size)
	free, full := make(chan []byte, 2), make(chan pngBlock, 2)
	for range 2 {
		free <- make([]byte, size*min(rows, im.H))
	}
	go p.unpack(size, free, full)
	defer func() { // let the other end, also after an error here
		close(free)
		for range full {
		}
	}()
	last := make([]byte, size)
	y := 0
	for b := range full {
		if b.err != nil {
			return b.err
		}
		for at := 0; at < len(b.rows); at += size {
			row := b.rows[at : at+size]
			if err := unfilter(row[0], row[1:], last[1:], p.bpp); err != nil {
				return err
			}
			p.put(y, row[1:])
			last = row
			y++
		}
		last = append([]byte(nil), last...)
		free <- b.rows[:cap(b.rows)]
	}
	return nil
}

// pngBlock is some filtered rows, or why there are none.
type pngBlock struct {
	rows []byte
	err  error
}

// unpack inflates all rows, block by block.
func (p *pngRows) unpack(size int, free chan []byte, full chan pngBlock) {
	var err error
	defer func() {
		if err != nil {
			full <- pngBlock{err: fmt.Errorf("PNG pixels (%v): %w; copy the file again", err, ErrDamaged)}
		}
		close(full)
	}()
	defer catch(&err)
	z, err := zlib.NewReader(&idat{r: p.s.section(p.pixels, p.s.size)})
	if err != nil {
		return
	}
	for y := 0; y < p.im.H; {
		b, ok := <-free
		if !ok {
			return
		}
		n := min(len(b)/size, p.im.H-y)
		b = b[:n*size]
		if _, err = io.ReadFull(z, b); err != nil {
			return
		}
		full <- pngBlock{rows: b}
		y += n
	}
	var end [1]byte
	if _, e := z.Read(end[:]); e != nil && e != io.EOF {
		err = e // the checksum at the end
	}
}

// put writes a row's luminance.
func (p *pngRows) put(y int, row []byte) {
	im, w, n := p.im, p.im.W, p.channels()
	if p.depth == 8 {
		dst := im.U8[y*w : (y+1)*w]
		if n >= 3 {
			putMixed(dst, row, row[1:], row[2:], n)
		} else {
			putPlain(dst, row, n, false, 0)
		}
		return
	}
	dst := im.U16[y*w : (y+1)*w]
	copy(bytesOf(p.u16), row)
	swapWords(p.u16, 0)
	if n >= 3 {
		putMixed(dst, p.u16, p.u16[1:], p.u16[2:], n)
	} else {
		putPlain(dst, p.u16, n, false, 0)
	}
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
