package frame

import (
	"fmt"
	"strings"

	"pintle/index/fitshead"
)

// maxTiles bounds the number of tiles, or strips, of a picture: each costs time
// of its own, and no writer makes so many.
const maxTiles = 1 << 20

// tiled is a picture cut into tiles that are packed one by one into the rows
// of a binary table (FITS standard 4.0, section 10).
type tiled struct {
	s       *source
	u       *hdu
	method  string
	st      stored   // of the picture; scale and zero of a quantised tile apart
	axes    [3]int64 // of the picture; a plane's third is 1
	tile    [3]int64
	grid    [3]int64 // number of tiles along each axis
	row     int64    // bytes of a table row
	heap    int64    // offset of the heap in the file
	end     int64    // of the heap
	packed  column
	gzipped column // lossless fallback for tiles that could not be quantised
	plain   column
	zscale  column
	zzero   column
	zblank  column
	scale   float64 // for all tiles, when no column holds them
	zero    float64
	block   int // RICE_1
	size    int // RICE_1: bytes of a number
	dither  int // ZDITHER0, 0 when not dithered
	zeros   bool
	quant   bool // floats stored as scaled integers
}

// column is where a table column starts in a row, and what it holds: nothing when there
// is no such column.
type column struct {
	at   int64
	form fitshead.Form
}

// there reports whether there is such a column.
func (c column) there() bool { return c.form.Type != 0 }

// points reports whether the column points into the heap.
func (c column) points() bool { return c.form.Type == 'P' || c.form.Type == 'Q' }

func readTiled(s *source, u *hdu, fr *Frame) error {
	t, err := newTiled(s, u)
	if err != nil {
		return err
	}
	if n := len(u.shape()); n > 2 && t.axes[2] != 3 {
		fr.note(fmt.Sprintf("FITS array of %v: only its first plane is used", u.shape()))
	}
	if err := s.work.plane(t.axes[0], t.axes[1], t.kept(), t.scratch()); err != nil {
		return err
	}
	s.work.grant(t.axes[0] * t.axes[1] * t.axes[2] * t.st.bytes())
	im := &fr.Image
	im.W, im.H = int(t.axes[0]), int(t.axes[1])
	t.allocate(im)
	if err := t.unpack(im); err != nil {
		*im = Image{}
		return err
	}
	return finishFITS(u.all, t.st, fr)
}

// kept returns the bytes in which a pixel is kept.
func (t *tiled) kept() int64 {
	if t.axes[2] == 3 {
		return 4
	}
	return t.st.kept(1)
}

// scratch returns the memory, in bytes, in which tiles are unpacked: packed
// bytes, those unpacked and shuffled back, and their numbers, for each worker.
func (t *tiled) scratch() int64 {
	n := times(times(t.tile[0], t.tile[1]), t.tile[2])
	workers := min(int64(parts(int(t.axes[0]*t.axes[1]))), t.grid[0]*t.grid[1])
	unpacked := int64(0)
	if t.method != "RICE_1" || t.gzipped.there() {
		unpacked = t.st.bytes()
		if t.quant {
			unpacked = max(unpacked, 4)
		}
		if t.method == "GZIP_2" {
			unpacked *= 2
		}
	}
	numbers := int64(4)
	if t.quant {
		numbers = 8
	}
	return n*(unpacked+numbers)*workers + min(t.end-t.heap, n*(t.st.bytes()+1)*workers)
}

// newTiled reads the table's header and checks it against the file.
func newTiled(s *source, u *hdu) (*tiled, error) {
	t := &tiled{s: s, u: u, block: 32, size: 4, scale: 1}
	if err := t.layout(); err != nil {
		return nil, err
	}
	if err := t.columns(); err != nil {
		return nil, err
	}
	t.method, _ = u.cards.Text("ZCMPTYPE")
	perByte := int64(inflateMost)
	switch t.method {
	case "RICE_1", "RICE_ONE": // the second with SUBTRACTIVE_DITHER_2, to keep old readers off
		t.method = "RICE_1"
		if err := t.riceOptions(); err != nil {
			return nil, err
		}
		perByte = int64(8 * t.block / 3)
	case "GZIP_1", "GZIP_2":
	default:
		return nil, fmt.Errorf("FITS compression %q: %w; unpack the file first", t.method, ErrUnsupported)
	}
	if err := room(t.axes[0], t.axes[1], min(u.size, s.size-u.off), perByte); err != nil {
		return nil, err
	}
	return t, t.quantised()
}

// layout works out axes, tiles and the number of tiles.
func (t *tiled) layout() error {
	u := t.u
	bits, _ := u.cards.Whole("ZBITPIX")
	st, err := storedOf(u.cards, int(bits))
	if err != nil {
		return err
	}
	switch bits {
	case 8, 16, 32, 64, -32, -64:
	default:
		return fmt.Errorf("ZBITPIX = %s, expected 8, 16, 32, 64, -32 or -64: %w", u.cards.Shown("ZBITPIX"), ErrDamaged)
	}
	t.st = st
	axes := u.shape()
	if interleaved(axes) || len(axes) > 3 {
		return fmt.Errorf("tile-compressed FITS with axes %v: %w", axes, ErrUnsupported)
	}
	if len(u.axes) != 2 {
		return fmt.Errorf("FITS table with %d axes: %w", len(u.axes), ErrDamaged)
	}
	t.axes, t.tile = [3]int64{1, 1, 1}, [3]int64{1, 1, 1}
	rows := int64(1)
	for i, n := range axes {
		if n < 1 {
			return fmt.Errorf("ZNAXIS%d = %s, expected 1 or more: %w; copy the file again", i+1, u.cards.Shown(fmt.Sprint("ZNAXIS", i+1)), ErrDamaged)
		}
		t.axes[i] = n
		t.tile[i] = 1
		if i == 0 {
			t.tile[i] = n
		}
		if v, ok := u.cards.Whole(fmt.Sprint("ZTILE", i+1)); ok {
			t.tile[i] = v
		}
		if t.tile[i] < 1 {
			return fmt.Errorf("ZTILE%d = %d: %w", i+1, t.tile[i], ErrDamaged)
		}
		t.tile[i] = min(t.tile[i], n)
	}
	for i := range t.grid {
		t.grid[i] = (t.axes[i] + t.tile[i] - 1) / t.tile[i]
		rows = times(rows, t.grid[i])
	}
	if rows > maxTiles {
		return fmt.Errorf("FITS picture of %v in %d tiles, the limit is %d: %w", axes, rows, maxTiles, ErrTooLarge)
	}
	if rows != u.axes[1] {
		return fmt.Errorf("FITS picture of %v in tiles of %v needs %d tiles, the table has %d: %w", axes, t.tile, rows, u.axes[1], ErrDamaged)
	}
	t.row = u.axes[0]
	theap := times(t.row, rows)
	if v, ok := u.cards.Whole("THEAP"); ok && v >= theap {
		theap = min(v, mostBytes)
	}
	t.heap, t.end = u.off+theap, min(u.off+u.size, t.s.size)
	return t.s.check(u.off, times(t.row, rows), "FITS table")
}

// columns finds the columns that matter.
func (t *tiled) columns() error {
	n, _ := t.u.cards.Whole("TFIELDS")
	wanted := map[string]*column{
		"COMPRESSED_DATA": &t.packed, "GZIP_COMPRESSED_DATA": &t.gzipped, "UNCOMPRESSED_DATA": &t.plain,
		"ZSCALE": &t.zscale, "ZZERO": &t.zzero, "ZBLANK": &t.zblank,
	}
	at := int64(0)
	for i := int64(1); i <= min(n, 999); i++ {
		form, _ := t.u.cards.Text(fmt.Sprint("TFORM", i))
		f, ok := fitshead.ParseForm(form)
		if !ok {
			return fmt.Errorf("TFORM%d = %q: %w", i, form, ErrDamaged)
		}
		c, size := column{at, f}, f.Bytes()
		at += size
		name, _ := t.u.cards.Text(fmt.Sprint("TTYPE", i))
		if w := wanted[strings.ToUpper(name)]; w != nil && size > 0 {
			*w = c
		}
	}
	if at > t.row {
		return fmt.Errorf("columns of %d bytes in FITS table rows of %d: %w", at, t.row, ErrDamaged)
	}
	if !t.packed.points() {
		return fmt.Errorf("tile-compressed FITS without COMPRESSED_DATA: %w", ErrDamaged)
	}
	return nil
}

func (t *tiled) riceOptions() error {
	for i := 1; i <= 20; i++ {
		name, _ := t.u.cards.Text(fmt.Sprint("ZNAME", i))
		v, _ := t.u.cards.Whole(fmt.Sprint("ZVAL", i))
		v = max(-1, min(v, 1<<16))
		switch name {
		case "BLOCKSIZE":
			t.block = int(v)
		case "BYTEPIX":
			t.size = int(v)
		}
	}
	if t.block < 1 || t.block > 256 {
		return fmt.Errorf("RICE_1 BLOCKSIZE = %d, expected 1 to 256: %w", t.block, ErrUnsupported)
	}
	return nil
}

// quantised reads how floats were made integers.
func (t *tiled) quantised() error {
	how, _ := t.u.cards.Text("ZQUANTIZ")
	t.scaleKeys()
	t.quant = t.st.bitpix < 0 && (t.zscale.there() || t.u.cards["ZSCALE"] != nil) && how != "NONE"
	if t.st.bitpix < 0 && !t.quant && t.method == "RICE_1" {
		return fmt.Errorf("RICE_1 floats without ZSCALE: %w", ErrDamaged)
	}
	switch how {
	case "", "NONE", "NO_DITHER":
	case "SUBTRACTIVE_DITHER_1", "SUBTRACTIVE_DITHER_2":
		seed, _ := t.u.cards.Whole("ZDITHER0")
		t.dither = int(max(1, min(seed, 1<<16))) // 1 to 10000 by the standard
		t.zeros = how == "SUBTRACTIVE_DITHER_2"
	default:
		return fmt.Errorf("ZQUANTIZ = %q: %w", how, ErrUnsupported)
	}
	if v, ok := t.u.cards.Whole("ZBLANK"); ok && !t.zblank.there() {
		t.st.blank, t.st.hasBlank = v, true
	}
	return nil
}

func (t *tiled) scaleKeys() {
	if v, ok := t.u.cards.Number("ZSCALE"); ok {
		t.scale = v
	}
	if v, ok := t.u.cards.Number("ZZERO"); ok {
		t.zero = v
	}
}
