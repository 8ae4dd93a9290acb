package frame

import (
	"bytes"
	"encoding/binary"
	"math"
	"sort"
)

// tiffDir is a TIFF directory to be written: a writer small enough to see that
// it is right.
type tiffDir struct {
	order  binary.ByteOrder
	fields map[uint16]tiffField
	next   *tiffDir
}

type tiffField struct {
	typ  uint16
	n    int
	data []byte
	sub  []*tiffDir // directories the entry points to
}

func newTIFF(big bool) *tiffDir {
	d := &tiffDir{order: binary.LittleEndian, fields: map[uint16]tiffField{}}
	if big {
		d.order = binary.BigEndian
	}
	return d
}

func (d *tiffDir) put(tag, typ uint16, n int, data []byte) *tiffDir {
	d.fields[tag] = tiffField{typ: typ, n: n, data: data}
	return d
}

func (d *tiffDir) short(tag uint16, v ...int) *tiffDir {
	b := make([]byte, 2*len(v))
	for i, x := range v {
		d.order.PutUint16(b[2*i:], uint16(x))
	}
	return d.put(tag, tShort, len(v), b)
}

func (d *tiffDir) long(tag uint16, v ...int) *tiffDir {
	b := make([]byte, 4*len(v))
	for i, x := range v {
		d.order.PutUint32(b[4*i:], uint32(x))
	}
	return d.put(tag, tLong, len(v), b)
}

func (d *tiffDir) rational(tag uint16, v ...int) *tiffDir {
	d.long(tag, v...)
	return d.put(tag, tRational, len(v)/2, d.fields[tag].data)
}

func (d *tiffDir) raw(tag uint16, v ...byte) *tiffDir { return d.put(tag, tByte, len(v), v) }

func (d *tiffDir) text(tag uint16, s string) *tiffDir {
	return d.put(tag, tASCII, len(s)+1, append([]byte(s), 0))
}

func (d *tiffDir) add(tag uint16, sub ...*tiffDir) *tiffDir {
	d.fields[tag] = tiffField{typ: tLong, n: len(sub), data: make([]byte, 4*len(sub)), sub: sub}
	return d
}

// strips makes the directory point to pieces of pixels that bytes appends.
func (d *tiffDir) strips(at int, tiles bool, pieces ...[]byte) (*tiffDir, []byte) {
	var off, n []int
	var all []byte
	for _, p := range pieces {
		off, n = append(off, at+len(all)), append(n, len(p))
		all = append(all, p...)
	}
	if tiles {
		return d.long(tagTileOffsets, off...).long(tagTileCounts, n...), all
	}
	return d.long(tagStripOffsets, off...).long(tagStripCounts, n...), all
}

// bytes writes a file: header, pixels at byte 8, then the directories.
func (d *tiffDir) bytes(pixels []byte) []byte {
	var b bytes.Buffer
	if d.order == binary.LittleEndian {
		b.WriteString("II*\x00")
	} else {
		b.WriteString("MM\x00*")
	}
	b.Write(make([]byte, 4))
	b.Write(pixels)
	if b.Len()%2 == 1 {
		b.WriteByte(0)
	}
	at := d.write(&b)
	out := b.Bytes()
	d.order.PutUint32(out[4:], uint32(at))
	return out
}

// write appends the directory with what it points to and returns its offset.
func (d *tiffDir) write(b *bytes.Buffer) int {
	var tags []uint16
	for t := range d.fields {
		tags = append(tags, t)
	}
	sort.Slice(tags, func(i, j int) bool { return tags[i] < tags[j] })
	table := make([]byte, 2+12*len(tags)+4)
	d.order.PutUint16(table, uint16(len(tags)))
	for i, t := range tags {
		f := d.fields[t]
		for k, s := range f.sub {
			d.order.PutUint32(f.data[4*k:], uint32(s.write(b)))
		}
		e := table[2+12*i:]
		d.order.PutUint16(e, t)
		d.order.PutUint16(e[2:], f.typ)
		d.order.PutUint32(e[4:], uint32(f.n))
		if len(f.data) <= 4 {
			copy(e[8:12], f.data)
		} else {
			d.order.PutUint32(e[8:], uint32(b.Len()))
			b.Write(f.data)
			if b.Len()%2 == 1 {
				b.WriteByte(0)
			}
		}
	}
	if d.next != nil {
		d.order.PutUint32(table[len(table)-4:], uint32(d.next.write(b)))
	}
	at := b.Len()
	b.Write(table)
	return at
}

// words16 returns 16-bit numbers in a byte order.
func words16(order binary.ByteOrder, v []uint16) []byte {
	b := make([]byte, 2*len(v))
	for i, x := range v {
		order.PutUint16(b[2*i:], x)
	}
	return b
}

// packed returns numbers of some bits, the highest first, as DNG packs a row.
func packed(v []uint16, bits int) []byte {
	b := make([]byte, (len(v)*bits+7)/8)
	for i, x := range v {
		for k := range bits {
			if x>>(bits-1-k)&1 != 0 {
				at := i*bits + k
				b[at/8] |= 0x80 >> (at % 8)
			}
		}
	}
	return b
}

// losslessJPEG encodes samples as ITU-T T.81, annex H says: rows of w pixels of
// n colours. The code is one of 17 lengths that are all 5 bits.
func losslessJPEG(v []uint16, w, n, prec, predictor int) []byte {
	h := len(v) / (w * n)
	out := []byte{0xff, 0xd8, 0xff, 0xc3}
	out = binary.BigEndian.AppendUint16(out, uint16(8+3*n))
	out = append(out, byte(prec), byte(h>>8), byte(h), byte(w>>8), byte(w), byte(n))
	for c := range n {
		out = append(out, byte(c), 0x11, 0)
	}
	out = append(out, 0xff, 0xc4, 0, 2+17+17, 0)
	counts := make([]byte, 16)
	counts[4] = 17
	out = append(out, counts...)
	for i := range 17 {
		out = append(out, byte(i))
	}
	out = append(out, 0xff, 0xda, 0, byte(6+2*n), byte(n))
	for c := range n {
		out = append(out, byte(c), 0)
	}
	out = append(out, byte(predictor), 0, 0)
	var hold uint64
	have := 0
	put := func(x uint64, bits int) {
		hold, have = hold<<bits|x, have+bits
		for have >= 8 {
			have -= 8
			b := byte(hold >> have)
			out = append(out, b)
			if b == 0xff {
				out = append(out, 0)
			}
		}
	}
	at := func(y, i int) int { return int(v[y*w*n+i]) }
	for y := range h {
		for i := range w * n {
			p := 1 << (prec - 1)
			switch {
			case y == 0 && i >= n:
				p = at(0, i-n)
			case y > 0 && i < n:
				p = at(y-1, i)
			case y > 0:
				a, b, c := at(y, i-n), at(y-1, i), at(y-1, i-n)
				p = []int{0, a, b, c, a + b - c, a + (b-c)>>1, b + (a-c)>>1, (a + b) >> 1}[predictor]
			}
			d := int(int16(at(y, i) - p))
			size := 0
			if d != 0 {
				size = int(math.Log2(math.Abs(float64(d)))) + 1
			}
			put(uint64(size), 5)
			if size < 16 {
				if d < 0 {
					d += 1<<size - 1
				}
				put(uint64(d), size)
			}
		}
	}
	put(1<<7-1, 7)
	return append(out, 0xff, 0xd9)
}
