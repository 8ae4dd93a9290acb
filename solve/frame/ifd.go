package frame

import (
	"encoding/binary"
	"fmt"
	"math"
	"strings"
)

// Types of the values of a directory entry (TIFF 6.0, section 2; type 13 from
// its supplement, 16 to 18 from BigTIFF).
const (
	tByte = 1 + iota
	tASCII
	tShort
	tLong
	tRational
	tSByte
	tUndefined
	tSShort
	tSLong
	tSRational
	tFloat
	tDouble
	tIFD
)

const (
	tLong8  = 16
	tSLong8 = 17
	tIFD8   = 18
)

var typeSize = map[uint16]int64{
	tByte: 1, tASCII: 1, tShort: 2, tLong: 4, tRational: 8, tSByte: 1, tUndefined: 1,
	tSShort: 2, tSLong: 4, tSRational: 8, tFloat: 4, tDouble: 8, tIFD: 4, tLong8: 8, tSLong8: 8, tIFD8: 8,
}

// Limits on directories, far above what any camera writes.
const (
	maxEntries = 4096
	maxIFDs    = 64
	maxText    = 4096
)

// container is a file of TIFF directories.
type container struct {
	*source
	order binary.ByteOrder
	big   bool // BigTIFF: 64-bit offsets
	first int64
	seen  map[int64]bool // directories already read, to break loops
}

// field is an entry of a directory and where its values lie.
type field struct {
	typ   uint16
	count int64
	off   int64
}

// directory is one TIFF directory (IFD).
type directory struct {
	c      *container
	fields map[uint16]field
	next   int64
}

// openContainer reads the eight or sixteen bytes at the start of a TIFF file.
// Makers' variants of the magic number are accepted.
func openContainer(s *source) (*container, error) {
	b, err := s.head(16)
	if err != nil {
		return nil, err
	}
	if len(b) < 8 {
		return nil, fmt.Errorf("TIFF header of %d bytes: %w", len(b), ErrDamaged)
	}
	c := &container{source: s, seen: map[int64]bool{}}
	switch string(b[:2]) {
	case "II":
		c.order = binary.LittleEndian
	case "MM":
		c.order = binary.BigEndian
	default:
		return nil, fmt.Errorf("TIFF byte order %q: %w", b[:2], ErrDamaged)
	}
	c.first = int64(c.order.Uint32(b[4:]))
	if c.order.Uint16(b[2:]) == 43 {
		if len(b) < 16 || c.order.Uint16(b[4:]) != 8 {
			return nil, fmt.Errorf("BigTIFF header: %w", ErrDamaged)
		}
		c.big = true
		c.first = int64(c.order.Uint64(b[8:]))
	}
	return c, nil
}

// little reports whether the file stores the low byte first.
func (c *container) little() bool { return c.order == binary.LittleEndian }

// read returns the directory at off. Every directory is read once only.
func (c *container) read(off int64) (*directory, error) {
	if c.seen[off] || len(c.seen) >= maxIFDs {
		return nil, fmt.Errorf("TIFF directory at byte %d is met twice or is one of more than %d: %w", off, maxIFDs, ErrDamaged)
	}
	c.seen[off] = true
	head, size, inline := int64(2), int64(12), int64(4)
	if c.big {
		head, size, inline = 8, 20, 8
	}
	b, err := c.bytes(off, head, "TIFF directory")
	if err != nil {
		return nil, err
	}
	n := c.uint(b)
	if n > maxEntries {
		return nil, fmt.Errorf("TIFF directory of %d entries, the limit is %d: %w", n, maxEntries, ErrDamaged)
	}
	b, err = c.bytes(off+head, n*size, "TIFF directory")
	if err != nil {
		return nil, err
	}
	d := &directory{c: c, fields: map[uint16]field{}}
	for i := range n {
		e := b[i*size : (i+1)*size]
		f := field{typ: c.order.Uint16(e[2:]), count: c.uint(e[4 : 4+inline]), off: off + head + i*size + 4 + inline}
		width, known := typeSize[f.typ]
		if !known || f.count < 0 || f.count > c.size {
			continue
		}
		if f.count*width > inline {
			f.off = c.uint(e[4+inline : 4+2*inline])
		}
		if c.check(f.off, f.count*width, "TIFF entry") == nil {
			d.fields[c.order.Uint16(e)] = f
		}
	}
	if b, err := c.bytes(off+head+n*size, inline, "TIFF directory"); err == nil {
		d.next = c.uint(b)
	}
	return d, nil
}

// uint reads an unsigned number of len(b) bytes: 2, 4 or 8.
func (c *container) uint(b []byte) int64 {
	switch len(b) {
	case 2:
		return int64(c.order.Uint16(b))
	case 4:
		return int64(c.order.Uint32(b))
	}
	return int64(min(c.order.Uint64(b), math.MaxInt64))
}

// nums returns the first most values of a numeric entry, nil when it is
// missing.
func (d *directory) nums(tag uint16, most int64) []float64 {
	f, ok := d.fields[tag]
	if !ok || f.typ == tASCII {
		return nil
	}
	width := typeSize[f.typ]
	n := min(f.count, most)
	b, err := d.c.bytes(f.off, n*width, "TIFF entry")
	if err != nil {
		return nil
	}
	out := make([]float64, n)
	for i := range out {
		out[i] = d.c.value(f.typ, b[int64(i)*width:])
	}
	return out
}

// value returns the number at the start of b.
func (c *container) value(typ uint16, b []byte) float64 {
	o := c.order
	switch typ {
	case tByte, tUndefined:
		return float64(b[0])
	case tSByte:
		return float64(int8(b[0]))
	case tShort:
		return float64(o.Uint16(b))
	case tSShort:
		return float64(int16(o.Uint16(b)))
	case tLong, tIFD:
		return float64(o.Uint32(b))
	case tSLong:
		return float64(int32(o.Uint32(b)))
	case tRational:
		return float64(o.Uint32(b)) / float64(o.Uint32(b[4:]))
	case tSRational:
		return float64(int32(o.Uint32(b))) / float64(int32(o.Uint32(b[4:])))
	case tFloat:
		return float64(math.Float32frombits(o.Uint32(b)))
	case tDouble:
		return math.Float64frombits(o.Uint64(b))
	case tSLong8:
		return float64(int64(o.Uint64(b)))
	}
	return float64(o.Uint64(b)) // tLong8, tIFD8
}

// num returns the first value of a numeric entry when it is finite.
func (d *directory) num(tag uint16) (float64, bool) {
	v := d.nums(tag, 1)
	if len(v) == 0 || math.IsNaN(v[0]) || math.IsInf(v[0], 0) {
		return 0, false
	}
	return v[0], true
}

// integer returns the first value of an entry, or def when it is missing.
func (d *directory) integer(tag uint16, def int64) int64 {
	if v, ok := d.num(tag); ok && math.Abs(v) < 1<<53 {
		return int64(v)
	}
	return def
}

// text returns a string entry up to its first zero byte, trimmed.
func (d *directory) text(tag uint16) string {
	f, ok := d.fields[tag]
	if !ok || f.typ != tASCII && f.typ != tByte && f.typ != tUndefined {
		return ""
	}
	b, err := d.c.bytes(f.off, min(f.count, maxText), "TIFF entry")
	if err != nil {
		return ""
	}
	s, _, _ := strings.Cut(string(b), "\x00")
	return strings.TrimSpace(s)
}

// sub returns the directory that an entry points to, or nil.
func (d *directory) sub(tag uint16) *directory {
	off := d.integer(tag, 0)
	if off <= 0 {
		return nil
	}
	s, err := d.c.read(off)
	if err != nil {
		return nil
	}
	return s
}
