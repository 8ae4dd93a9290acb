package stars

import (
	_ "embed" // the packed list
	"encoding/binary"
	"math"
	"sort"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// Star is a star at the epoch it was asked for.
type Star struct {
	Pos sphere.Sky // ICRS, barycentric: no parallax, no aberration
	V   float32    // Johnson V magnitude, from Tycho-2's VT and BT
	BV  float32    // Johnson B-V to 0.05, within -0.4 to 2.6; NaN when unknown
	ID  uint32     // number in the list: the same as long as the checksum is
	// Err is the standard error of the place, per coordinate, at the epoch. It
	// is the root mean square over a class of similar stars (16 classes) of
	// the catalogue's errors of place and proper motion, and of the packing.
	Err sphere.Angle
}

// Dot is what a search for patterns needs of a star.
type Dot struct {
	Vec r3.Vec // ICRS unit vector, as Star.Pos
	V   float32
	ID  uint32
}

// List is a packed star list. It is safe for concurrent use.
type List struct {
	header              header
	grid                grid
	data                []byte // the whole file
	rows, records, fast []byte
	mapped              bool // data is the map of a file
}

//go:embed tycho2.bin
var embedded []byte

// Embedded returns the list built into the program. It costs some
// microseconds the first time and nothing after that.
var Embedded = sync.OnceValue(func() *List {
	l, err := open(embedded)
	if err != nil {
		panic("stars: impossible embedded list: " + err.Error()) // tested
	}
	return l
})

// Len returns the number of stars.
func (l *List) Len() int { return int(l.header.Stars) }

// row returns the number of the first star of a cell in a layer.
func (l *List) row(cell, layer int) int {
	return int(binary.LittleEndian.Uint32(l.rows[cell*rowSize+layer*4:]))
}

func (l *List) record(id int) record {
	return record(binary.LittleEndian.Uint64(l.records[id*recordSize:]))
}

// motion returns the proper motion of a star along the axes of its cell, in
// radians a year; 0 when unknown.
func (l *List) motion(id int, r record) (x, y float64) {
	if r.motionX() != motionSign {
		return float64(r.motionX()) * mas, float64(r.motionY()) * mas
	}
	if r.motionY() == motionNone {
		return 0, 0
	}
	n := int(l.header.Fast)
	i := sort.Search(n, func(i int) bool { return readFast(l.fast[i*fastSize:]).ID >= uint32(id) })
	if i == n {
		return 0, 0
	}
	f := readFast(l.fast[i*fastSize:])
	if f.ID != uint32(id) {
		return 0, 0
	}
	return float64(f.X) * fastMas, float64(f.Y) * fastMas
}

// years returns the time from the records' epoch to the one asked for, and
// whether straight motion means anything over that time.
func years(to float64) (dt float64, ok bool) {
	dt = to - epoch
	return dt, math.Abs(dt) <= 1000
}

// errors returns the standard error of each class, known proper motion first,
// dt years from the epoch.
func (l *List) errors(dt float64) (e [2 * classes]sphere.Angle) {
	for i := range e {
		e[i] = sphere.Angle(math.Sqrt(max(0, l.header.Var[i/classes][i%classes].at(dt))))
	}
	return e
}

func (y layer) magnitude(r record) float32 {
	return float32(float64(y.V0+y.Step*int32(r.v())) / 1000)
}

func newStar(id int, r record, y layer, v r3.Vec, errs *[2 * classes]sphere.Angle) Star {
	class := r.class()
	if r.unmoved() {
		class += classes
	}
	return Star{Pos: sphere.SkyVec(v), V: y.magnitude(r), BV: r.colour(), ID: uint32(id), Err: errs[class]}
}

// At returns the star with the given number at an epoch (Julian year), and
// false when there is none or the epoch is more than 1000 years from 2025.
func (l *List) At(id uint32, epoch float64) (Star, bool) {
	dt, ok := years(epoch)
	if !ok || id >= l.header.Stars {
		return Star{}, false
	}
	k, end := 0, l.header.Layers[0].Count
	for id >= end {
		k++
		end += l.header.Layers[k].Count
	}
	// The cell is the last one that begins at or before the star.
	cell := sort.Search(l.grid.cells, func(c int) bool { return l.row(c, k) > int(id) }) - 1
	zones := l.grid.zones
	z := &zones[sort.Search(len(zones), func(i int) bool { return zones[i].first > cell })-1]
	a := z.axes(cell - z.first)
	r := l.record(int(id))
	x, y := l.place(int(id), r, dt)
	errs := l.errors(dt)
	return newStar(int(id), r, l.header.Layers[k], a.at(x, y), &errs), true
}

// place returns a star's components east and north in its cell.
func (l *List) place(id int, r record, dt float64) (x, y float64) {
	mx, my := l.motion(id, r)
	return r.x()*l.grid.step + mx*dt, r.y()*l.grid.step + my*dt
}
