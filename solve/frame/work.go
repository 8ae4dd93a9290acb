package frame

import (
	"context"
	"fmt"
	"io"
	"sync/atomic"
)

// A file may claim that each of a million tiles is most of itself, or that each
// unpacks to far more than the tile has room for. So all readers draw on one
// account: bytes read from the file and bytes unpacked or decoded are spent, and
// what there is to spend grows with the file and with the pixels that the picture
// has, whatever the number of tiles. No source for the numbers, chosen on: an
// honest file is read up to three times (a search for pictures, their headers, the
// pixels) and unpacked at most twice over (bytes, then samples).
const (
	workPerByte  = 6        // of the file
	workPerPixel = 8        // of each byte that a pixel is kept in
	workFree     = 64 << 20 // for any file
	workPerTile  = 1024     // spent on a tile, however small
)

// work is the account of one file, and the context in which it is read. A nil
// one allows everything.
type work struct {
	ctx  context.Context
	left atomic.Int64
	size int64
}

func newWork(ctx context.Context, size int64) *work {
	w := &work{ctx: ctx, size: size}
	w.left.Store(workFree + workPerByte*size)
	return w
}

// spend takes n bytes from the account. It returns an error when they are not
// there or when the context has ended.
func (w *work) spend(n int64) error {
	if w == nil {
		return nil
	}
	if err := w.ctx.Err(); err != nil {
		return context.Cause(w.ctx)
	}
	if w.left.Add(-n) < 0 {
		return fmt.Errorf("a file of %d bytes whose pieces unpack to far more than its picture holds: %w", w.size, ErrTooLarge)
	}
	return nil
}

// plane refuses a picture for which the machine has no memory, before anything of
// it is allocated, and adds to the account what its pixels may cost. bytes is what
// a pixel is kept in, extra the memory in bytes that reading it takes besides.
func (w *work) plane(width, height, bytes, extra int64) error {
	need := width * height * bytes
	if extra > 2*need+roomMost {
		return fmt.Errorf("picture of %d x %d pixels takes %d MB to unpack, the limit is %d MB: %w; save it unpacked, or bin it",
			width, height, extra>>20, (2*need+roomMost)>>20, ErrTooLarge)
	}
	if free, ok := freeMemory(); ok && need > free/2 {
		return fmt.Errorf("picture of %d x %d pixels takes %d MB, half of the free memory is %d MB: %w; close other programs, or bin or crop it",
			width, height, need>>20, free>>21, ErrTooLarge)
	}
	w.grant(need)
	return nil
}

// grant adds what n bytes of pixels may cost.
func (w *work) grant(n int64) {
	if w != nil && n > 0 {
		w.left.Add(workPerPixel * n)
	}
}

// roomMost is the memory, in bytes, that a reader may take besides three times
// its plane of pixels: the plane itself and twice as much.
const roomMost = 150 << 20

// freeMemory returns the memory, in bytes, that the system can give; ok is false
// where it does not tell. Tests replace it.
var freeMemory = systemFree

// metered spends what is read through it.
type metered struct {
	r io.ReaderAt
	w *work
}

func (m metered) ReadAt(p []byte, off int64) (int, error) {
	if err := m.w.spend(int64(len(p))); err != nil {
		return 0, err
	}
	return m.r.ReadAt(p, off)
}

// meter spends what is read through it.
type meter struct {
	r io.Reader
	w *work
}

func (m meter) Read(p []byte) (int, error) {
	n, err := m.r.Read(p)
	if bad := m.w.spend(int64(n)); bad != nil {
		return 0, bad
	}
	return n, err
}
