package stars

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"os"
	"slices"

	"pintle/index/merge"
)

const (
	runLength = 1 << 19   // items that are sorted in memory
	writeSize = 64 << 10  // bytes written at a time
	mostItems = 200 << 20 // the longest list, so that the merge's buffers stay small
)

// runs sorts items on disk: runs sorted in memory stand one behind the other in
// a temporary file until they are merged. While a run is sorted and written
// the next one is collected.
type runs struct {
	file        *os.File
	ends        []int64 // of the runs, in items
	fill, spare []item
	busy        chan error // gives the result of the run being written
	length      int        // of a run
}

func newRuns(dir string, length int) (*runs, error) {
	f, err := createTemp(dir)
	if err != nil {
		return nil, err
	}
	return &runs{file: f, length: length}, nil
}

// close removes the file. It may be called twice.
func (r *runs) close() error {
	if r.file == nil {
		return nil
	}
	r.wait()
	f := r.file
	r.file, r.fill, r.spare = nil, nil, nil
	return cmp.Or(f.Close(), os.Remove(f.Name()))
}

func (r *runs) add(it item) error {
	r.fill = append(r.fill, it)
	if len(r.fill) < r.length {
		return nil
	}
	return r.flush()
}

// flush starts writing what was collected.
func (r *runs) flush() error {
	if err := r.wait(); err != nil {
		return err
	}
	full, begin := r.fill, r.total()
	if begin+int64(len(full)) > mostItems {
		return fmt.Errorf("more than %d stars; leave out the faint ones", mostItems)
	}
	r.ends = append(r.ends, begin+int64(len(full)))
	r.fill, r.spare = r.spare[:0], full
	busy := make(chan error, 1)
	r.busy = busy
	go func() { busy <- writeRun(r.file, full) }()
	return nil
}

// wait waits for the run being written.
func (r *runs) wait() error {
	if r.busy == nil {
		return nil
	}
	err := <-r.busy
	r.busy = nil
	return err
}

// total is the number of items in the file.
func (r *runs) total() int64 {
	if len(r.ends) == 0 {
		return 0
	}
	return r.ends[len(r.ends)-1]
}

func compareItems(a, b item) int { return cmp.Or(cmp.Compare(a.key, b.key), cmp.Compare(a.y, b.y)) }

func writeRun(w io.Writer, items []item) error {
	slices.SortFunc(items, compareItems)
	buf := make([]byte, 0, writeSize)
	for i := range items {
		buf = items[i].put(buf)
		if len(buf) == cap(buf) || i == len(items)-1 {
			if _, err := w.Write(buf); err != nil {
				return err
			}
			buf = buf[:0]
		}
	}
	return nil
}

var records = merge.Format[item]{Size: itemSize, Read: readItem, Compare: compareItems}

// merge calls f for all items in their order.
func (r *runs) merge(ctx context.Context, f func(item) error) error {
	if err := r.flush(); err != nil {
		return err
	}
	if err := r.wait(); err != nil {
		return err
	}
	r.fill, r.spare = nil, nil
	var parts []merge.Run
	begin := int64(0)
	for _, end := range r.ends {
		parts = append(parts, merge.Run{From: io.NewSectionReader(r.file, begin*itemSize, (end-begin)*itemSize), Records: end - begin})
		begin = end
	}
	return records.Each(ctx, parts, f)
}
