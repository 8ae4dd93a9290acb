package stars

import (
	"encoding/binary"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// An item is an entry on its way through a Builder, in the order of its key:
//
//	bit   0     the star is within twinReach of an edge of its cell
//	bits  1-24  x, place in the cell toward east, fine steps, offset 2^23
//	bits 25-40  V in thousandths, offset 2^15
//	bits 41-63  cell
type item struct {
	key    uint64
	y      int32   // toward north, fine steps
	mx, my float32 // proper motion along the cell's axes, mas/yr; NaN when unknown
	// Standard errors in mas and mas/yr, both coordinates taken together, and
	// the mean epoch of the place.
	place, motion, at float32
}

const (
	itemSize = 32
	fine     = mas / 10 // a fine step, radians
	fineBits = 24
	fineZero = 1 << (fineBits - 1)
	magZero  = 1 << 15
)

func itemKey(cell, v, x int, edge bool) uint64 {
	k := uint64(cell)<<41 | uint64(v+magZero)<<25 | uint64(x+fineZero)<<1
	if edge {
		k |= 1
	}
	return k
}

func (it *item) edge() bool  { return it.key&1 != 0 }
func (it *item) x() int      { return int(it.key>>1&(1<<fineBits-1)) - fineZero }
func (it *item) v() int      { return int(it.key>>25&(1<<16-1)) - magZero } // thousandths
func (it *item) cell() int   { return int(it.key >> 41) }
func (it *item) moves() bool { return it.mx == it.mx }

// variance is that of [Entry], with the same error in both coordinates.
func (it *item) variance(spread float64) variance {
	e := EntryError{Place: float64(it.place), At: float64(it.at), Motion: float64(it.motion)}
	entry := Entry{PM: [2]float64{float64(it.mx), float64(it.my)}, Err: [2]EntryError{e, e}}
	return entry.variance(spread)
}

// newItem places an entry in its cell of the grid.
func newItem(g *grid, e *Entry) (item, error) {
	if err := e.check(); err != nil {
		return item{}, err
	}
	a, b := &e.Err[0], &e.Err[1]
	it := item{
		mx: float32(math.NaN()), my: float32(math.NaN()),
		place:  float32(math.Sqrt((a.Place*a.Place + b.Place*b.Place) / 2)),
		motion: float32(math.Sqrt((a.Motion*a.Motion + b.Motion*b.Motion) / 2)),
		at:     float32((a.At + b.At) / 2),
	}
	if !e.moves() {
		it.motion = 0
	}
	if err := checkErrors(e, it.variance(fastest/2)); err != nil {
		return item{}, err
	}
	p, motion := e.at(epoch)
	ra, dec := sphere.SkyVec(p).RADec()
	zone, segment := g.find(ra, dec)
	z := &g.zones[zone]
	axes := z.axes(segment)
	x, y := math.Round(r3.Dot(p, axes.east)/fine), math.Round(r3.Dot(p, axes.north)/fine)
	if reach := g.step * placeCentre / fine; !(math.Abs(x) < reach && math.Abs(y) < reach) {
		return item{}, fmt.Errorf("place %v is not in its cell", p)
	}
	v := int(math.Round(e.V * 1000))
	it.key = itemKey(z.first+segment, v, int(x), g.nearEdge(zone, segment, float64(ra), float64(dec)))
	it.y = int32(y)
	if e.moves() {
		it.mx, it.my = float32(r3.Dot(motion, axes.east)/mas), float32(r3.Dot(motion, axes.north)/mas)
	}
	return it, nil
}

// nearEdge reports whether a place is within twinReach of an edge of its cell.
func (g *grid) nearEdge(zone, segment int, ra, dec float64) bool {
	const reach = twinReach * 1.01 * fine
	up := dec + math.Pi/2 - float64(zone)*g.height
	z := &g.zones[zone]
	east := ra - float64(segment)*z.width
	c := math.Cos(dec)
	return up < reach || g.height-up < reach || east*c < reach || (z.width-east)*c < reach
}

// put appends the item's 32 bytes.
func (it *item) put(dst []byte) []byte {
	le := binary.LittleEndian
	dst = le.AppendUint64(dst, it.key)
	dst = le.AppendUint32(dst, uint32(it.y))
	for _, f := range [5]float32{it.mx, it.my, it.place, it.motion, it.at} {
		dst = le.AppendUint32(dst, math.Float32bits(f))
	}
	return dst
}

func readItem(b []byte) item {
	le := binary.LittleEndian
	f := func(at int) float32 { return math.Float32frombits(le.Uint32(b[at:])) }
	return item{
		key: le.Uint64(b), y: int32(le.Uint32(b[8:])),
		mx: f(12), my: f(16), place: f(20), motion: f(24), at: f(28),
	}
}
