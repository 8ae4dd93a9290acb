package stars

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"math"
)

// The file, all little-endian:
//
//	header
//	rows     of the cells and one more: for each layer, the number of the first
//	         star of the cell, uint32
//	records  of the stars: by layer, in a layer by cell, in a cell by V
//	fast     stars too fast for a record, by number
//
// A star's number is its ID. A cell's stars of a layer end where the next
// row's begin.
const (
	magic       = "pin*list"
	version     = 1
	layers      = 5
	rowSize     = 4 * layers
	recordSize  = 8
	fastSize    = 12
	sumOffset   = 16
	summed      = sumOffset + sha256.Size // the first byte under the checksum
	epoch       = 2025.0                  // Julian year of the records
	minZones    = 18
	slowest     = 180.0   // mas/yr: no record without the fast table exceeds it
	fastest     = 20000.0 // mas/yr
	maxV        = 30000   // thousandths
	maxVariance = 1e-3    // radians squared, and per year squared
)

type header struct {
	Magic   [8]byte
	Version uint32
	Size    uint32            // of the header
	Sum     [sha256.Size]byte // SHA-256 of all that follows
	Epoch   float64           // of the records, Julian year
	MaxPM   float64           // the largest proper motion, mas/yr
	Stars   uint32
	Zones   uint32
	Fast    uint32 // entries of the table of fast stars
	_       uint32
	Layers  [layers]layer
	Var     [2][classes]variance // proper motion known, unknown
}

// A layer is a range of magnitudes: V = V0 + Step * code, in thousandths.
type layer struct {
	Count    uint32
	V0, Step int32
}

// A variance of one coordinate of the stars of a class, in radians squared,
// t years after the epoch: A + B t + C t t.
type variance struct{ A, B, C float64 }

func (v variance) at(t float64) float64 { return v.A + t*(v.B+t*v.C) }

// fastStar is an entry of the table of fast stars; X and Y are along the
// cell's axes in tenths of a mas/yr.
type fastStar struct {
	ID   uint32
	X, Y int32
}

func readFast(b []byte) fastStar {
	return fastStar{binary.LittleEndian.Uint32(b), int32(binary.LittleEndian.Uint32(b[4:])),
		int32(binary.LittleEndian.Uint32(b[8:]))}
}

// speed returns the proper motion in mas/yr.
func (f fastStar) speed() float64 { return math.Hypot(float64(f.X), float64(f.Y)) / 10 }

// put appends the entry's 12 bytes.
func (f fastStar) put(dst []byte) []byte {
	dst = binary.LittleEndian.AppendUint32(dst, f.ID)
	dst = binary.LittleEndian.AppendUint32(dst, uint32(f.X))
	return binary.LittleEndian.AppendUint32(dst, uint32(f.Y))
}

// Open returns the list packed in data, which must not change while the list
// is in use. It checks the header, that the size of data is the one the header
// asks for, and every number a later search relies on, so that no content of
// data can make a search fail; it does not compute the checksum, see
// [List.Verify].
func Open(data []byte) (*List, error) {
	l, err := open(data)
	if err != nil {
		return nil, fmt.Errorf("star list: %w", err)
	}
	if err := l.check(); err != nil {
		return nil, fmt.Errorf("star list: %w", err)
	}
	return l, nil
}

// open reads the header and cuts data into its tables.
func open(data []byte) (*List, error) {
	l := &List{data: data}
	h := &l.header
	size := binary.Size(h)
	if len(data) < size {
		return nil, fmt.Errorf("%d bytes, want at least %d", len(data), size)
	}
	if _, err := binary.Decode(data, binary.LittleEndian, h); err != nil {
		return nil, err
	}
	switch {
	case string(h.Magic[:]) != magic:
		return nil, fmt.Errorf("starts with %q, want %q", h.Magic[:], magic)
	case h.Version != version:
		return nil, fmt.Errorf("format version %d, want %d", h.Version, version)
	case h.Size != uint32(size):
		return nil, fmt.Errorf("header of %d bytes, want %d", h.Size, size)
	case h.Zones < minZones || h.Zones > maxZones:
		return nil, fmt.Errorf("%d zones, want %d to %d", h.Zones, minZones, maxZones)
	}
	l.grid = newGrid(int(h.Zones))
	var total uint64
	for _, y := range h.Layers {
		total += uint64(y.Count)
	}
	if total != uint64(h.Stars) {
		return nil, fmt.Errorf("%d stars in the layers, %d in the header", total, h.Stars)
	}
	rows := rowSize * uint64(l.grid.cells+1)
	want := uint64(size) + rows + recordSize*uint64(h.Stars) + fastSize*uint64(h.Fast)
	if uint64(len(data)) != want {
		return nil, fmt.Errorf("%d bytes, the header asks for %d", len(data), want)
	}
	rest := data[size:]
	l.rows, rest = rest[:rows], rest[rows:]
	l.records, l.fast = rest[:recordSize*int(h.Stars)], rest[recordSize*int(h.Stars):]
	return l, nil
}

// check tests what open takes on trust.
func (l *List) check() error {
	h := &l.header
	if h.Epoch != epoch {
		return fmt.Errorf("epoch %v, want %v", h.Epoch, epoch)
	}
	if !(h.MaxPM >= slowest && h.MaxPM <= fastest) {
		return fmt.Errorf("largest proper motion %v mas/yr, want %v to %v", h.MaxPM, slowest, fastest)
	}
	for i, y := range h.Layers {
		if y.V0 < -maxV || y.V0 > maxV || y.Step < 1 || y.Step > 1000 {
			return fmt.Errorf("layer %d from %d in steps of %d thousandths of a magnitude, want within %d and 1 to 1000", i, y.V0, y.Step, maxV)
		}
		if i > 0 && y.V0 < h.Layers[i-1].V0 {
			return fmt.Errorf("layer %d from %d thousandths of a magnitude, the one before from %d", i, y.V0, h.Layers[i-1].V0)
		}
	}
	for _, kind := range h.Var {
		for i, v := range kind {
			if !(v.A >= 0 && v.A <= maxVariance && v.C >= 0 && v.C <= maxVariance && v.B*v.B <= 4*v.A*v.C*(1+1e-9)) {
				return fmt.Errorf("error class %d: %v is not a variance", i, v)
			}
		}
	}
	if err := l.checkRows(); err != nil {
		return err
	}
	return l.checkFast()
}

func (l *List) checkRows() error {
	begin := 0
	for k, y := range l.header.Layers {
		if got := l.row(0, k); got != begin {
			return fmt.Errorf("layer %d begins at star %d, want %d", k, got, begin)
		}
		at := begin
		for c := 1; c <= l.grid.cells; c++ {
			next := l.row(c, k)
			if next < at {
				return fmt.Errorf("layer %d, cell %d begins at star %d, the one before at %d", k, c, next, at)
			}
			at = next
		}
		if begin += int(y.Count); at != begin {
			return fmt.Errorf("layer %d ends at star %d, want %d", k, at, begin)
		}
	}
	return nil
}

func (l *List) checkFast() error {
	for i, last := 0, int64(-1); i < int(l.header.Fast); i++ {
		f := readFast(l.fast[i*fastSize:])
		if int64(f.ID) <= last || f.ID >= l.header.Stars {
			return fmt.Errorf("fast star %d has number %d, want %d to %d", i, f.ID, last+1, l.header.Stars)
		}
		if pm := f.speed(); pm > l.header.MaxPM {
			return fmt.Errorf("fast star %d moves by %v mas/yr, the largest is %v", i, pm, l.header.MaxPM)
		}
		last = int64(f.ID)
	}
	return nil
}

// Checksum returns the SHA-256 of the list as stated in its header, in
// hexadecimal. It names the list: an index made from another one has another.
func (l *List) Checksum() string { return hex.EncodeToString(l.header.Sum[:]) }

// Verify computes the checksum and compares it with the header's. It reads
// every byte (tens of milliseconds for the embedded list).
func (l *List) Verify() error {
	if sum := sha256.Sum256(l.data[summed:]); !bytes.Equal(sum[:], l.header.Sum[:]) {
		return fmt.Errorf("star list: checksum is %x, the header says %x", sum, l.header.Sum)
	}
	return nil
}
