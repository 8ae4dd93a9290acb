package journal

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"sync"
)

// maxLine is the longest line that is read or written, bytes.
const maxLine = 1 << 20

// Append adds a record at the end of the file at path, which is made with its
// folder when missing. The line goes out in one write to a file opened for
// appending, so that the lines of two programs do not mix, and is on the disk
// when Append returns. Behind a line torn by a crash a new line is begun.
func Append(path string, r Record) (err error) {
	line, err := encode(r)
	if err != nil {
		return fmt.Errorf("journal: %w", err)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	f, err := os.OpenFile(path, os.O_RDWR|os.O_APPEND|os.O_CREATE, 0o644)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	torn, fresh, err := torn(f)
	if err != nil {
		return err
	}
	if torn {
		line = append([]byte{'\n'}, line...)
	}
	if _, err := f.Write(line); err != nil {
		return err
	}
	if err := f.Sync(); err != nil {
		return err
	}
	if fresh {
		syncDir(filepath.Dir(path))
	}
	return nil
}

// torn is true when the file does not end with the end of a line; fresh when
// it is empty.
func torn(f *os.File) (torn, fresh bool, err error) {
	st, err := f.Stat()
	if err != nil {
		return false, false, err
	}
	if !st.Mode().IsRegular() {
		return false, false, fmt.Errorf("%s is not a file", f.Name())
	}
	if st.Size() == 0 {
		return false, true, nil
	}
	var last [1]byte
	if _, err := f.ReadAt(last[:], st.Size()-1); err != nil {
		return false, false, err
	}
	return last[0] != '\n', false, nil
}

// syncDir makes a new file's name durable where the system can; where it
// cannot, the file is no less whole.
func syncDir(dir string) {
	if d, err := os.Open(dir); err == nil {
		_ = d.Sync()
		d.Close()
	}
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
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil, nil
	}
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
