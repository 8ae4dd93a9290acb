package stars

import (
	"fmt"
	"math"
	"os"

	"github.com/dgraph-io/ristretto/v2/z"
)

// OpenFile returns the list in a file, as [Open] does. The file is mapped into
// memory: only what is asked for is read, and the file must not change while
// the list is in use. Close the list after use.
func OpenFile(path string) (*List, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("star list: %w", err)
	}
	defer f.Close() // the map stays
	info, err := f.Stat()
	if err != nil {
		return nil, fmt.Errorf("star list: %w", err)
	}
	size := info.Size()
	switch {
	case !info.Mode().IsRegular():
		return nil, fmt.Errorf("star list: %s is not a file", path)
	case size < summed:
		return nil, fmt.Errorf("star list: %s has %d bytes, want at least %d", path, size, summed)
	case size > math.MaxInt:
		return nil, fmt.Errorf("star list: %s has %d bytes, want at most %d", path, size, math.MaxInt)
	}
	data, err := z.Mmap(f, false, size)
	if err != nil {
		return nil, fmt.Errorf("star list: map %s: %w", path, err)
	}
	l, err := Open(data)
	if err != nil {
		_ = z.Munmap(data) // nothing was written
		return nil, fmt.Errorf("%w; in %s", err, path)
	}
	l.mapped = true
	return l, nil
}

// Close gives back the memory of a list from [OpenFile], which must not be in
// use then, or ever be used again. For other lists it does nothing.
func (l *List) Close() error {
	if !l.mapped {
		return nil
	}
	data := l.data
	*l = List{}
	return z.Munmap(data)
}
