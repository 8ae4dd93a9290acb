package fitshead

import (
	"encoding/binary"
	"math"
	"strconv"
	"strings"
)

// Form is how a column of a binary table holds its values (TFORM; standard 4.0, section
// 7.3.1): so many elements of a type. Of the types P and Q, which point into the heap,
// Of is the type of what they point to, else 0.
type Form struct {
	Count int64
	Type  byte
	Of    byte
}

// sizes are the bytes of an element of each type but bits, X.
var sizes = map[byte]int64{'L': 1, 'B': 1, 'I': 2, 'J': 4, 'K': 8, 'A': 1, 'E': 4, 'D': 8, 'C': 8, 'M': 16, 'P': 8, 'Q': 16}

// ParseForm reads the value of TFORM. ok is false without a type, with one that there is
// not, or with a count beyond 32 bits.
func ParseForm(s string) (f Form, ok bool) {
	digits := len(s) - len(strings.TrimLeft(s, "0123456789"))
	if digits == len(s) {
		return f, false
	}
	f.Count, f.Type = 1, s[digits]
	if digits > 0 {
		n, err := strconv.ParseInt(s[:digits], 10, 32)
		if err != nil {
			return f, false
		}
		f.Count = n
	}
	if len(s) > digits+1 {
		f.Of = s[digits+1]
	}
	return f, f.Type == 'X' || sizes[f.Type] > 0
}

// Bytes returns the bytes that a column takes in a row.
func (f Form) Bytes() int64 {
	if f.Type == 'X' {
		return (f.Count + 7) / 8
	}
	return f.Count * sizes[f.Type]
}

// Size returns the bytes of an element of a type, 0 for bits and what there is not.
func Size(kind byte) int64 { return sizes[kind] }

// Number reads the number of a type at the start of b (standard 4.0, section 7.3.3); n is
// the same number when it is whole. Of types that are no numbers x is NaN.
func Number(kind byte, b []byte) (x float64, n int64, whole bool) {
	be := binary.BigEndian
	switch kind {
	case 'E':
		return float64(math.Float32frombits(be.Uint32(b))), 0, false
	case 'D':
		return math.Float64frombits(be.Uint64(b)), 0, false
	case 'B':
		n = int64(b[0])
	case 'I':
		n = int64(int16(be.Uint16(b)))
	case 'J':
		n = int64(int32(be.Uint32(b)))
	case 'K':
		n = int64(be.Uint64(b))
	default:
		return math.NaN(), 0, false
	}
	return float64(n), n, true
}
