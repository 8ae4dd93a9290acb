package catalog

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"pintle/index/fitshead"
)

// Limits of a FITS file (standard 4.0) that is read; the numbers have no source.
const (
	blockSize = fitshead.BlockSize
	rowMost   = 1 << 20 // bytes
	sizeMost  = 1 << 50 // bytes of data in a unit
	unitsMost = 10000
)

// fitsTable reads the first binary table with rows of a FITS file.
type fitsTable struct {
	in     *bufio.Reader
	cols   []column
	cells  []fitsCell // of each column
	buf    []byte     // a row
	rows   int64
	at     int64
	heap   int64 // bytes behind the rows
	chosen []int
	warned []string
	ended  bool
}

// fitsCell says where and how a column is in a row.
type fitsCell struct {
	at, size    int // bytes
	kind        byte
	scale, zero float64
	blank       int64 // of integers
	hasBlank    bool
}

func openFITS(in *bufio.Reader) (*fitsTable, error) {
	other := ""
	for n := range unitsMost {
		h, err := readHeader(in)
		if err == io.EOF && n > 0 {
			if other == "" {
				other = "it holds no table"
			}
			return nil, fmt.Errorf("FITS file without a binary table that has rows: %s", other)
		}
		if err != nil {
			return nil, err
		}
		size, err := h.dataSize()
		if err != nil {
			return nil, err
		}
		kind := h.text("XTENSION")
		rows, _ := h.Whole("NAXIS2")
		switch {
		case kind == "BINTABLE" && rows > 0 && !h.True("ZIMAGE"):
			return newFITSTable(in, h)
		case kind == "BINTABLE" || kind == "TABLE":
			other = fmt.Sprintf("unit %d is a %s of %d rows", n+1, kind, rows)
		}
		if err := skip(in, (size+blockSize-1)/blockSize*blockSize); err == io.EOF {
			return nil, fmt.Errorf("FITS file ends within unit %d; copy it again", n+1)
		} else if err != nil {
			return nil, err
		}
	}
	return nil, fmt.Errorf("FITS file of more than %d units", unitsMost)
}

// skip reads n bytes. It returns io.EOF when there are fewer.
func skip(in *bufio.Reader, n int64) error {
	_, err := io.CopyN(io.Discard, in, n)
	return err
}

// fitsHeader is a header with the checks that a table needs.
type fitsHeader struct{ fitshead.Header }

// readHeader reads a header to the end of its last block. It returns io.EOF
// where the file ends or padding follows.
func readHeader(in *bufio.Reader) (fitsHeader, error) {
	block, n := make([]byte, blockSize), 0
	h, err := fitshead.Read(func() ([]byte, error) {
		m, err := io.ReadFull(in, block)
		short := err == io.EOF || err == io.ErrUnexpectedEOF
		n++
		switch {
		case n == 1 && short && m < fitshead.CardSize:
			return nil, io.EOF
		case short:
			return nil, fmt.Errorf("FITS file ends within a header; copy it again")
		case err == nil && n == 1 && string(block[:8]) != "SIMPLE  " && string(block[:8]) != "XTENSION":
			return nil, io.EOF // special records
		}
		return block, err
	})
	return fitsHeader{h}, err
}

// text returns a keyword's value as text, "" when there is none.
func (h fitsHeader) text(key string) string {
	s, _ := h.Text(key)
	return s
}

func (h fitsHeader) number(key string, absent float64) (float64, error) {
	if h.Header[key] == nil {
		return absent, nil
	}
	v, ok := h.Number(key)
	if !ok {
		return 0, fmt.Errorf("FITS keyword %s is %s, want a number", key, h.Shown(key))
	}
	return v, nil
}

// limited returns a whole number from 0 to most; absent when it is not there.
func (h fitsHeader) limited(key string, absent, most int64) (int64, error) {
	if h.Header[key] == nil {
		return absent, nil
	}
	n, ok := h.Whole(key)
	if !ok || n < 0 || n > most {
		return 0, fmt.Errorf("FITS keyword %s is %s, want 0 to %d", key, h.Shown(key), most)
	}
	return n, nil
}

// dataSize returns the number of bytes of data behind the header, without
// padding.
func (h fitsHeader) dataSize() (int64, error) {
	axes, err := h.limited("NAXIS", 0, 999)
	if err != nil {
		return 0, err
	}
	bits, ok := h.Whole("BITPIX")
	if !ok || bits%8 != 0 || bits < -64 || bits > 64 {
		return 0, fmt.Errorf("FITS keyword BITPIX is %s, want 8, 16, 32, 64, -32 or -64", h.Shown("BITPIX"))
	}
	extra, err := h.limited("PCOUNT", 0, sizeMost)
	if err != nil {
		return 0, err
	}
	groups, err := h.limited("GCOUNT", 1, sizeMost)
	if err != nil || axes == 0 {
		return 0, err
	}
	size := 1.0 // exact up to 2^53, beyond all limits
	for i := int64(1); i <= axes; i++ {
		n, err := h.limited(fmt.Sprintf("NAXIS%d", i), -1, sizeMost)
		if err != nil {
			return 0, err
		}
		if n < 0 {
			return 0, fmt.Errorf("FITS keyword NAXIS%d is missing", i)
		}
		if i == 1 && n == 0 && h.True("GROUPS") {
			n = 1
		}
		size *= float64(n)
	}
	size = (size + float64(extra)) * float64(groups) * math.Abs(float64(bits)) / 8
	if !(size <= sizeMost) {
		return 0, fmt.Errorf("FITS unit of %.3g bytes, want at most %d", size, int64(sizeMost))
	}
	return int64(size), nil
}

func newFITSTable(in *bufio.Reader, h fitsHeader) (*fitsTable, error) {
	width, err := h.limited("NAXIS1", 0, rowMost)
	if err != nil {
		return nil, err
	}
	rows, err := h.limited("NAXIS2", 0, sizeMost)
	if err != nil {
		return nil, err
	}
	n, err := h.limited("TFIELDS", 0, 999)
	if err != nil {
		return nil, err
	}
	heap, err := h.limited("PCOUNT", 0, sizeMost)
	if err != nil {
		return nil, err
	}
	t := &fitsTable{in: in, rows: rows, buf: make([]byte, width), heap: heap}
	at := 0
	for i := range int(n) {
		col, c, err := h.column(i + 1)
		if err != nil {
			return nil, err
		}
		c.at = at
		if at += c.size; at > len(t.buf) {
			return nil, fmt.Errorf("FITS column %d (%s) ends at byte %d of rows of %d", i+1, col.name, at, width)
		}
		t.cols, t.cells = append(t.cols, col), append(t.cells, c)
	}
	return t, nil
}

// column reads the keywords of column n, from 1.
func (h fitsHeader) column(n int) (column, fitsCell, error) {
	key := func(k string) string { return k + strconv.Itoa(n) }
	col := column{name: h.text(key("TTYPE")), unit: h.text(key("TUNIT")), ucd: h.text(key("TUCD")), epoch: math.NaN()}
	if col.name == "" {
		col.name = fmt.Sprintf("#%d", n)
	}
	text := h.text(key("TFORM"))
	form, ok := fitshead.ParseForm(text)
	if !ok || form.Count > rowMost {
		return col, fitsCell{}, fmt.Errorf("FITS column %d (%s) has the form %.30q, want a count of at most %d and one of the letters LXBIJKAEDCMPQ", n, col.name, text, rowMost)
	}
	c := fitsCell{kind: form.Type, size: int(form.Bytes())}
	switch {
	case strings.IndexByte("BIJKED", c.kind) >= 0 && form.Count != 1:
		col.unusable = fmt.Sprintf("has %d values in a row, want 1", form.Count)
	case strings.IndexByte("BIJKEDA", c.kind) < 0 || form.Count == 0:
		col.unusable = fmt.Sprintf("has the form %s, want numbers or text", text)
	}
	var err error
	if c.scale, err = h.number(key("TSCAL"), 1); err != nil {
		return col, c, err
	}
	if c.zero, err = h.number(key("TZERO"), 0); err != nil {
		return col, c, err
	}
	if c.scale == 0 {
		col.unusable = fmt.Sprintf("has TSCAL%d = 0, want a scale", n)
	}
	c.blank, c.hasBlank = h.Whole(key("TNULL"))
	return col, c, nil
}

func (t *fitsTable) format() string       { return "FITS table" }
func (t *fitsTable) columns() []column    { return t.cols }
func (t *fitsTable) choose(columns []int) { t.chosen = columns }
func (t *fitsTable) row() string          { return fmt.Sprintf("row %d", t.at) }
func (t *fitsTable) notes() []string      { return t.warned }

// finish warns of tables behind this one.
func (t *fitsTable) finish() {
	t.ended = true
	size := t.rows*int64(len(t.buf)) + t.heap
	rest := (size+blockSize-1)/blockSize*blockSize - size + t.heap
	for range unitsMost {
		if skip(t.in, rest) != nil {
			return
		}
		h, err := readHeader(t.in)
		if err != nil {
			return
		}
		if rows, _ := h.Whole("NAXIS2"); rows > 0 && strings.HasSuffix(h.text("XTENSION"), "TABLE") {
			t.warned = append(t.warned, moreTables)
			return
		}
		if size, err = h.dataSize(); err != nil {
			return
		}
		rest = (size + blockSize - 1) / blockSize * blockSize
	}
}

func (t *fitsTable) next(cells []cell) error {
	if t.at == t.rows {
		if !t.ended {
			t.finish()
		}
		return io.EOF
	}
	t.at++
	if _, err := io.ReadFull(t.in, t.buf); err == io.EOF || err == io.ErrUnexpectedEOF {
		return fmt.Errorf("FITS table ends within row %d of %d; copy the file again", t.at, t.rows)
	} else if err != nil {
		return err
	}
	for i, n := range t.chosen {
		c := &t.cells[n]
		cells[i] = c.read(t.buf[c.at : c.at+c.size])
	}
	return nil
}

func (c *fitsCell) read(b []byte) cell {
	if c.kind == 'A' {
		return textCell(untilZero(b)) // a zero ends a text early
	}
	x, n, whole := fitshead.Number(c.kind, b)
	if whole && c.hasBlank && n == c.blank {
		return cell{}
	}
	return numberCell(x*c.scale + c.zero)
}
