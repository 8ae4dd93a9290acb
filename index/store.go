package index

import (
	"cmp"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"time"

	"github.com/dgraph-io/badger/v4"
	"github.com/dgraph-io/badger/v4/options"
	"github.com/dgraph-io/badger/v4/pb"
	"github.com/dgraph-io/ristretto/v2/z"
	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/stars"
)

// Version is the format of the store. A store of another version is rebuilt.
const Version = 4

// ErrAbsent says that a band has not been built yet.
var ErrAbsent = errors.New("not built yet")

// ErrUnfit says that a band is there but cannot be used: another format,
// another star list, or damage. It must be built again.
var ErrUnfit = errors.New("cannot be used")

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// largestTable is the size of the tables of a band that fills more than one. Twice
// the size of a table is cleared before it is begun.
const (
	largestTable  = 64 << 20
	smallestTable = 1 << 20
)

// skyBlock is the bytes of a stored block of stars.
const skyBlock = blockSize * slotSize

// tableSize is that of the tables of a band: with room for all of it, where that is
// less than the largest.
func (m *made) tableSize() int64 {
	size := 2 * recordSize * int64(m.entries.total)
	for block := range slices.Chunk(m.sky, skyBlock) {
		if size < largestTable && !allFree(block) {
			size += 2 * skyBlock
		}
	}
	return min(max(size, smallestTable), largestTable)
}

// dbOptions are those of a database with tables of at most a number of bytes.
func dbOptions(dir string, most int64) badger.Options {
	o := badger.DefaultOptions(dir)
	// Tables are written from memory: else the last would be 32 times as large
	// as BaseTableSize.
	o.TableSizeMultiplier = 1
	return o.
		WithLogger(nil).
		WithMetricsEnabled(false).
		WithCompression(options.None).
		WithBlockCacheSize(0).
		WithDetectConflicts(false).
		WithNumCompactors(0).
		WithNumMemtables(1).
		WithMemTableSize(8 << 20).
		WithBaseTableSize(most).
		WithChecksumVerificationMode(options.OnBlockRead)
}

// Build builds one band into dir. It is made in a folder of its own and moved
// into place at the end, so that a build that is stopped leaves nothing behind
// that could be taken for a band. A band already there is replaced. now is
// written into the manifest; progress is called with the share done, 0 to 1,
// from several goroutines.
func Build(ctx context.Context, dir string, b Band, list *stars.List, now time.Time, progress func(share float64)) error {
	if progress == nil {
		progress = func(float64) {}
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("cannot make the index folder: %w", err)
	}
	sweep(dir, now)
	return buildWithin(ctx, dir, b, list, limitsFor(list), now, progress)
}

// buildWithin is Build with limits of memory.
func buildWithin(ctx context.Context, dir string, b Band, list *stars.List, lim limits, now time.Time, progress func(share float64)) error {
	scratch, err := os.MkdirTemp(dir, b.Name()+asideMark+"*")
	if err != nil {
		return fmt.Errorf("cannot make a folder for the build: %w", err)
	}
	defer os.RemoveAll(scratch)
	made, err := patterns(ctx, b, list, lim, scratch, func(s float64) { progress(0.75 * s) })
	if err != nil {
		return err
	}
	defer made.entries.close()
	if err := made.entries.sort(); err != nil {
		return fmt.Errorf("cannot sort the patterns of %s: %w", b.Name(), err)
	}
	progress(0.85)
	aside, err := os.MkdirTemp(dir, b.Name()+asideMark+"*")
	if err != nil {
		return fmt.Errorf("cannot make a folder for the build: %w", err)
	}
	defer os.RemoveAll(aside)
	m := Manifest{Version: Version, Stars: list.Checksum(), Band: b.Number, Patterns: made.entries.total, Pairs: made.pairs, Built: now.UTC()}
	if err := write(ctx, aside, &m, made, func(s float64) { progress(0.85 + 0.15*s) }); err != nil {
		return fmt.Errorf("cannot write %s: %w", b.Name(), err)
	}
	if err := m.seal(aside); err != nil {
		return fmt.Errorf("cannot write %s: %w", b.Name(), err)
	}
	return settle(aside, filepath.Join(dir, b.Name()))
}

// asideMark is in the names of folders in which a band is being built.
const asideMark = ".building-"

// sweep removes what killed builds left more than an hour ago.
func sweep(dir string, now time.Time) {
	left, _ := filepath.Glob(filepath.Join(dir, "band-*"+asideMark+"*"))
	for _, d := range left {
		if fi, err := os.Stat(d); err == nil && now.Sub(fi.ModTime()) > time.Hour {
			os.RemoveAll(d)
		}
	}
}

// settle moves a finished band into place. A process that still reads the old
// one keeps its open files.
func settle(aside, place string) error {
	old := aside + "-old"
	if err := os.Rename(place, old); err == nil {
		defer os.RemoveAll(old)
	}
	if err := os.Rename(aside, place); err != nil {
		if _, there := os.Stat(place); there == nil {
			return nil // another process was faster with the same band
		}
		return fmt.Errorf("cannot move the finished band into place: %w", err)
	}
	return nil
}

// Keys begin with what they hold: the first three cells of a slab, or the
// number of a block of stars.
const (
	slabKey  = 'p'
	blockKey = 's'
)

func slabKeyBytes(prefix uint32) []byte {
	return []byte{slabKey, byte(prefix >> 16), byte(prefix >> 8), byte(prefix)}
}

func blockKeyBytes(block int) []byte {
	return []byte{blockKey, byte(block >> 16), byte(block >> 8), byte(block)}
}

// write puts the sorted patterns and the stars into a new database.
func write(ctx context.Context, dir string, m *Manifest, made *made, progress func(share float64)) (err error) {
	db, err := badger.Open(dbOptions(dir, made.tableSize()))
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	w := db.NewStreamWriter()
	if err := w.Prepare(); err != nil {
		return err
	}
	defer w.Cancel()
	buf := z.NewBuffer(4<<20, "band")
	defer buf.Release()
	crc := crc32.New(castagnoli)
	put := func(key, value []byte) error {
		crc.Write(key)
		crc.Write(value)
		m.Keys++
		badger.KVToBuffer(&pb.KV{Key: key, Value: value, Version: 1, StreamId: 1}, buf)
		if buf.LenNoPadding() < 2<<20 {
			return nil
		}
		defer buf.Reset()
		return w.Write(buf)
	}
	if err := writeSlabs(ctx, &made.entries, put, progress); err != nil {
		return err
	}
	for i := 0; i*skyBlock < len(made.sky); i++ {
		block := made.sky[i*skyBlock : min(len(made.sky), (i+1)*skyBlock)]
		if allFree(block) {
			continue
		}
		if err := put(blockKeyBytes(i), block); err != nil {
			return err
		}
	}
	m.CRC = crc.Sum32()
	if err := w.Write(buf); err != nil {
		return err
	}
	return w.Flush()
}

// writeSlabs puts the sorted patterns, slab by slab.
func writeSlabs(ctx context.Context, entries *sorter, put func(key, value []byte) error, progress func(share float64)) error {
	var (
		list  []entry // of a slab
		value []byte
		done  int
		slabs int
	)
	flush := func() error {
		if len(list) == 0 {
			return nil
		}
		if done, slabs = done+len(list), slabs+1; slabs%1000 == 0 {
			progress(float64(done) / float64(entries.total))
		}
		value = appendSlab(value[:0], list)
		prefix := list[0].key >> 8
		list = list[:0]
		return cmp.Or(ctx.Err(), put(slabKeyBytes(prefix), value))
	}
	err := entries.each(ctx, func(e entry) error {
		if len(list) > 0 && list[0].key>>8 != e.key>>8 {
			if err := flush(); err != nil {
				return err
			}
		}
		list = append(list, e)
		return nil
	})
	if err != nil {
		return err
	}
	return flush()
}

// Reader finds patterns of one band. It may be used by several goroutines.
type Reader struct {
	Band     Band
	Manifest Manifest
	place    string // its folder
	layout   layout
	grids    []squares // of each level
	base     []int     // first slot of each level; the last entry is the total

	// What was read stays at hand, as long as there is room.
	mapped *mapped
	room   *room
	slabs  []atomic.Pointer[slab] // by first, second and third cell
	blocks []atomic.Pointer[[]Dot]
}

// Open opens a built band of the star list for reading; several processes may
// do so at once. The error wraps ErrAbsent or ErrUnfit when the band must be
// built.
func Open(dir string, b Band, list *stars.List) (r *Reader, err error) {
	place := filepath.Join(dir, b.Name())
	if _, err := os.Stat(place); errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%s in %s is %w", b.Name(), dir, ErrAbsent)
	}
	m, err := readManifest(place)
	if err == nil {
		err = m.fits(b, list)
	}
	if err == nil {
		err = m.intact(place)
	}
	if err != nil {
		return nil, fmt.Errorf("%s %w: %v", place, ErrUnfit, err)
	}
	defer guard(&err, b)
	r = &Reader{Band: b, Manifest: m, place: place, layout: b.layout()}
	if r.mapped, err = openMapped(place); err != nil {
		return nil, fmt.Errorf("%s %w: %v", place, ErrUnfit, err)
	}
	newRoom(roomBytes).let(r)
	r.grids, r.base = b.grids()
	r.slabs = make([]atomic.Pointer[slab], r.slabNumber(b.cells/2, 2*b.cells-1, b.cells)+1)
	r.blocks = make([]atomic.Pointer[[]Dot], (r.base[len(r.base)-1]+blockSize-1)/blockSize)
	return r, nil
}

// slabNumber returns the place of a slab in slabs. X1 is at most a half, Y1
// with its shift below 2, X2 at most 1.
func (r *Reader) slabNumber(x1, y1, x2 int) int {
	c := r.Band.cells
	return (x1*2*c+y1)*(c+1) + x2
}

// guard turns a panic of the store, which damaged files can cause, into an
// error.
func guard(err *error, place fmt.Stringer) {
	if p := recover(); p != nil {
		*err = fmt.Errorf("%s %w: %v", place, ErrUnfit, p)
	}
}

// String returns the name of the band.
func (r *Reader) String() string { return r.Band.Name() }

// Close closes the band. The Reader must not be used after it.
func (r *Reader) Close() error {
	r.room.leave(r)
	return r.mapped.close()
}

// Check reads everything and compares it with the manifest.
func (r *Reader) Check(ctx context.Context) (err error) {
	defer guard(&err, r)
	db, err := badger.Open(dbOptions(r.place, largestTable).WithReadOnly(true))
	if err != nil {
		return fmt.Errorf("%s %w: %v", r.place, ErrUnfit, err)
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	crc := crc32.New(castagnoli)
	keys, patterns := 0, 0
	err = db.View(func(txn *badger.Txn) error {
		it := txn.NewIterator(badger.IteratorOptions{PrefetchValues: false})
		defer it.Close()
		for it.Rewind(); it.Valid(); it.Next() {
			if err := ctx.Err(); err != nil {
				return err
			}
			item := it.Item()
			crc.Write(item.Key())
			if err := item.Value(func(v []byte) error {
				keys++
				crc.Write(v)
				if item.Key()[0] != slabKey {
					return nil
				}
				s, err := parseSlab(v)
				if err == nil {
					patterns += len(s.entries) / entrySize
				}
				return err
			}); err != nil {
				return err
			}
		}
		return nil
	})
	m := r.Manifest
	switch {
	case err != nil:
		return fmt.Errorf("%s %w: %v", r.Band.Name(), ErrUnfit, err)
	case keys != m.Keys || patterns != m.Patterns:
		return fmt.Errorf("%s %w: %d keys and %d patterns, its manifest says %d and %d", r.Band.Name(), ErrUnfit, keys, patterns, m.Keys, m.Patterns)
	case crc.Sum32() != m.CRC:
		return fmt.Errorf("%s %w: checksum %08x, its manifest says %08x", r.Band.Name(), ErrUnfit, crc.Sum32(), m.CRC)
	}
	return nil
}

// Hit is a stored pattern close to the one asked for.
type Hit struct {
	A, B   uint32 // slots of the stars in the band
	Mirror bool   // the stored code is that of the sky seen in a mirror
	Code   Code
}

// Session looks patterns up for one goroutine.
type Session struct {
	r     *Reader
	spans [4][]cellWindow
	cells []int
}

// Session returns a new session.
func (r *Reader) Session() *Session { return &Session{r: r} }

// Find appends the patterns whose code is within eps of c, by Euclid's distance
// of the four coordinates.
func (s *Session) Find(dst []Hit, c Code, eps float64) (hits []Hit, err error) {
	defer guard(&err, s.r)
	for i, v := range [4]float64{c.X1, c.Y1 + yShift, c.X2, c.Y2 + yShift} {
		s.spans[i] = s.r.layout.span(v, eps, s.spans[i][:0])
	}
	for _, w0 := range s.spans[0] {
		for _, w1 := range s.spans[1] {
			for _, w2 := range s.spans[2] {
				slab, err := s.slab(w0.cell, w1.cell, w2.cell)
				if err != nil {
					return dst, fmt.Errorf("%s %w: %v", s.r.Band.Name(), ErrUnfit, err)
				}
				if slab == nil {
					continue
				}
				for _, w3 := range s.spans[3] {
					k := uint32(w0.cell<<24 | w1.cell<<16 | w2.cell<<8 | w3.cell)
					dst = s.pick(dst, slab.cell(w3.cell), k, &[4]window{w0.window, w1.window, w2.window, w3.window}, &c, eps)
				}
			}
		}
	}
	return dst, nil
}

// pick appends the patterns of one cell, which are in order of their first
// coordinate, that are within the windows and within eps of c.
func (s *Session) pick(dst []Hit, v []byte, k uint32, w *[4]window, c *Code, eps float64) []Hit {
	l := &s.r.layout
	// Masks tell the compiler that no shift is out of range.
	place, code := (l.gap+l.slot+1)&63, l.code&15
	mask := uint64(1)<<code - 1
	var lo, hi [4]uint64
	for i, w := range w {
		lo[i], hi[i] = uint64(w.lo), uint64(w.hi)
	}
	for ; len(v) >= entrySize; v = v[entrySize:] {
		e := binary.LittleEndian.Uint64(v)
		p := e >> place
		x := p >> (3 * code & 63)
		if x < lo[0] {
			continue
		}
		if x > hi[0] {
			break
		}
		if x := p >> (2 * code & 63) & mask; x < lo[1] || x > hi[1] {
			continue
		}
		if x := p >> code & mask; x < lo[2] || x > hi[2] {
			continue
		}
		if x := p & mask; x < lo[3] || x > hi[3] {
			continue
		}
		if h := s.hit(k, e); h.Code.Dist(*c) <= eps {
			dst = append(dst, h)
		}
	}
	return dst
}

// hit unpacks an entry of the cell with key k.
func (s *Session) hit(k uint32, e uint64) Hit {
	l := &s.r.layout
	a, b := l.slots(e)
	return Hit{A: a, B: b, Mirror: l.mirror(e), Code: l.restore(k, e)}
}

// none stands for a slab without patterns.
var none = new(slab)

// slab returns a slab, nil when it has no patterns.
func (s *Session) slab(x1, y1, x2 int) (*slab, error) {
	c := s.r.Band.cells
	if x1 > c/2 || y1 >= 2*c || x2 > c {
		return nil, nil
	}
	place := &s.r.slabs[s.r.slabNumber(x1, y1, x2)]
	if got := place.Load(); got == none {
		return nil, nil
	} else if got != nil {
		s.r.room.use(got)
		return got, nil
	}
	v, err := s.r.mapped.value(slabKeyBytes(uint32(x1<<16 | y1<<8 | x2)))
	if err != nil {
		return nil, err
	}
	if v == nil {
		place.Store(none)
		return nil, nil
	}
	got, err := parseSlab(v)
	if err == nil {
		place.Store(got)
		s.r.room.use(got)
	}
	return got, err
}

// Star returns the star in a slot.
func (s *Session) Star(slot uint32) (d Dot, err error) {
	defer guard(&err, s.r)
	cell, err := s.cell(slot)
	if err != nil {
		return d, err
	}
	return cell[slot%perSquare], nil
}

// cell returns the slots of the cell that a slot is in. They must not be
// changed. The caller guards.
func (s *Session) cell(slot uint32) ([]Dot, error) {
	block := int(slot) / blockSize
	if block >= len(s.r.blocks) {
		return nil, fmt.Errorf("%s %w: a pattern names slot %d of %d", s.r.Band.Name(), ErrUnfit, slot, s.r.base[len(s.r.base)-1])
	}
	all, err := s.block(block)
	if err != nil {
		return nil, fmt.Errorf("%s %w: %v", s.r.Band.Name(), ErrUnfit, err)
	}
	from := int(slot) % blockSize / perSquare * perSquare
	return all[from : from+perSquare : from+perSquare], nil
}

// Around appends the stars of a slot's level that may be within radius, radians
// but at most the side of a square, of v.
func (s *Session) Around(dst []Dot, slot uint32, v r3.Vec, radius float64) (dots []Dot, err error) {
	defer guard(&err, s.r)
	level := 0
	for level < len(s.r.grids)-1 && int(slot) >= s.r.base[level+1] {
		level++
	}
	return s.within(dst, level, v, min(radius, s.r.grids[level].height))
}

// within appends the stars of a level that may be within radius, radians, of v.
// The caller guards.
func (s *Session) within(dst []Dot, level int, v r3.Vec, radius float64) ([]Dot, error) {
	s.cells = s.r.grids[level].near(s.cells[:0], v, radius)
	for _, k := range s.cells {
		cell, err := s.cell(uint32(s.r.base[level] + k*perSquare))
		if err != nil {
			return dst, err
		}
		for _, d := range cell {
			if d.Free() {
				break
			}
			dst = append(dst, d)
		}
	}
	return dst, nil
}

func (s *Session) block(n int) ([]Dot, error) {
	if got := s.r.blocks[n].Load(); got != nil {
		return *got, nil
	}
	v, err := s.r.mapped.value(blockKeyBytes(n))
	if err != nil {
		return nil, err
	}
	dots, err := s.r.unfold(n*blockSize, v)
	if err == nil {
		s.r.blocks[n].Store(&dots)
		if s.r.starry() {
			s.r.room.take(dotBytes * blockSize)
		}
	}
	return dots, err
}

// Size returns the bytes a band takes on disk.
func Size(dir string, b Band) (bytes int64) {
	files, _ := os.ReadDir(filepath.Join(dir, b.Name()))
	for _, f := range files {
		if fi, err := f.Info(); err == nil && !strings.HasPrefix(f.Name(), ".") {
			bytes += fi.Size()
		}
	}
	return bytes
}
