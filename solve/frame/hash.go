package frame

import (
	"encoding/binary"
	"math"
	"unsafe"

	"github.com/cespare/xxhash/v2"
)

// Pixels are hashed in full up to hashAll bytes, above that one page of
// hashPage bytes in every hashStep: noise differs everywhere between two
// exposures, so a sample tells them apart.
const (
	hashAll  = 1 << 20
	hashPage = 4 << 10
	hashStep = 64 << 10
)

// hash returns the fingerprint of a frame's pixels or stars.
func hash(fr *Frame) uint64 {
	d := xxhash.New()
	var b [24]byte
	binary.LittleEndian.PutUint64(b[:], uint64(fr.Image.W))
	binary.LittleEndian.PutUint64(b[8:], uint64(fr.Image.H))
	d.Write(b[:16])
	for _, s := range fr.Stars {
		binary.LittleEndian.PutUint64(b[:], math.Float64bits(s.X))
		binary.LittleEndian.PutUint64(b[8:], math.Float64bits(s.Y))
		binary.LittleEndian.PutUint64(b[16:], math.Float64bits(s.Flux))
		d.Write(b[:])
	}
	p := fr.Image.raw()
	if len(p) <= hashAll {
		d.Write(p)
		return d.Sum64()
	}
	for i := 0; i < len(p); i += hashStep {
		d.Write(p[i:min(i+hashPage, len(p))])
	}
	return d.Sum64()
}

// raw returns the pixels' memory.
func (im *Image) raw() []byte {
	switch {
	case len(im.U8) > 0:
		return im.U8
	case len(im.U16) > 0:
		return bytesOf(im.U16)
	case len(im.F32) > 0:
		return bytesOf(im.F32)
	}
	return nil
}

// bytesOf returns the memory of s as bytes, in the byte order of this machine.
func bytesOf[T uint16 | uint32 | float32](s []T) []byte {
	if len(s) == 0 {
		return nil
	}
	return unsafe.Slice((*byte)(unsafe.Pointer(&s[0])), len(s)*int(unsafe.Sizeof(s[0])))
}
