package frame

import (
	"encoding/binary"
	"fmt"
	"math/bits"
)

// riceKind is how the Rice algorithm of the FITS standard 4.0, section 10.4.1,
// packs numbers of 1, 2 or 4 bytes: bits of the split code, its value for
// unpacked differences, and bits of a number.
type riceKind struct{ split, raw, width uint }

var riceKinds = map[int]riceKind{1: {3, 6, 8}, 2: {4, 14, 16}, 4: {5, 25, 32}}

// unrice unpacks len(dst) numbers of size bytes that were packed in blocks.
// Numbers of one byte are unsigned, the others signed.
func unrice(dst []int32, src []byte, size, block int) error {
	k, ok := riceKinds[size]
	if !ok {
		return fmt.Errorf("RICE_1 with numbers of %d bytes: %w", size, ErrUnsupported)
	}
	r := bitReader{src: src}
	last := r.take(k.width)
	for len(dst) > 0 {
		n := min(block, len(dst))
		switch code := uint(r.take(k.split)); {
		case code == 0:
			v := extend(last, k.width)
			for i := range dst[:n] {
				dst[i] = v
			}
		case code == k.raw+1:
			for i := range dst[:n] {
				last += unfold(r.take(k.width))
				dst[i] = extend(last, k.width)
			}
		default:
			last = r.split(dst[:n], code-1, last, k.width)
		}
		if r.short() {
			return fmt.Errorf("RICE_1 tile of %d bytes ends early: %w", len(src), ErrDamaged)
		}
		dst = dst[n:]
	}
	return nil
}

// unfold turns 0, 1, 2, 3, 4 into 0, -1, 1, -2, 2.
func unfold(v uint32) uint32 { return v>>1 ^ -(v & 1) }

// extend cuts v to a number of width bits.
func extend(v uint32, width uint) int32 {
	switch width {
	case 8:
		return int32(uint8(v))
	case 16:
		return int32(int16(v))
	}
	return int32(v)
}

// bitReader reads bits, the highest first. Past the end it gives zeros and
// remembers.
type bitReader struct {
	src  []byte
	at   int
	hold uint64 // bits not yet taken, from the top
	have int    // number of them
	over int    // bytes made up past the end
}

// fill makes at least 56 bits available.
func (r *bitReader) fill() {
	if r.at+8 <= len(r.src) {
		r.hold |= binary.BigEndian.Uint64(r.src[r.at:]) >> uint(r.have)
		n := (63 - r.have) >> 3
		r.at += n
		r.have += 8 * n
		r.hold &= ^uint64(0) << uint(64-r.have)
		return
	}
	for r.have <= 56 {
		if r.at < len(r.src) {
			r.hold |= uint64(r.src[r.at]) << uint(56-r.have)
			r.at++
		} else {
			r.over++
		}
		r.have += 8
	}
}

// short reports whether bits past the end were taken.
func (r *bitReader) short() bool { return r.over*8 > r.have }

// take returns the next n bits, at most 32.
func (r *bitReader) take(n uint) uint32 {
	if r.have < 32 {
		r.fill()
	}
	v := uint32(r.hold >> 32 >> (32 - n))
	r.hold <<= n
	r.have -= int(n)
	return v
}

// split unpacks differences of which the low bits are stored as they are, and
// the rest as that many zeros and a one.
func (r *bitReader) split(dst []int32, low uint, last uint32, width uint) uint32 {
	hold, have := r.hold, r.have // in registers: this is where the time goes
	for i := range dst {
		if have < 48 {
			r.hold, r.have = hold, have
			r.fill()
			hold, have = r.hold, r.have
		}
		n := bits.LeadingZeros64(hold)
		if n+1+int(low) > have { // a long run of zeros
			r.hold, r.have = hold, have
			v, ok := r.long(low)
			if !ok {
				return last
			}
			last += unfold(v)
			hold, have = r.hold, r.have
		} else {
			hold <<= uint(n + 1)
			v := uint32(n)<<low | uint32(hold>>(64-low))
			hold <<= low
			have -= n + 1 + int(low)
			last += unfold(v)
		}
		dst[i] = extend(last, width)
	}
	r.hold, r.have = hold, have
	return last
}

// long reads one number of split with any count of zeros; it fails past the
// end.
func (r *bitReader) long(low uint) (uint32, bool) {
	zeros := uint32(0)
	for r.hold == 0 {
		zeros += uint32(r.have)
		r.hold, r.have = 0, 0
		if r.over > 0 {
			r.over += 8
			return 0, false
		}
		r.fill()
	}
	n := bits.LeadingZeros64(r.hold)
	zeros += uint32(n)
	r.hold <<= uint(n + 1)
	r.have -= n + 1
	return zeros<<low | r.take(low), true
}
