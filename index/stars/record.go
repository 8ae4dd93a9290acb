package stars

import (
	"math"

	"pintle/index/sphere"
)

// A record is one star in eight bytes, little-endian in the file:
//
//	bits  0-15  x, place in the cell toward east, offset 32768
//	bits 16-31  y, place in the cell toward north, offset 32768
//	bits 32-39  proper motion along x, signed, 1 mas/yr
//	bits 40-47  proper motion along y, signed, 1 mas/yr
//	bits 48-55  V above the layer's brightest, in the layer's step
//	bits 56-60  B-V in steps of 0.1, see colour; 0 unknown
//	bits 61-63  error class
//
// x and y are the orthographic coordinates of the star at J2025.0 about the
// centre of its cell (the components of its unit vector along the cell's east
// and north), in units of the grid's step; see grid. Both coordinates, and so
// the two components of proper motion, belong to the cell's axes and not to
// the star's own meridian, which makes the poles ordinary places.
//
// A motion along x of -128 is a sign: with 0 in y the proper motion is not
// known, with 1 it is too large for a byte and stands in the table of fast
// stars.
type record uint64

const (
	placeBits   = 16
	placeCentre = 1 << (placeBits - 1)
	motionMax   = 127  // mas/yr, the largest that fits a record
	motionSign  = -128 // in x: see y
	motionNone  = 0
	motionFast  = 1
	classes     = 8
)

// Units of motion in the file.
const (
	mas     = float64(sphere.Arcsecond) / 1000
	fastMas = mas / 10 // the table of fast stars counts tenths
)

func newRecord(x, y uint16, mx, my int8, v, bv, class uint8) record {
	return record(x) | record(y)<<16 | record(uint8(mx))<<32 | record(uint8(my))<<40 |
		record(v)<<48 | record(bv)<<56 | record(class)<<61
}

func (r record) x() float64      { return float64(int(uint16(r)) - placeCentre) }
func (r record) y() float64      { return float64(int(uint16(r>>16)) - placeCentre) }
func (r record) motionX() int8   { return int8(r >> 32) }
func (r record) motionY() int8   { return int8(r >> 40) }
func (r record) v() uint8        { return uint8(r >> 48) }
func (r record) colour() float32 { return colours[r>>56&31] }
func (r record) class() int      { return int(r >> 61) }

// unmoved tells whether the star's proper motion is unknown.
func (r record) unmoved() bool { return r.motionX() == motionSign && r.motionY() == motionNone }

// colours are the values of B-V a record can hold: unknown, then -0.4 to 2.6.
var colours = func() (c [32]float32) {
	c[0] = float32(math.NaN())
	for i := 1; i < len(c); i++ {
		c[i] = float32(i-5) / 10
	}
	return c
}()

// colourCode is the inverse of colours; values beyond the ends take the end.
func colourCode(bv float64) uint8 {
	if math.IsNaN(bv) {
		return 0
	}
	return uint8(min(max(math.Round(bv*10)+5, 1), 31))
}
