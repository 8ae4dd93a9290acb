package journal

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"runtime"
	"slices"
	"sync"

	"pintle/cmd/pintle/whole"
)

// maxLine is the longest line that is read or written, bytes.
const maxLine = 1 << 20

// Append adds a record at the end of the file at path, which is made with its
// folder when missing; see [whole.Append].
func Append(path string, r Record) error {
	line, err := encode(r)
	if err != nil {
		return fmt.Errorf("journal: %w", err)
	}
	return whole.Append(path, line)
}

// Damage is a line that was skipped.
type Damage struct {
	Line   int // from 1
	Reason error
}

func (d Damage) String() string { return fmt.Sprintf("line %d %v", d.Line, d.Reason) }

// Read returns the records of the file at path in the order of the lines, and
// what had to be skipped. A file that does not exist has no records.
func Read(path string) ([]Record, []Damage, error) {
	switch st, err := os.Stat(path); {
	case errors.Is(err, fs.ErrNotExist):
		return nil, nil, nil
	case err == nil && !st.Mode().IsRegular(): // opening a pipe would wait
		return nil, nil, fmt.Errorf("%s is not a file", path)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, nil, err
	}
	defer f.Close()
	return read(f)
}

// batch is some lines on their way through a decoder.
type batch struct {
	lines   [][]byte
	numbers []int
	records []Record
	damage  []Damage
	done    chan struct{}
}

// read hands batches of lines to one decoder a processor and collects them in
// order.
func read(r io.Reader) ([]Record, []Damage, error) {
	work, order := make(chan *batch, 4), make(chan *batch, 16)
	var decoders sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		decoders.Go(func() {
			for b := range work {
				b.decode()
				close(b.done)
			}
		})
	}
	var err error
	go func() {
		err = split(r, func(b *batch) {
			b.done = make(chan struct{})
			order <- b
			work <- b
		})
		close(work)
		close(order)
	}()
	var records [][]Record
	var damage []Damage
	for b := range order {
		<-b.done
		records = append(records, b.records)
		damage = append(damage, b.damage...)
	}
	decoders.Wait()
	return slices.Concat(records...), damage, err
}

func (b *batch) decode() {
	b.records = make([]Record, 0, len(b.lines))
	for i, line := range b.lines {
		r, err := decode(line)
		if err != nil {
			b.damage = append(b.damage, Damage{b.numbers[i], err})
			continue
		}
		b.records = append(b.records, r)
	}
}

// split cuts r into batches of lines. Empty lines are left out: a program that
// found a torn end may have begun a new line twice.
func split(r io.Reader, emit func(*batch)) error {
	br := bufio.NewReaderSize(r, 1<<16)
	b, size := new(batch), 0
	for number := 1; ; number++ {
		line, err := readLine(br)
		if len(bytes.TrimSpace(line)) > 0 {
			b.lines, b.numbers = append(b.lines, line), append(b.numbers, number)
			size += len(line)
		}
		if size > 1<<17 || err != nil {
			emit(b)
			b, size = new(batch), 0
		}
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
	}
}

// readLine returns a copy of the next line without its end; of a line longer
// than any record only the start, which will not pass for one.
func readLine(br *bufio.Reader) ([]byte, error) {
	var line []byte
	for {
		part, err := br.ReadSlice('\n')
		if len(line) < maxLine {
			line = append(line, part...)
		}
		if err == bufio.ErrBufferFull {
			continue
		}
		return bytes.TrimSuffix(bytes.TrimSuffix(line, []byte{'\n'}), []byte{'\r'}), err
	}
}
