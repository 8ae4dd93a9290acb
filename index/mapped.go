package index

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"

	"github.com/dgraph-io/badger/v4/options"
	"github.com/dgraph-io/badger/v4/table"
	"github.com/dgraph-io/badger/v4/y"
	"github.com/dgraph-io/ristretto/v2/z"
)

// mapped reads the values of a band where they lie, in the tables of its database
// mapped into memory: the database itself hands out copies, of which a search that
// refuses a frame would need half a gigabyte. Nothing writes to a finished band.
type mapped struct{ tables []*table.Table }

// openMapped maps the tables in a folder.
func openMapped(dir string) (m *mapped, err error) {
	m = &mapped{}
	defer func() {
		if err != nil {
			err = errors.Join(err, m.close())
		}
	}()
	names, err := filepath.Glob(filepath.Join(dir, "*.sst"))
	if err != nil {
		return m, err
	}
	for _, name := range names {
		f, err := z.OpenMmapFile(name, os.O_RDONLY, 0)
		if err != nil {
			return m, err
		}
		t, err := table.OpenTable(f, table.Options{ReadOnly: true, ChkMode: options.OnBlockRead, Compression: options.None})
		if err != nil {
			return m, errors.Join(err, f.Close(-1))
		}
		m.tables = append(m.tables, t)
	}
	slices.SortFunc(m.tables, func(a, b *table.Table) int { return bytes.Compare(a.Smallest(), b.Smallest()) })
	return m, nil
}

// value returns a value, nil when there is none. It must not be changed, and is good
// until the tables are closed.
func (m *mapped) value(key []byte) ([]byte, error) {
	at := y.KeyWithTs(key, math.MaxUint64) // the latest version
	for _, t := range m.tables {
		if y.CompareKeys(at, t.Biggest()) > 0 {
			continue
		}
		it := t.NewIterator(table.NOCACHE)
		defer it.Close()
		it.Seek(at)
		switch {
		case !it.Valid(): // and yet the table's last key is behind this one
			return nil, fmt.Errorf("%s is damaged", t.Filename())
		case !y.SameKey(at, it.Key()):
			return nil, nil
		}
		v := it.Value()
		if v.Meta != 0 {
			return nil, fmt.Errorf("a value is kept apart from its table (%#x)", v.Meta)
		}
		return v.Value, nil
	}
	return nil, nil
}

// forget gives the memory back that the tables take while they are read.
func (m *mapped) forget() {
	for _, t := range m.tables {
		forgetPages(t.Data)
	}
}

func (m *mapped) close() (err error) {
	for _, t := range m.tables {
		err = errors.Join(err, t.Close(-1))
	}
	m.tables = nil
	return err
}
