package frame

import (
	"encoding/binary"
	"fmt"
)

// ljpeg decodes lossless JPEG (ITU-T T.81, annex H), the packing of raw data in
// DNG files, sample by sample: the colours of a pixel in turn, pixels along a
// row, rows down.
type ljpeg struct {
	prec      uint // bits of a sample
	w, h      int
	comps     int
	table     [4]*huffman // of each colour
	predictor int
	shift     uint // point transform
	restart   int  // rows between restarts, 0 none
	bits      jpegBits
	row, last []uint16 // samples of this row and of the one above
	y, at     int      // rows decoded; samples of row already handed out
	work      *work
}

func damagedJPEG(format string, a ...any) error {
	return fmt.Errorf("lossless JPEG: "+format+": %w", append(a, ErrDamaged)...)
}

// openLJPEG reads the headers of a lossless JPEG stream.
func openLJPEG(b []byte) (*ljpeg, error) {
	if len(b) < 4 || b[0] != 0xff || b[1] != 0xd8 {
		return nil, damagedJPEG("no start")
	}
	j := &ljpeg{}
	var dht [4]*huffman
	interval := 0
	for at := 2; ; {
		if at+4 > len(b) || b[at] != 0xff {
			return nil, damagedJPEG("no marker at byte %d of %d", at, len(b))
		}
		marker, n := b[at+1], int(binary.BigEndian.Uint16(b[at+2:]))
		if marker == 0xff {
			at++
			continue
		}
		if n < 2 || at+2+n > len(b) {
			return nil, damagedJPEG("segment of %d bytes at byte %d of %d", n, at, len(b))
		}
		seg := b[at+4 : at+2+n]
		at += 2 + n
		var err error
		switch marker {
		case 0xc3:
			err = j.frame(seg)
		case 0xc4:
			err = huffmanTables(seg, &dht)
		case 0xdd:
			if len(seg) >= 2 {
				interval = int(binary.BigEndian.Uint16(seg))
			}
		case 0xda:
			j.bits.src = b[at:]
			return j, j.scan(seg, dht, interval)
		case 0xc0, 0xc1, 0xc2, 0xc5, 0xc6, 0xc7, 0xc9, 0xca, 0xcb, 0xcd, 0xce, 0xcf:
			err = fmt.Errorf("JPEG process %#x in raw data: %w", marker, ErrUnsupported)
		}
		if err != nil {
			return nil, err
		}
	}
}

// frame reads the frame header.
func (j *ljpeg) frame(b []byte) error {
	if len(b) < 6 {
		return damagedJPEG("frame header of %d bytes", len(b))
	}
	j.prec = uint(b[0])
	j.h, j.w = int(binary.BigEndian.Uint16(b[1:])), int(binary.BigEndian.Uint16(b[3:]))
	j.comps = int(b[5])
	if j.prec < 2 || j.prec > 16 || j.w < 1 || j.h < 1 || j.comps < 1 || j.comps > 4 || len(b) < 6+3*j.comps {
		return damagedJPEG("%d x %d samples of %d bits in %d colours", j.w, j.h, j.prec, j.comps)
	}
	for c := range j.comps {
		if b[6+3*c+1] != 0x11 {
			return fmt.Errorf("lossless JPEG with subsampled colours: %w", ErrUnsupported)
		}
	}
	return nil
}

// scan reads the scan header and makes ready to decode.
func (j *ljpeg) scan(b []byte, dht [4]*huffman, interval int) error {
	if j.comps == 0 || len(b) < 4+2*j.comps || int(b[0]) != j.comps {
		return damagedJPEG("scan header of %d bytes for %d colours", len(b), j.comps)
	}
	for c := range j.comps {
		j.table[c] = dht[b[2+2*c]>>4&3]
		if j.table[c] == nil {
			return damagedJPEG("no code for colour %d", c)
		}
	}
	j.predictor = int(b[1+2*j.comps])
	j.shift = uint(b[3+2*j.comps] & 15)
	if j.predictor < 1 || j.predictor > 7 || j.shift >= j.prec {
		return damagedJPEG("predictor %d, shift %d", j.predictor, j.shift)
	}
	if interval%j.w != 0 {
		return fmt.Errorf("lossless JPEG that restarts within a row: %w", ErrUnsupported)
	}
	j.restart = interval / j.w
	return nil
}

// samples returns how many samples the stream holds.
func (j *ljpeg) samples() int64 { return int64(j.w) * int64(j.h) * int64(j.comps) }

// read decodes the next len(dst) samples.
func (j *ljpeg) read(dst []uint16) error {
	if j.row == nil {
		j.row, j.last = make([]uint16, j.w*j.comps), make([]uint16, j.w*j.comps)
		j.at = len(j.row)
	}
	for len(dst) > 0 {
		if j.at == len(j.row) {
			if err := j.next(); err != nil {
				return err
			}
			j.at = 0
		}
		n := copy(dst, j.row[j.at:])
		j.at += n
		dst = dst[n:]
	}
	return nil
}

// next decodes a row.
func (j *ljpeg) next() error {
	if j.y >= j.h {
		return damagedJPEG("more than its %d rows are asked for", j.h)
	}
	if err := j.work.spend(2 * int64(len(j.row))); err != nil {
		return err
	}
	first := j.y == 0
	if j.restart > 0 && j.y > 0 && j.y%j.restart == 0 {
		if !j.bits.nextSegment() {
			return damagedJPEG("no restart before row %d", j.y)
		}
		first = true
	}
	j.row, j.last = j.last, j.row
	n := j.comps
	for c := range n { // first pixel: from above, or the middle of the range
		p := int(1) << (j.prec - j.shift - 1)
		if !first {
			p = int(j.last[c])
		}
		j.row[c] = uint16(p + j.bits.difference(j.table[c]))
	}
	predictor := j.predictor
	if first {
		predictor = 1
	}
	row, last := j.row, j.last
	if n == 1 && predictor == 1 {
		t, p := j.table[0], int(row[0])
		for i := 1; i < len(row); i++ {
			p += j.bits.difference(t)
			row[i] = uint16(p)
		}
	} else {
		for i := n; i < len(row); i++ {
			p := predict(predictor, int(row[i-n]), int(last[i]), int(last[i-n]))
			row[i] = uint16(p + j.bits.difference(j.table[i%n]))
		}
	}
	j.y++
	if j.bits.over > 8 || j.bits.bad {
		return damagedJPEG("data end in row %d of %d", j.y, j.h)
	}
	return nil
}

// predict is table H.1: a to the left, b above, c above left.
func predict(k, a, b, c int) int {
	switch k {
	case 1:
		return a
	case 2:
		return b
	case 3:
		return c
	case 4:
		return a + b - c
	case 5:
		return a + (b-c)>>1
	case 6:
		return b + (a-c)>>1
	}
	return (a + b) >> 1
}

// huffman is a code for numbers of bits.
type huffman struct {
	fast  [512]uint16 // by the next 9 bits: length << 8 | value; 0 for longer codes
	limit [17]int32   // one above the largest code of each length, -1 for none
	base  [17]int32   // place of a length's first value less its first code
	vals  []byte
}

// huffmanTables reads a segment of code tables (T.81, annex C).
func huffmanTables(b []byte, dht *[4]*huffman) error {
	for len(b) > 0 {
		if len(b) < 17 {
			return damagedJPEG("code table of %d bytes", len(b))
		}
		slot := b[0] & 3
		n := 0
		for _, c := range b[1:17] {
			n += int(c)
		}
		if n == 0 || n > 256 || len(b) < 17+n {
			return damagedJPEG("code table of %d codes in %d bytes", n, len(b))
		}
		t, err := newHuffman(b[1:17], b[17:17+n], 16)
		if err != nil {
			return err
		}
		dht[slot] = t
		b = b[17+n:]
	}
	return nil
}

// newHuffman makes a code of so many values for each length; most is the largest
// value that makes sense.
func newHuffman(counts, vals []byte, most byte) (*huffman, error) {
	h := &huffman{vals: vals}
	code, k := int32(0), 0
	for n := 1; n <= 16; n++ {
		h.base[n] = int32(k) - code
		h.limit[n] = -1
		for range int(counts[n-1]) {
			if vals[k] > most {
				return nil, damagedJPEG("difference of %d bits", vals[k])
			}
			if code >= 1<<n {
				return nil, damagedJPEG("code table with too many codes of %d bits", n)
			}
			if n <= 9 {
				from := code << (9 - n)
				for i := range int32(1) << (9 - n) {
					h.fast[from+i] = uint16(n)<<8 | uint16(vals[k])
				}
			}
			code++
			k++
			h.limit[n] = code
		}
		code <<= 1
	}
	return h, nil
}

// jpegBits reads the bits between two markers.
type jpegBits struct {
	src  []byte
	at   int
	hold uint64 // bits not yet taken, the last one lowest
	have int
	over int  // bytes made up past the end
	bad  bool // a code that is in no table was met
}

func (r *jpegBits) fill() {
	for r.have <= 48 {
		b := byte(0)
		switch {
		case r.at >= len(r.src):
			r.over++
		case r.src[r.at] != 0xff:
			b = r.src[r.at]
			r.at++
		case r.at+1 < len(r.src) && r.src[r.at+1] == 0:
			b = 0xff
			r.at += 2
		default: // a marker: stay in front of it
			r.over++
		}
		r.hold = r.hold<<8 | uint64(b)
		r.have += 8
	}
}

// difference decodes one difference.
func (r *jpegBits) difference(h *huffman) int {
	if r.have < 32 {
		r.fill()
	}
	var n uint
	if e := h.fast[r.hold>>(r.have-9)&0x1ff]; e != 0 {
		r.have -= int(e >> 8)
		n = uint(e & 0xff)
	} else {
		n = r.long(h)
	}
	switch n {
	case 0:
		return 0
	case 16:
		return 32768
	}
	r.have -= int(n)
	v := int(r.hold >> r.have & (1<<n - 1))
	if v < 1<<(n-1) {
		v -= 1<<n - 1
	}
	return v
}

// long decodes a code of more than 9 bits.
func (r *jpegBits) long(h *huffman) uint {
	for n := 10; n <= 16; n++ {
		code := int32(r.hold >> (r.have - n) & (1<<n - 1))
		if code < h.limit[n] && code+h.base[n] >= 0 {
			r.have -= n
			return uint(h.vals[code+h.base[n]])
		}
	}
	r.bad = true
	r.have -= 16
	return 0
}

// nextSegment drops what is left before a restart marker and goes behind it.
func (r *jpegBits) nextSegment() bool {
	for r.at+1 < len(r.src) {
		if r.src[r.at] == 0xff && r.src[r.at+1] >= 0xd0 && r.src[r.at+1] <= 0xd7 {
			r.at += 2
			r.hold, r.have, r.over = 0, 0, 0
			return true
		}
		r.at++
	}
	return false
}
