package index

import (
	"bufio"
	"cmp"
	"context"
	"encoding/binary"
	"io"
	"os"
	"slices"
	"sync"

	"pintle/index/merge"
)

// sorter puts entries in order. Beyond a number of them it sorts runs in
// memory, keeps those in files, and merges them.
type sorter struct {
	dir   string // for the files
	limit int    // entries in memory
	fill  []entry
	runs  []run
	total int
}

// run is a file of sorted entries.
type run struct {
	file    *os.File
	entries int64
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
	s.runs = append(s.runs, run{f, int64(len(s.fill))})
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
	for _, r := range s.runs {
		r.file.Close()
		os.Remove(r.file.Name())
	}
	s.runs = nil
}

// sort orders what is in memory; after it each can be called, once.
func (s *sorter) sort() error {
	if len(s.runs) == 0 {
		sortEntries(s.fill)
		return nil
	}
	err := s.spill()
	s.fill = nil
	return err
}

// each calls f for all entries in order, and ends with the first error.
func (s *sorter) each(ctx context.Context, f func(entry) error) error {
	for _, e := range s.fill {
		if err := f(e); err != nil {
			return err
		}
	}
	var runs []merge.Run
	for _, r := range s.runs {
		if _, err := r.file.Seek(0, io.SeekStart); err != nil {
			return err
		}
		runs = append(runs, merge.Run{From: r.file, Records: r.entries})
	}
	return records.Each(ctx, runs, f)
}

var records = merge.Format[entry]{
	Size: recordSize,
	Read: func(b []byte) entry {
		return entry{binary.LittleEndian.Uint32(b), binary.LittleEndian.Uint64(b[4:])}
	},
	Compare: compareEntries,
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
