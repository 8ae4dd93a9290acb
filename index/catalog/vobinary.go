package catalog

import (
	"bufio"
	"encoding/base64"
	"encoding/binary"
	"encoding/xml"
	"fmt"
	"io"
	"strconv"
	"strings"

	"pintle/index/fitshead"
)

// shape is how a field stands in a binary row.
type shape struct {
	size     int   // bytes of an element, 0 for bits
	count    int64 // elements, -1 when the row states it
	isText   bool
	datatype string
}

var voSizes = map[string]int{
	"boolean": 1, "bit": 0, "unsignedByte": 1, "short": 2, "int": 4, "long": 8,
	"char": 1, "unicodeChar": 2, "float": 4, "double": 8, "floatComplex": 8, "doubleComplex": 16,
}

// countMost is the most elements of a fixed size in a cell (no source).
const countMost = 1 << 24

// newShape returns the shape of a datatype and arraysize, and why the cells
// are of no use here.
func newShape(datatype, arraysize string) (s shape, unusable string) {
	size, ok := voSizes[datatype]
	if !ok {
		return shape{count: -2}, fmt.Sprintf("has the datatype %.40q, want one of the standard", datatype)
	}
	s = shape{size: size, count: 1, datatype: datatype, isText: datatype == "char" || datatype == "unicodeChar"}
	if arraysize != "" {
		for part := range strings.SplitSeq(arraysize, "x") {
			part, variable := strings.CutSuffix(part, "*")
			if variable {
				s.count = -1
				break
			}
			n, err := strconv.ParseInt(part, 10, 64)
			if err != nil || n < 0 || n > countMost || s.count*n > countMost {
				return shape{count: -2}, fmt.Sprintf("has the arraysize %.40q, want up to %d", arraysize, countMost)
			}
			s.count *= n
		}
	}
	switch {
	case datatype == "boolean" || datatype == "bit" || strings.HasSuffix(datatype, "Complex"):
		unusable = fmt.Sprintf("has the datatype %s, want numbers or text", datatype)
	case s.count == 0 || !s.isText && s.count != 1:
		unusable = fmt.Sprintf("has the arraysize %s, want single numbers or texts", arraysize)
	}
	return s, unusable
}

// bytes returns the size of n elements.
func (s *shape) bytes(n int64) int64 {
	if s.datatype == "bit" {
		return (n + 7) / 8
	}
	return n * int64(s.size)
}

// binaryRows reads rows of BINARY and BINARY2 streams.
type binaryRows struct {
	in    *bufio.Reader
	nulls []byte // of BINARY2: a bit for each field, the first on top
	where []int  // see tableData
	texts [][]byte
	buf   [8]byte
}

func openBinary(t *voTable, nulls bool) (*binaryRows, error) {
	for i := range t.fields {
		if f := &t.fields[i]; f.count == -2 {
			return nil, fmt.Errorf("VOTable: column %s %s", f.name, f.unusable)
		}
	}
	for {
		token, err := t.xml.next()
		if err != nil {
			return nil, early(err)
		}
		e, ok := token.(xml.StartElement)
		if !ok {
			continue
		}
		switch encoding := attr(&e, "encoding"); {
		case e.Name.Local != "STREAM":
			return nil, t.xml.wrong(fmt.Errorf("element %.40q in binary data, want STREAM", e.Name.Local))
		case attr(&e, "href") != "":
			return nil, t.xml.wrong(fmt.Errorf("data in another file; save the table with its data"))
		case encoding != "base64":
			return nil, t.xml.wrong(fmt.Errorf("stream in the encoding %.40q, want base64", encoding))
		}
		r := &binaryRows{in: bufio.NewReaderSize(base64.NewDecoder(base64.StdEncoding, base64Text{t.xml.src.in}), 1<<16)}
		if nulls {
			r.nulls = make([]byte, (len(t.fields)+7)/8)
		}
		return r, nil
	}
}

func (r *binaryRows) next(t *voTable, cells []cell) error {
	if r.where == nil {
		r.where = make([]int, len(t.fields))
		r.texts = make([][]byte, len(t.fields))
		for i, c := range t.chosen {
			r.where[c] = i + 1
		}
	}
	if _, err := r.in.Peek(1); err == io.EOF {
		return io.EOF
	}
	err := r.row(t, cells)
	if err == io.EOF || err == io.ErrUnexpectedEOF {
		return fmt.Errorf("VOTable ends within row %d; copy the file again", t.at)
	}
	if err != nil {
		return fmt.Errorf("VOTable, row %d: %w", t.at, err)
	}
	return nil
}

func (r *binaryRows) row(t *voTable, cells []cell) error {
	if _, err := io.ReadFull(r.in, r.nulls); err != nil {
		return err
	}
	for i := range t.fields {
		f := &t.fields[i]
		n := f.count
		if n < 0 {
			if _, err := io.ReadFull(r.in, r.buf[:4]); err != nil {
				return err
			}
			if n = int64(int32(binary.BigEndian.Uint32(r.buf[:]))); n < 0 {
				return fmt.Errorf("column %s has %d values, want none or more", f.name, n)
			}
		}
		size := f.bytes(n)
		k := r.where[i] - 1
		if k < 0 {
			if err := skip(r.in, size); err != nil {
				return err
			}
			continue
		}
		keep := r.buf[:]
		if f.isText {
			keep = r.text(k, min(size, textMost+1))
		}
		keep = keep[:min(size, int64(len(keep)))]
		if _, err := io.ReadFull(r.in, keep); err != nil {
			return err
		}
		if err := skip(r.in, size-int64(len(keep))); err != nil {
			return err
		}
		cells[k] = f.binaryCell(keep)
		if r.nulls != nil && r.nulls[i/8]>>(7-i%8)&1 == 1 {
			cells[k] = cell{}
		}
	}
	return nil
}

// text returns room for n bytes of chosen cell k.
func (r *binaryRows) text(k int, n int64) []byte {
	if int64(cap(r.texts[k])) < n {
		r.texts[k] = make([]byte, n)
	}
	return r.texts[k][:n]
}

// binaryCell returns the cell of a field's bytes.
func (f *voField) binaryCell(b []byte) cell {
	switch f.datatype {
	case "char":
		return f.textCell(untilZero(b))
	case "unicodeChar":
		for i := 0; i+1 < len(b); i += 2 { // what is of use here is ASCII
			b[i/2] = '?'
			if b[i] == 0 {
				b[i/2] = b[i+1]
			}
		}
		return f.textCell(untilZero(b[:len(b)/2]))
	}
	x, n, whole := fitshead.Number(voKinds[f.datatype], b)
	if whole && f.null != "" && strconv.FormatInt(n, 10) == f.null {
		return cell{}
	}
	return numberCell(x)
}

// voKinds are the letters that FITS has for the datatypes of numbers.
var voKinds = map[string]byte{"unsignedByte": 'B', "short": 'I', "int": 'J', "long": 'K', "float": 'E', "double": 'D'}

func untilZero(b []byte) []byte {
	for i, c := range b {
		if c == 0 {
			return b[:i]
		}
	}
	return b
}
