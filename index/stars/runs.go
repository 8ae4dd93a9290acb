package stars

import (
	"bufio"
	"cmp"
	"context"
	"fmt"
	"io"
	"os"
	"slices"
)

const (
	runLength = 1 << 19   // items that are sorted in memory
	mergeRead = 64 << 10  // bytes read at a time of each run
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
	f, err := os.CreateTemp(dir, "stars-*.tmp")
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
	buf := make([]byte, 0, mergeRead)
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

// A run being merged.
type run struct {
	head item
	in   *bufio.Reader
	left int64
}

// next reads the next item into head; ok is false at the end.
func (r *run) next() (ok bool, err error) {
	if r.left == 0 {
		return false, nil
	}
	r.left--
	b, err := r.in.Peek(itemSize)
	if err != nil {
		return false, err
	}
	r.head = readItem(b)
	_, err = r.in.Discard(itemSize)
	return true, err
}

// merge calls f for all items in their order.
func (r *runs) merge(ctx context.Context, f func(item) error) error {
	if err := r.flush(); err != nil {
		return err
	}
	if err := r.wait(); err != nil {
		return err
	}
	r.fill, r.spare = nil, nil
	var heap []run
	begin := int64(0)
	for _, end := range r.ends {
		section := io.NewSectionReader(r.file, begin*itemSize, (end-begin)*itemSize)
		in := run{in: bufio.NewReaderSize(section, mergeRead), left: end - begin}
		begin = end
		ok, err := in.next()
		if err != nil {
			return err
		}
		if ok {
			heap = append(heap, in)
		}
	}
	for i := len(heap)/2 - 1; i >= 0; i-- {
		sink(heap, i)
	}
	for n := 0; len(heap) > 0; n++ {
		if n%4096 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		if err := f(heap[0].head); err != nil {
			return err
		}
		ok, err := heap[0].next()
		if err != nil {
			return err
		}
		if !ok {
			last := len(heap) - 1
			heap[0] = heap[last]
			heap = heap[:last]
		}
		sink(heap, 0)
	}
	return nil
}

// sink restores the order of a heap whose element i may be too large.
func sink(heap []run, i int) {
	for {
		least := i
		for c := 2*i + 1; c <= 2*i+2 && c < len(heap); c++ {
			if compareItems(heap[c].head, heap[least].head) < 0 {
				least = c
			}
		}
		if least == i {
			return
		}
		heap[i], heap[least] = heap[least], heap[i]
		i = least
	}
}
