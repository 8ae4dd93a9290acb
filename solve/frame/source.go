package frame

import (
	"context"
	"errors"
	"fmt"
	"io"
)

// source is a file's content: behind an io.ReaderAt, or whole in memory.
type source struct {
	r    io.ReaderAt
	size int64
	mem  []byte // all of it, when it lies in memory and may be overwritten
	work *work  // what reading it may cost
}

// check reports whether n bytes from off lie inside the file.
func (s *source) check(off, n int64, what string) error {
	if off < 0 || n < 0 || off > s.size || n > s.size-off {
		return fmt.Errorf("%s: %d bytes from byte %d are claimed, the file has %d: %w; copy it again", what, n, off, s.size, ErrDamaged)
	}
	return nil
}

// bytes returns n bytes from off. The result may alias mem.
func (s *source) bytes(off, n int64, what string) ([]byte, error) {
	if err := s.check(off, n, what); err != nil {
		return nil, err
	}
	if s.mem != nil {
		return s.mem[off : off+n : off+n], s.work.spend(n)
	}
	b := make([]byte, n)
	return b, s.fill(b, off, what)
}

// fill reads len(b) bytes from off.
func (s *source) fill(b []byte, off int64, what string) error {
	if err := s.check(off, int64(len(b)), what); err != nil {
		return err
	}
	if err := s.work.spend(int64(len(b))); err != nil {
		return err
	}
	if s.mem != nil {
		copy(b, s.mem[off:])
		return nil
	}
	if n, err := s.r.ReadAt(b, off); n < len(b) {
		return fmt.Errorf("%s: %w", what, err)
	}
	return nil
}

// section returns a reader of the n bytes from off, cut at the file's end.
func (s *source) section(off, n int64) *io.SectionReader {
	return io.NewSectionReader(metered{s.r, s.work}, off, max(0, min(n, s.size-off)))
}

// head returns up to n bytes from the start.
func (s *source) head(n int64) ([]byte, error) {
	return s.bytes(0, min(n, s.size), "start of file")
}

// damaged words a failure of unpacking; what ended it from outside stays as it is.
func damaged(what string, err error) error {
	if errors.Is(err, ErrTooLarge) || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	return fmt.Errorf("%s (%v): %w", what, err, ErrDamaged)
}
