package index

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"pintle/index/stars"
)

// manifestName is the file in a band's folder that holds its Manifest. It is
// written last.
const manifestName = "manifest.json"

// Manifest is what a built band says of itself.
type Manifest struct {
	Version  int       `json:"version"`
	Stars    string    `json:"stars"` // checksum of the star list
	Band     int       `json:"band"`
	Keys     int       `json:"keys"`
	Patterns int       `json:"patterns"`
	Pairs    int       `json:"pairs"` // different pairs of stars A, B
	CRC      uint32    `json:"crc"`   // CRC-32C of all keys and values in order
	Built    time.Time `json:"built"`
	Files    []sealed  `json:"files"`
}

// sealed is a file of a band as it was when the band was built. The database
// trusts the ends of its files, where they say what is in them, so those are
// checked before it is opened; the rest carries checksums of its own, which it
// checks on reading.
type sealed struct {
	Name string `json:"name"`
	Size int64  `json:"size"`
	Tail uint32 `json:"tail"` // CRC-32C of the last tailSize bytes
}

const tailSize = 4 << 20

// seal lists the files of the closed database and writes the manifest.
func (m *Manifest) seal(dir string) error {
	files, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	for _, f := range files {
		s, err := sealOf(dir, f.Name())
		if err != nil {
			return err
		}
		m.Files = append(m.Files, s)
	}
	text, err := json.MarshalIndent(m, "", " ")
	if err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(dir, manifestName), text, 0o644)
}

func sealOf(dir, name string) (s sealed, err error) {
	f, err := os.Open(filepath.Join(dir, name))
	if err != nil {
		return s, err
	}
	defer f.Close()
	fi, err := f.Stat()
	if err != nil {
		return s, err
	}
	crc := crc32.New(castagnoli)
	_, err = io.Copy(crc, io.NewSectionReader(f, max(0, fi.Size()-tailSize), tailSize))
	return sealed{name, fi.Size(), crc.Sum32()}, err
}

func readManifest(dir string) (m Manifest, err error) {
	text, err := os.ReadFile(filepath.Join(dir, manifestName))
	if err != nil {
		return m, errors.New("it has no manifest")
	}
	if err := json.Unmarshal(text, &m); err != nil {
		return m, fmt.Errorf("its manifest cannot be read: %w", err)
	}
	return m, nil
}

// fits reports whether the manifest is that of a band and star list.
func (m *Manifest) fits(b Band, list *stars.List) error {
	switch {
	case m.Version != Version:
		return fmt.Errorf("format version %d, want %d", m.Version, Version)
	case m.Band != b.Number:
		return fmt.Errorf("holds band %d, want %d", m.Band, b.Number)
	case m.Stars != list.Checksum():
		return fmt.Errorf("built from star list %.12s, want %.12s", m.Stars, list.Checksum())
	}
	return nil
}

// intact reports whether the files are those that were sealed. The database's
// own lock file may come and go.
func (m *Manifest) intact(dir string) error {
	if !slices.ContainsFunc(m.Files, func(s sealed) bool { return filepath.Ext(s.Name) == ".sst" }) {
		return errors.New("its manifest names no table")
	}
	var next atomic.Int64
	errs := make([]error, len(m.Files))
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(m.Files); i = int(next.Add(1)) - 1 {
				errs[i] = m.Files[i].intact(dir)
			}
		})
	}
	wg.Wait()
	return cmp.Or(errs...)
}

// intact reports whether a file is as it was sealed.
func (s sealed) intact(dir string) error {
	got, err := sealOf(dir, s.Name)
	switch {
	case err != nil:
		return err
	case got.Size != s.Size:
		return fmt.Errorf("%s has %d bytes, want %d", s.Name, got.Size, s.Size)
	case got.Tail != s.Tail:
		return fmt.Errorf("the end of %s is damaged", s.Name)
	}
	return nil
}
