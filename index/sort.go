package index

import (
	"bufio"
	"cmp"
	"context"
	"encoding/binary"
	"io"
	"iter"
	"os"
	"slices"
	"sync"
)

// sorter puts entries in order. Beyond a number of them it sorts runs in
// memory, keeps those in files, and merges them.
type sorter struct {
	dir   string // for the files
	limit int    // entries in memory
	fill  []entry
	runs  []*os.File
	total int
}

// recordSize is the bytes of an entry in a run: its key, then its bits.
const recordSize = 12

// grow makes room for n more entries, as far as they are kept in memory.
func (s *sorter) grow(n int) {
	s.fill = slices.Grow(s.fill, min(n, s.limit-len(s.fill)))
}

func (s *sorter) add(list []entry) error {
	s.total += len(list)
	for len(list) > 0 {
		n := min(len(list), s.limit-len(s.fill))
		s.fill = append(s.fill, list[:n]...)
		if list = list[n:]; len(list) > 0 {
			if err := s.spill(); err != nil {
				return err
			}
		}
	}
	return nil
}

// spill writes what is in memory as a run.
func (s *sorter) spill() error {
	sortEntries(s.fill)
	f, err := os.CreateTemp(s.dir, "run-*")
	if err != nil {
		return err
	}
	s.runs = append(s.runs, f)
	w := bufio.NewWriterSize(f, 1<<18)
	var b [recordSize]byte
	for _, e := range s.fill {
		binary.LittleEndian.PutUint32(b[:], e.key)
		binary.LittleEndian.PutUint64(b[4:], e.bits)
		w.Write(b[:]) // Flush tells of errors
	}
	s.fill = s.fill[:0]
	return w.Flush()
}

// close removes the files.
func (s *sorter) close() {
	for _, f := range s.runs {
		f.Close()
		os.Remove(f.Name())
	}
	s.runs = nil
}

// sort orders what is in memory; after it sorted can be called, once.
func (s *sorter) sort() error {
	if len(s.runs) == 0 {
		sortEntries(s.fill)
		return nil
	}
	err := s.spill()
	s.fill = nil
	return err
}

// sorted gives all entries in order, and ends with an error if there is one.
func (s *sorter) sorted(ctx context.Context) iter.Seq2[entry, error] {
	return func(yield func(entry, error) bool) {
		if len(s.runs) == 0 {
			for _, e := range s.fill {
				if !yield(e, nil) {
					return
				}
			}
			return
		}
		if err := s.merge(ctx, func(e entry) bool { return yield(e, nil) }); err != nil {
			yield(entry{}, err)
		}
	}
}

// run is a run that is being read.
type run struct {
	in   *bufio.Reader
	next entry
}

// read reads the next entry; io.EOF at the end.
func (r *run) read() error {
	b, err := r.in.Peek(recordSize)
	if err != nil {
		if err == io.EOF && len(b) > 0 {
			return io.ErrUnexpectedEOF
		}
		return err
	}
	r.next = entry{binary.LittleEndian.Uint32(b), binary.LittleEndian.Uint64(b[4:])}
	_, err = r.in.Discard(recordSize)
	return err
}

// merge calls f for the entries of all runs in order, until it returns false.
// The runs stand in a heap, the one with the next entry at its top.
func (s *sorter) merge(ctx context.Context, f func(entry) bool) error {
	var heap []*run
	for _, file := range s.runs {
		if _, err := file.Seek(0, io.SeekStart); err != nil {
			return err
		}
		r := &run{in: bufio.NewReaderSize(file, 1<<17)}
		if err := r.read(); err == io.EOF {
			continue
		} else if err != nil {
			return err
		}
		heap = append(heap, r)
	}
	for i := len(heap)/2 - 1; i >= 0; i-- {
		sink(heap, i)
	}
	for n := 1; len(heap) > 0; n++ {
		if n%(1<<16) == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		if !f(heap[0].next) {
			return nil
		}
		if err := heap[0].read(); err == io.EOF {
			heap[0] = heap[len(heap)-1]
			heap = heap[:len(heap)-1]
		} else if err != nil {
			return err
		}
		sink(heap, 0)
	}
	return nil
}

// sink lets a run go down to its place in the heap.
func sink(heap []*run, i int) {
	for {
		least := i
		for c := 2*i + 1; c <= 2*i+2 && c < len(heap); c++ {
			if compareEntries(heap[c].next, heap[least].next) < 0 {
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

func compareEntries(x, y entry) int {
	if c := cmp.Compare(x.key, y.key); c != 0 {
		return c
	}
	return cmp.Compare(x.bits, y.bits)
}

// sortEntries orders by cell, and within a cell in a fixed way, so that a
// build gives the same bytes whatever the number of goroutines.
func sortEntries(all []entry) {
	// In two halves at once, about the middle key of a sample.
	if len(all) < 1<<14 {
		slices.SortFunc(all, compareEntries)
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
	wg.Go(func() { slices.SortFunc(all[:i], compareEntries) })
	slices.SortFunc(all[i:], compareEntries)
	wg.Wait()
}
