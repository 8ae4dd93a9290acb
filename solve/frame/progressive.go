package frame

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"slices"
)

// progressive decodes the luminance of a progressive JPEG picture (ITU-T T.81,
// annex G). The standard library keeps the coefficients of all colours, up to 15
// bytes a pixel; here those of the luminance are kept, in two, and the scans of
// the other colours are passed over.
type progressive struct {
	src     []byte
	at      int // place of what is not yet read
	work    *work
	w, h    int
	comps   []component
	quant   [4][64]float32
	codes   [2][4]*huffman // for DC and for AC coefficients
	restart int            // MCUs between restarts, 0 none
	adobe   int            // colour transform that an Adobe segment tells, -1 none
	jfif    bool
	across  int     // blocks of luminance in a row
	down    int     // rows of them
	coef    []int16 // of the luminance, block by block

	// Of the scan at hand: its header, colours, coefficients and bits.
	sos      []byte
	inScan   []int
	from, to int
	old, low uint
	bits     jpegBits
	run      int    // blocks without new coefficients to come
	last     [4]int // DC coefficients before
}

// component is a colour of the picture.
type component struct {
	id           byte
	wide, high   int // blocks in an MCU
	quant        byte
	dcTab, acTab byte
}

// zigzag is the order in which the coefficients of a block are stored (figure
// A.6).
var zigzag = func() (z [64]uint8) {
	x, y, dx := 0, 0, 1
	for i := range z {
		z[i] = uint8(8*y + x)
		switch {
		case dx > 0 && x == 7:
			y, dx = y+1, -1
		case dx > 0 && y == 0:
			x, dx = x+1, -1
		case dx < 0 && y == 7:
			x, dx = x+1, 1
		case dx < 0 && x == 0:
			y, dx = y+1, 1
		default:
			x, y = x+dx, y-dx
		}
	}
	return z
}()

func badProgressive(format string, a ...any) error {
	return fmt.Errorf("progressive JPEG: "+format+": %w", append(a, ErrDamaged)...)
}

// openProgressive reads the headers of a progressive JPEG picture, nil when it is
// none or has no luminance at full resolution among its colours.
func openProgressive(b []byte) *progressive {
	p := &progressive{adobe: -1, src: b, at: 2}
	if more, err := p.headers(); err != nil || !more || !p.luminous() {
		return nil
	}
	return p
}

// luminous reports whether the first colour is luminance at full resolution.
func (p *progressive) luminous() bool {
	switch len(p.comps) {
	case 1:
		return true
	case 3:
		c := p.comps
		rgb := !p.jfif && (p.adobe == 0 || p.adobe < 0 && c[0].id == 'R' && c[1].id == 'G' && c[2].id == 'B')
		return !rgb && c[0].wide >= max(c[1].wide, c[2].wide) && c[0].high >= max(c[1].high, c[2].high)
	}
	return false
}

// decode reads the picture into im.
func (p *progressive) decode(im *Image) error {
	p.coef = Pixels[int16](p.across * p.down * 64)
	for more := true; more; {
		err := p.scan()
		if err == nil {
			more, err = p.headers()
		}
		if err != nil {
			return err
		}
	}
	im.W, im.H = p.w, p.h
	im.U8 = Pixels[uint8](p.w * p.h)
	return each(up(p.h, 8), p.w*p.h, func(row int) error {
		p.reconstruct(im, row)
		return nil
	})
}

// memory returns the bytes that decoding takes besides the plane.
func (p *progressive) memory() int64 {
	return 128*int64(p.across)*int64(p.down) + int64(len(p.src))
}

func up(n, step int) int { return (n + step - 1) / step }

// headers reads segments up to the next scan header, which stays to be read, and
// reports whether there is one.
func (p *progressive) headers() (more bool, err error) {
	for {
		i := bytes.IndexByte(p.src[min(p.at, len(p.src)):], 0xff)
		if i < 0 || p.at+i+2 > len(p.src) {
			return false, badProgressive("it ends without an end")
		}
		p.at += i + 1
		marker := p.src[p.at]
		switch {
		case marker == 0xff:
			continue
		case marker == 0 || marker >= 0xd0 && marker <= 0xd8:
			p.at++
			continue
		case marker == 0xd9:
			return false, nil
		}
		if p.at+3 > len(p.src) {
			return false, badProgressive("it ends within a segment")
		}
		n := int(binary.BigEndian.Uint16(p.src[p.at+1:]))
		if n < 2 || p.at+1+n > len(p.src) {
			return false, badProgressive("segment of %d bytes at byte %d of %d", n, p.at, len(p.src))
		}
		seg := p.src[p.at+3 : p.at+1+n]
		p.at += 1 + n
		if marker == 0xda {
			p.sos = seg
			return true, p.begin()
		}
		if err := p.segment(marker, seg); err != nil {
			return false, err
		}
	}
}

// segment reads one that is not of a scan.
func (p *progressive) segment(marker byte, b []byte) error {
	switch marker {
	case 0xc2:
		return p.frame(b)
	case 0xc4:
		return p.tables(b)
	case 0xdb:
		return p.quantities(b)
	case 0xdd:
		if len(b) < 2 {
			return badProgressive("restart interval of %d bytes", len(b))
		}
		p.restart = int(binary.BigEndian.Uint16(b))
	case 0xe0:
		p.jfif = p.jfif || bytes.HasPrefix(b, []byte("JFIF\x00"))
	case 0xee:
		if len(b) >= 12 && bytes.HasPrefix(b, []byte("Adobe")) {
			p.adobe = int(b[11])
		}
	case 0xc0, 0xc1, 0xc3, 0xc5, 0xc6, 0xc7, 0xc9, 0xca, 0xcb, 0xcd, 0xce, 0xcf:
		return fmt.Errorf("JPEG process %#x: %w", marker, ErrUnsupported)
	}
	return nil
}

// frame reads the frame header.
func (p *progressive) frame(b []byte) error {
	if len(p.comps) > 0 || len(b) < 6 || b[0] != 8 || len(b) < 6+3*int(b[5]) {
		return badProgressive("frame header of %d bytes", len(b))
	}
	p.h, p.w = int(binary.BigEndian.Uint16(b[1:])), int(binary.BigEndian.Uint16(b[3:]))
	if p.w == 0 || p.h == 0 || b[5] < 1 || b[5] > 4 {
		return badProgressive("%d x %d pixels of %d colours", p.w, p.h, b[5])
	}
	for i := range int(b[5]) {
		c := b[6+3*i:]
		p.comps = append(p.comps, component{id: c[0], wide: int(c[1] >> 4), high: int(c[1] & 15), quant: c[2] & 3})
		if k := p.comps[i]; k.wide < 1 || k.wide > 4 || k.high < 1 || k.high > 4 {
			return badProgressive("colour sampled %d x %d", k.wide, k.high)
		}
	}
	if len(p.comps) == 1 { // its blocks are not interleaved, whatever it says
		p.comps[0].wide, p.comps[0].high = 1, 1
	}
	y := p.comps[0]
	p.across, p.down = up(p.w, 8*y.wide)*y.wide, up(p.h, 8*y.high)*y.high
	return nil
}

// tables reads code tables.
func (p *progressive) tables(b []byte) error {
	for len(b) > 0 {
		if len(b) < 17 {
			return badProgressive("code table of %d bytes", len(b))
		}
		n := 0
		for _, c := range b[1:17] {
			n += int(c)
		}
		if n == 0 || n > 256 || len(b) < 17+n {
			return badProgressive("code table of %d codes in %d bytes", n, len(b))
		}
		t, err := newHuffman(b[1:17], b[17:17+n], 255)
		if err != nil {
			return err
		}
		p.codes[b[0]>>4&1][b[0]&3] = t
		b = b[17+n:]
	}
	return nil
}

// quantities reads tables of what a unit of each coefficient is worth.
func (p *progressive) quantities(b []byte) error {
	for len(b) > 0 {
		size := 1 + int(b[0]>>4&1)
		if len(b) < 1+64*size {
			return badProgressive("table of coefficients of %d bytes", len(b))
		}
		for i := range 64 {
			v := int(b[1+i*size])
			if size == 2 {
				v = v<<8 | int(b[2+i*size])
			}
			p.quant[b[0]&3][zigzag[i]] = float32(v)
		}
		b = b[1+64*size:]
	}
	return nil
}

// begin reads a scan header.
func (p *progressive) begin() error {
	b := p.sos
	if len(p.comps) == 0 || len(b) < 1 || b[0] < 1 || int(b[0]) > len(p.comps) || len(b) < 4+2*int(b[0]) {
		return badProgressive("scan header of %d bytes", len(b))
	}
	p.inScan = p.inScan[:0]
	for i := range int(b[0]) {
		found := false
		for k := range p.comps {
			if p.comps[k].id == b[1+2*i] && !found {
				p.comps[k].dcTab, p.comps[k].acTab = b[2+2*i]>>4&3, b[2+2*i]&3
				p.inScan, found = append(p.inScan, k), true
			}
		}
		if !found {
			return badProgressive("scan of the unknown colour %d", b[1+2*i])
		}
	}
	tail := b[1+2*len(p.inScan):]
	p.from, p.to, p.old, p.low = int(tail[0]), int(tail[1]), uint(tail[2]>>4), uint(tail[2]&15)
	dc := p.from == 0 && p.to == 0
	if !dc && (p.from == 0 || p.to < p.from || p.to > 63 || len(p.inScan) > 1) || p.low > 13 || p.old != 0 && p.old != p.low+1 {
		return badProgressive("scan of coefficients %d to %d, bits %d to %d", p.from, p.to, p.old, p.low)
	}
	return nil
}

// scan decodes the scan whose header was read; one that has nothing of the
// luminance is passed over.
func (p *progressive) scan() error {
	if !slices.Contains(p.inScan, 0) {
		return nil
	}
	p.bits = jpegBits{src: p.src, at: p.at}
	p.run, p.last = 0, [4]int{}
	var err error
	if len(p.inScan) > 1 {
		err = p.units(up(p.w, 8*p.comps[0].wide), up(p.h, 8*p.comps[0].high), true)
	} else {
		err = p.units(up(p.w, 8), up(p.h, 8), false)
	}
	p.at = p.bits.at
	return err
}

// blockWork is spent on a block that is visited, and stands for bytes (no source).
const blockWork = 32

// units decodes MCUs, of one block of luminance each unless interleaved.
func (p *progressive) units(across, down int, interleaved bool) error {
	n := 0
	for my := range down {
		if err := p.work.spend(blockWork * int64(across) * int64(len(p.inScan))); err != nil {
			return err
		}
		for mx := range across {
			if p.restart > 0 && n > 0 && n%p.restart == 0 {
				if !p.bits.nextSegment() {
					return badProgressive("no restart before block %d", n)
				}
				p.run, p.last = 0, [4]int{}
			}
			n++
			var err error
			if interleaved {
				err = p.unit(mx, my)
			} else {
				err = p.block(p.at64(mx, my))
			}
			if err != nil {
				return err
			}
		}
		if p.bits.bad || p.bits.over > 8 {
			return badProgressive("data end in row %d of %d", my, down)
		}
	}
	return nil
}

// at64 returns the coefficients of a block of luminance.
func (p *progressive) at64(x, y int) []int16 {
	at := 64 * (y*p.across + x)
	return p.coef[at : at+64]
}

// unit decodes the DC coefficients of an MCU of several colours.
func (p *progressive) unit(mx, my int) error {
	for _, k := range p.inScan {
		c := p.comps[k]
		for i := range c.wide * c.high {
			var other [64]int16
			b := other[:]
			if k == 0 {
				b = p.at64(mx*c.wide+i%c.wide, my*c.high+i/c.wide)
			}
			if err := p.first(b, k); err != nil {
				return err
			}
		}
	}
	return nil
}

// block decodes a block of a scan of the luminance alone.
func (p *progressive) block(b []int16) error {
	switch {
	case p.from == 0:
		return p.first(b, 0)
	case p.old == 0:
		return p.fresh(b)
	}
	return p.refine(b)
}

// first decodes a DC coefficient of colour k (section G.1.2.1).
func (p *progressive) first(b []int16, k int) error {
	if p.old != 0 {
		if p.bits.take(1) != 0 {
			b[0] |= 1 << p.low
		}
		return nil
	}
	t := p.codes[0][p.comps[k].dcTab]
	if t == nil {
		return badProgressive("no code for colour %d", k)
	}
	n := p.bits.code(t)
	if n > 15 {
		return badProgressive("difference of %d bits", n)
	}
	p.last[k] += p.bits.signed(n)
	b[0] = int16(p.last[k] << p.low)
	return nil
}

// fresh decodes AC coefficients for the first time (section G.1.2.2).
func (p *progressive) fresh(b []int16) error {
	if p.run > 0 {
		p.run--
		return nil
	}
	t := p.codes[1][p.comps[0].acTab]
	if t == nil {
		return badProgressive("no code for coefficients")
	}
	for k := p.from; k <= p.to; k++ {
		v := p.bits.code(t)
		zeros, size := int(v>>4), v&15
		if size == 0 {
			if zeros < 15 {
				p.run = 1<<zeros + int(p.bits.take(uint(zeros))) - 1
				return nil
			}
			k += 15
			continue
		}
		if k += zeros; k > p.to {
			return badProgressive("coefficient %d of %d", k, p.to)
		}
		b[zigzag[k]] = int16(p.bits.signed(size) << p.low)
	}
	return nil
}

// refine adds a bit to AC coefficients (section G.1.2.3).
func (p *progressive) refine(b []int16) error {
	k := p.from
	if p.run == 0 {
		t := p.codes[1][p.comps[0].acTab]
		if t == nil {
			return badProgressive("no code for coefficients")
		}
		for ; k <= p.to; k++ {
			v := p.bits.code(t)
			zeros, z := int(v>>4), int16(0)
			switch v & 15 {
			case 0:
				if zeros < 15 {
					p.run = 1<<zeros + int(p.bits.take(uint(zeros)))
				}
			case 1:
				z = -1 << p.low
				if p.bits.take(1) != 0 {
					z = 1 << p.low
				}
			default:
				return badProgressive("new coefficient of %d bits", v&15)
			}
			if p.run > 0 {
				break
			}
			if k = p.pass(b, k, zeros); z != 0 && k <= p.to {
				b[zigzag[k]] = z
			}
		}
	}
	if p.run > 0 {
		p.run--
		p.pass(b, k, 64)
	}
	return nil
}

// pass adds a bit to the coefficients that are not zero from place k on, goes past
// some that are zero, and returns the place of the next zero one.
func (p *progressive) pass(b []int16, k, zeros int) int {
	for ; k <= p.to; k++ {
		c := &b[zigzag[k]]
		if *c == 0 {
			if zeros == 0 {
				break
			}
			zeros--
			continue
		}
		if p.bits.take(1) == 0 {
			continue
		}
		if *c > 0 {
			*c += 1 << p.low
		} else {
			*c -= 1 << p.low
		}
	}
	return k
}

// waves are the values of the cosines of the transform (section A.3.3), by place
// and frequency, with their weights.
var waves = func() (w [8][8]float32) {
	for x := range w {
		for u := range w[x] {
			c := 0.5
			if u == 0 {
				c = math.Sqrt(0.125)
			}
			w[x][u] = float32(c * math.Cos(float64(2*x+1)*float64(u)*math.Pi/16))
		}
	}
	return w
}()

// reconstruct writes the pixels of a row of blocks.
func (p *progressive) reconstruct(im *Image, row int) {
	q := &p.quant[p.comps[0].quant]
	for bx := range up(p.w, 8) {
		var out [64]float32
		inverse(p.at64(bx, row), q, &out)
		for y := range min(8, p.h-8*row) {
			dst := im.U8[(8*row+y)*p.w+8*bx:]
			for x := range min(8, p.w-8*bx) {
				dst[x] = uint8(max(0, min(255, out[8*y+x]+128.5)))
			}
		}
	}
}

// inverse is the inverse cosine transform of a block.
func inverse(c []int16, q *[64]float32, out *[64]float32) {
	var half [64]float32 // by row of frequencies and column of pixels
	var used [8]bool
	for v := range 8 {
		for u := range 8 {
			k := c[8*v+u]
			if k == 0 {
				continue
			}
			used[v] = true
			a := float32(k) * q[8*v+u]
			for x := range 8 {
				half[8*v+x] += a * waves[x][u]
			}
		}
	}
	for v := range 8 {
		if !used[v] {
			continue
		}
		for y := range 8 {
			w := waves[y][v]
			for x := range 8 {
				out[8*y+x] += w * half[8*v+x]
			}
		}
	}
}

// take returns the next n bits, at most 16.
func (r *jpegBits) take(n uint) uint {
	if r.have < 32 {
		r.fill()
	}
	r.have -= int(n)
	return uint(r.hold >> r.have & (1<<n - 1))
}

// code decodes one code.
func (r *jpegBits) code(h *huffman) uint {
	if r.have < 32 {
		r.fill()
	}
	if e := h.fast[r.hold>>(r.have-9)&0x1ff]; e != 0 {
		r.have -= int(e >> 8)
		return uint(e & 0xff)
	}
	return r.long(h)
}

// signed reads a number of n bits as table F.1 has it.
func (r *jpegBits) signed(n uint) int {
	if n == 0 {
		return 0
	}
	v := int(r.take(n))
	if v < 1<<(n-1) {
		v -= 1<<n - 1
	}
	return v
}
