package catalog

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"github.com/klauspost/compress/gzip"
)

// Source is a catalogue file.
type Source struct {
	Name string // for people
	Size int64  // bytes, for the progress; 0 when unknown
	Open func() (io.ReadCloser, error)
}

// File returns the source of a file.
func File(path string) (Source, error) {
	info, err := os.Stat(path)
	if p := (*fs.PathError)(nil); errors.As(err, &p) {
		return Source{}, fmt.Errorf("%s: %w", path, p.Err)
	}
	if err != nil {
		return Source{}, err
	}
	if info.IsDir() {
		return Source{}, fmt.Errorf("%s is a folder, want a catalogue file", path)
	}
	if !info.Mode().IsRegular() { // opening a pipe would wait for its writer
		return Source{}, fmt.Errorf("%s is not a regular file (%s), want a catalogue file", path, info.Mode().Type())
	}
	return Source{Name: path, Size: info.Size(), Open: func() (io.ReadCloser, error) { return os.Open(path) }}, nil
}

// counter counts the bytes read, until its context ends.
type counter struct {
	ctx context.Context
	in  io.Reader
	n   int64
}

func (c *counter) Read(p []byte) (int, error) {
	if err := c.ctx.Err(); err != nil {
		return 0, err
	}
	n, err := c.in.Read(p)
	c.n += int64(n)
	return n, err
}

const (
	readAhead = 1 << 18
	headSize  = 512
)

// open tells the format of a file by its start and reads up to its rows.
func open(r io.Reader) (table, error) {
	in := bufio.NewReaderSize(r, readAhead)
	head, err := in.Peek(headSize)
	if err != nil && err != io.EOF {
		return nil, err
	}
	if bytes.HasPrefix(head, []byte("\x1f\x8b")) {
		z, err := gzip.NewReader(in)
		if err != nil {
			return nil, fmt.Errorf("gzip: %w; copy the file again", err)
		}
		in = bufio.NewReaderSize(gzipped{z}, readAhead)
		if head, err = in.Peek(headSize); err != nil && err != io.EOF {
			return nil, err
		}
	}
	if bytes.HasPrefix(head, []byte("\xef\xbb\xbf")) { // byte order mark
		in.Discard(3)
		head = head[3:]
	}
	switch {
	case bytes.HasPrefix(head, []byte("SIMPLE  ")):
		return opened(openFITS(in))
	case bytes.HasPrefix(bytes.TrimLeft(head, " \t\r\n"), []byte("<")):
		return opened(openVOTable(in))
	case bytes.IndexByte(head, 0) >= 0 || bytes.HasPrefix(head, []byte("PK\x03\x04")) || bytes.HasPrefix(head, []byte("\x1f\x8b")):
		return nil, fmt.Errorf("file that starts with %.8q, want comma-separated values, a FITS table or a VOTable, plain or packed with gzip", head)
	}
	return opened(openCSV(in))
}

func opened[T table](t T, err error) (table, error) {
	if err != nil {
		return nil, err
	}
	return t, nil
}

// gzipped explains the errors of a packed file.
type gzipped struct{ z *gzip.Reader }

func (g gzipped) Read(p []byte) (int, error) {
	n, err := g.z.Read(p)
	if err != nil && err != io.EOF {
		err = fmt.Errorf("gzip: %w; copy the file again", err)
	}
	return n, err
}
