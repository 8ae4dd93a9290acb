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
	"sync"
	"time"

	"github.com/dgraph-io/badger/v4"
	"github.com/dgraph-io/badger/v4/options"
	"github.com/dgraph-io/badger/v4/pb"
	"github.com/dgraph-io/ristretto/v2/z"

	"pintle/index/stars"
)

// Version is the format of the store. A store of another version is rebuilt.
const Version = 3

// ErrAbsent says that a band has not been built yet.
var ErrAbsent = errors.New("not built yet")

// ErrUnfit says that a band is there but cannot be used: another format,
// another star list, or damage. It must be built again.
var ErrUnfit = errors.New("cannot be used")

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

func dbOptions(dir string) badger.Options {
	return badger.DefaultOptions(dir).
		WithLogger(nil).
		WithMetricsEnabled(false).
		WithCompression(options.None).
		WithBlockCacheSize(0).
		WithDetectConflicts(false).
		WithNumCompactors(0).
		WithNumMemtables(1).
		WithMemTableSize(8 << 20).
		WithBaseTableSize(64 << 20).
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
	all, err := patterns(ctx, b, brightest(list), func(s float64) { progress(0.75 * s) })
	if err != nil {
		return err
	}
	sortEntries(all)
	progress(0.85)
	aside, err := os.MkdirTemp(dir, b.Name()+asideMark+"*")
	if err != nil {
		return fmt.Errorf("cannot make a folder for the build: %w", err)
	}
	defer os.RemoveAll(aside)
	m := Manifest{Version: Version, Stars: list.Checksum(), Band: b.Number, Patterns: len(all), Built: now.UTC()}
	if err := write(ctx, aside, &m, all, func(s float64) { progress(0.85 + 0.15*s) }); err != nil {
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

// sortEntries orders by cell, and within a cell in a fixed way, so that a
// build gives the same bytes whatever the number of goroutines.
func sortEntries(all []entry) {
	compare := func(x, y entry) int {
		if c := cmp.Compare(x.key, y.key); c != 0 {
			return c
		}
		if c := cmp.Compare(x.offset, y.offset); c != 0 {
			return c
		}
		if c := cmp.Compare(x.a, y.a); c != 0 {
			return c
		}
		return cmp.Compare(x.b, y.b)
	}
	// In two halves at once, about the middle key of a sample.
	if len(all) < 1<<14 {
		slices.SortFunc(all, compare)
		return
	}
	sample := make([]uint32, 0, 1024)
	for i := 0; i < len(all); i += len(all)/1024 + 1 {
		sample = append(sample, all[i].key)
	}
	slices.Sort(sample)
	pivot := sample[len(sample)/2]
	i := 0
	for j := range all {
		if all[j].key < pivot {
			all[i], all[j] = all[j], all[i]
			i++
		}
	}
	var wg sync.WaitGroup
	wg.Go(func() { slices.SortFunc(all[:i], compare) })
	slices.SortFunc(all[i:], compare)
	wg.Wait()
}

// write puts the sorted entries and the manifest into a new database.
func write(ctx context.Context, dir string, m *Manifest, all []entry, progress func(share float64)) (err error) {
	db, err := badger.Open(dbOptions(dir))
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
	put := func(key, value []byte) error {
		badger.KVToBuffer(&pb.KV{Key: key, Value: value, Version: 1, StreamId: 1}, buf)
		if buf.LenNoPadding() < 2<<20 {
			return nil
		}
		defer buf.Reset()
		return w.Write(buf)
	}
	crc := crc32.New(castagnoli)
	var value []byte
	for i := 0; i < len(all); {
		if err := ctx.Err(); err != nil {
			return err
		}
		key := all[i].key
		value = value[:0]
		for ; i < len(all) && all[i].key == key; i++ {
			value = all[i].put(value)
		}
		k := keyBytes(key)
		crc.Write(k)
		crc.Write(value)
		m.Cells++
		if err := put(k, value); err != nil {
			return err
		}
		if m.Cells%1000 == 0 {
			progress(float64(i) / float64(len(all)))
		}
	}
	m.CRC = crc.Sum32()
	if err := w.Write(buf); err != nil {
		return err
	}
	return w.Flush()
}

// Reader finds patterns of one band. It may be used by several goroutines.
type Reader struct {
	Band     Band
	Manifest Manifest
	db       *badger.DB
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
	defer guard(&err, place)
	db, err := badger.Open(dbOptions(place).WithReadOnly(true))
	if err != nil {
		return nil, fmt.Errorf("%s %w: %v", place, ErrUnfit, err)
	}
	return &Reader{Band: b, Manifest: m, db: db}, nil
}

// guard turns a panic of the store, which damaged files can cause, into an
// error.
func guard(err *error, place string) {
	if p := recover(); p != nil {
		*err = fmt.Errorf("%s %w: %v", place, ErrUnfit, p)
	}
}

// Close closes the band. The Reader must not be used after it.
func (r *Reader) Close() error { return r.db.Close() }

// Check reads everything and compares it with the manifest.
func (r *Reader) Check(ctx context.Context) (err error) {
	defer guard(&err, r.Band.Name())
	crc := crc32.New(castagnoli)
	cells, patterns := 0, 0
	err = r.db.View(func(txn *badger.Txn) error {
		it := txn.NewIterator(badger.IteratorOptions{PrefetchValues: false})
		defer it.Close()
		for it.Rewind(); it.Valid(); it.Next() {
			if err := ctx.Err(); err != nil {
				return err
			}
			item := it.Item()
			crc.Write(item.Key())
			if err := item.Value(func(v []byte) error {
				cells++
				patterns += len(v) / entrySize
				crc.Write(v)
				return nil
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
	case cells != m.Cells || patterns != m.Patterns:
		return fmt.Errorf("%s %w: %d cells and %d patterns, its manifest says %d and %d", r.Band.Name(), ErrUnfit, cells, patterns, m.Cells, m.Patterns)
	case crc.Sum32() != m.CRC:
		return fmt.Errorf("%s %w: checksum %08x, its manifest says %08x", r.Band.Name(), ErrUnfit, crc.Sum32(), m.CRC)
	}
	return nil
}

// Hit is a stored pattern close to the one asked for.
type Hit struct {
	A, B   uint32 // star numbers in the list
	Mirror bool   // the stored code is that of the sky seen in a mirror
	Code   Code
}

// Session looks patterns up for one goroutine.
type Session struct {
	r     *Reader
	txn   *badger.Txn
	spans [4][]cellWindow
}

// Session returns a new session; Close it after use.
func (r *Reader) Session() *Session { return &Session{r: r, txn: r.db.NewTransaction(false)} }

// Close ends the session.
func (s *Session) Close() { s.txn.Discard() }

// Find appends the patterns whose code is within eps of c in every coordinate.
func (s *Session) Find(dst []Hit, c Code, eps float64) (hits []Hit, err error) {
	defer guard(&err, s.r.Band.Name())
	n := s.r.Band.cells
	for i, v := range [4]float64{c.X1, c.Y1 + yShift, c.X2, c.Y2 + yShift} {
		s.spans[i] = span(v, eps, n, s.spans[i][:0])
	}
	var key [4]byte
	for _, w0 := range s.spans[0] {
		for _, w1 := range s.spans[1] {
			for _, w2 := range s.spans[2] {
				for _, w3 := range s.spans[3] {
					k := w0.cell<<24 | w1.cell<<16 | w2.cell<<8 | w3.cell
					binary.BigEndian.PutUint32(key[:], k)
					dst, err = s.cell(dst, key[:], k, [4]window{w0.window, w1.window, w2.window, w3.window})
					if err != nil {
						return dst, err
					}
				}
			}
		}
	}
	return dst, nil
}

// cell appends the patterns of one cell within the windows.
func (s *Session) cell(dst []Hit, key []byte, k uint32, w [4]window) ([]Hit, error) {
	item, err := s.txn.Get(key)
	if errors.Is(err, badger.ErrKeyNotFound) {
		return dst, nil
	}
	if err != nil {
		return dst, fmt.Errorf("%s %w: %v", s.r.Band.Name(), ErrUnfit, err)
	}
	err = item.Value(func(v []byte) error {
		if len(v)%entrySize != 0 {
			return fmt.Errorf("a cell has %d bytes, want a multiple of %d", len(v), entrySize)
		}
		for ; len(v) >= entrySize; v = v[entrySize:] {
			o := three(v)
			if x := int(o >> 18); x < w[0].lo || x > w[0].hi {
				continue
			}
			if x := int(o >> 12 & offsetMax); x < w[1].lo || x > w[1].hi {
				continue
			}
			if x := int(o >> 6 & offsetMax); x < w[2].lo || x > w[2].hi {
				continue
			}
			if x := int(o & offsetMax); x < w[3].lo || x > w[3].hi {
				continue
			}
			a, b := three(v[3:]), three(v[6:])
			dst = append(dst, Hit{A: a & starMask, B: b, Mirror: a&mirrorBit != 0, Code: restore(k, o, s.r.Band.cells)})
		}
		return nil
	})
	if err != nil {
		return dst, fmt.Errorf("%s %w: %v", s.r.Band.Name(), ErrUnfit, err)
	}
	return dst, nil
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
