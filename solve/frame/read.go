package frame

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"os"
	"path/filepath"
	"time"
)

// file is what is known of a frame's file besides its content.
type file struct {
	source
	name     string
	modified time.Time
}

// facts is what a format's reader finds out: the frame it filled in, and the
// header or the EXIF block that time, site and optics are taken from.
type facts struct {
	cards cards
	exif  *exif
}

// Read reads the photograph or star list at path. What the file is is decided
// by its content, never by its name.
//
// Pixels stay as they were recorded where the file allows it: the rows in
// stored order (no flip, no EXIF orientation), an undecoded mosaic undecoded.
// A missing or refused time or site is not an error here (see Frame.Time.Err,
// Frame.SiteErr): a frame can be solved without them.
//
// When ctx ends, Read returns at once with its cause; a decoder that cannot be
// stopped ends by itself, and its result is dropped.
func Read(ctx context.Context, path string, o Options) (*Frame, error) {
	fr, err := atOnce(ctx, func() (*Frame, error) { return read(ctx, path, o) })
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return fr, nil
}

// atOnce returns what work returns, or the cause of the end of ctx when that
// comes first.
func atOnce(ctx context.Context, work func() (*Frame, error)) (*Frame, error) {
	type result struct {
		fr  *Frame
		err error
	}
	done := make(chan result, 1)
	go func() {
		fr, err := work()
		done <- result{fr, err}
	}()
	select {
	case r := <-done:
		return r.fr, r.err
	case <-ctx.Done():
		return nil, context.Cause(ctx)
	}
}

func read(ctx context.Context, path string, o Options) (*Frame, error) {
	st, err := os.Stat(path)
	if err != nil {
		return nil, plain(err)
	}
	if st.IsDir() {
		return nil, fmt.Errorf("a directory: %w; give the files in it", ErrFormat)
	}
	if !st.Mode().IsRegular() {
		return nil, fmt.Errorf("not a regular file (%s): %w", st.Mode().Type(), ErrFormat)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, plain(err)
	}
	defer f.Close()
	return decode(&file{
		source:   source{r: f, size: st.Size(), work: newWork(ctx, st.Size())},
		name:     filepath.Base(path),
		modified: st.ModTime(),
	}, o)
}

// plain removes the path from an error of the file system: Read puts it back.
func plain(err error) error {
	if p, ok := err.(*os.PathError); ok {
		return p.Err
	}
	return err
}

// decode turns any panic of a decoder into an error: the libraries below are
// fed with files of unknown origin.
func decode(f *file, o Options) (fr *Frame, err error) {
	defer func() {
		if p := recover(); p != nil {
			fr, err = nil, fmt.Errorf("reader failed (%v): %w", p, ErrDamaged)
		}
	}()
	if f.size == 0 {
		return nil, fmt.Errorf("empty file: %w", ErrFormat)
	}
	head, err := f.head(512)
	if err != nil {
		return nil, err
	}
	kind := sniff(head)
	if kind == nil {
		if err := alien(head); err != nil {
			return nil, err
		}
		return nil, fmt.Errorf("starts with %q: %w; FITS, PNG, JPEG, TIFF, DNG, many raw files and star lists (CSV) are read: convert it to one of them", head[:min(8, len(head))], ErrFormat)
	}
	fr = &Frame{Name: f.name}
	what, err := kind(f, fr)
	if err != nil {
		return nil, err
	}
	if fr.Stars == nil {
		if err := fr.Image.check(); err != nil {
			return nil, err
		}
	}
	fr.Hash = hash(fr)
	fr.tell(f, what, o)
	return fr, nil
}

// tell fills in exposure, time, site and optics.
func (fr *Frame) tell(f *file, what facts, o Options) {
	fr.Exposure = exposure(what, o)
	fr.Time = when(f, what, fr.Exposure, o)
	if fr.Time.Err != nil {
		fr.note("time refused: " + fr.Time.Err.Error())
	} else if fr.Time.Doubtful {
		fr.note("time is doubtful: " + fr.Time.Source)
	}
	fr.Site, fr.SiteErr = site(what)
	if fr.SiteErr != nil {
		fr.note("site refused: " + fr.SiteErr.Error())
	}
	fr.Optics = scale(what, fr.Image.W, fr.Image.H)
	fr.Camera = camera(what)
}

// check reports an image whose pixels do not fit its size.
func (im *Image) check() error {
	n, set := 0, 0
	for _, l := range []int{len(im.U8), len(im.U16), len(im.F32)} {
		if l > 0 {
			n, set = l, set+1
		}
	}
	if set != 1 || im.W < 1 || im.H < 1 || n != im.W*im.H {
		return fmt.Errorf("%d x %d picture with %d pixels: %w", im.W, im.H, n, ErrDamaged)
	}
	return nil
}

// reader reads one format into fr.
type reader func(f *file, fr *Frame) (facts, error)

// magicFITS starts every FITS file.
const magicFITS = "SIMPLE  ="

// sniff chooses the reader by the first bytes of a file, or returns nil.
func sniff(head []byte) reader {
	is := func(magic string) bool { return bytes.HasPrefix(head, []byte(magic)) }
	switch {
	case is(magicFITS):
		return readFITS
	case is("\x1f\x8b"):
		return readGzip
	case is("\x89PNG\r\n\x1a\n"):
		return readPNG
	case is("\xff\xd8\xff"):
		return readJPEG
	case tiffMagic(head):
		return readTIFF
	case len(head) >= 12 && string(head[4:8]) == "ftyp":
		return readBMFF
	case starListLike(head):
		return readStarList
	}
	return nil
}

// tiffMagic reports a byte order and 42, the 43 of BigTIFF, or one of the
// numbers that makers of raw files write instead.
func tiffMagic(head []byte) bool {
	if len(head) < 8 {
		return false
	}
	var magic uint16
	switch string(head[:2]) {
	case "II":
		magic = binary.LittleEndian.Uint16(head[2:])
	case "MM":
		magic = binary.BigEndian.Uint16(head[2:])
	}
	switch magic {
	case 42, 43, 0x55, 0x4f52, 0x5352:
		return true
	}
	return false
}

// room refuses a picture of w x h pixels when it is empty, larger than
// MaxPixels, or when most pixels more than the given number of bytes could
// hold at perByte pixels a byte, the tightest the format can pack them.
func room(w, h int64, bytes int64, perByte int64) error {
	if w < 1 || h < 1 {
		return fmt.Errorf("picture of %d x %d pixels: %w", w, h, ErrDamaged)
	}
	if w > MaxPixels || h > MaxPixels || w*h > MaxPixels {
		return fmt.Errorf("picture of %d x %d pixels, the limit is %d megapixels: %w; bin or crop it", w, h, MaxPixels/1_000_000, ErrTooLarge)
	}
	if perByte > 0 && w*h/perByte > bytes {
		return fmt.Errorf("picture of %d x %d pixels cannot fit in %d bytes: %w", w, h, bytes, ErrTooLarge)
	}
	return nil
}

// catch turns a panic into an error in *err.
func catch(err *error) {
	if p := recover(); p != nil {
		*err = fmt.Errorf("reader failed (%v): %w", p, ErrDamaged)
	}
}
