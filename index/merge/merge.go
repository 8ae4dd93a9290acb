// Package merge joins sorted runs of records into one order.
package merge

import (
	"bufio"
	"context"
	"io"
)

// Run is a sorted run that is being read: records of a fixed size.
type Run struct {
	From    io.Reader
	Records int64
}

// Format is what a record is.
type Format[T any] struct {
	Size    int              // bytes
	Read    func([]byte) T   // of Size bytes, which it must not keep
	Compare func(a, b T) int // as cmp.Compare
}

// bufferSize is the bytes that are read at a time of each run.
const bufferSize = 64 << 10

// open is a run with its next record.
type open[T any] struct {
	head T
	in   *bufio.Reader
	left int64
}

// next reads the next record into head; ok is false at the end. A run that is
// shorter than it should be is an error.
func (f *Format[T]) next(r *open[T]) (ok bool, err error) {
	if r.left == 0 {
		return false, nil
	}
	r.left--
	b, err := r.in.Peek(f.Size)
	if err == io.EOF {
		err = io.ErrUnexpectedEOF
	}
	if err != nil {
		return false, err
	}
	r.head = f.Read(b)
	_, err = r.in.Discard(f.Size)
	return true, err
}

// Each calls visit for the records of all runs in order, and ends with the first
// error. The runs stand in a heap, the one with the next record at its top.
func (f *Format[T]) Each(ctx context.Context, runs []Run, visit func(T) error) error {
	var heap []open[T]
	for _, run := range runs {
		r := open[T]{in: bufio.NewReaderSize(run.From, bufferSize), left: run.Records}
		ok, err := f.next(&r)
		if err != nil {
			return err
		}
		if ok {
			heap = append(heap, r)
		}
	}
	for i := len(heap)/2 - 1; i >= 0; i-- {
		f.sink(heap, i)
	}
	for n := 0; len(heap) > 0; n++ {
		if n%4096 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		if err := visit(heap[0].head); err != nil {
			return err
		}
		ok, err := f.next(&heap[0])
		if err != nil {
			return err
		}
		if !ok {
			last := len(heap) - 1
			heap[0] = heap[last]
			heap = heap[:last]
		}
		f.sink(heap, 0)
	}
	return nil
}

// sink restores the order of a heap whose element i may be too large.
func (f *Format[T]) sink(heap []open[T], i int) {
	for {
		least := i
		for c := 2*i + 1; c <= 2*i+2 && c < len(heap); c++ {
			if f.Compare(heap[c].head, heap[least].head) < 0 {
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
