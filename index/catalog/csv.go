package catalog

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"math"
	"strings"
)

// lineMost is the longest line that is read, in bytes (no source).
const lineMost = 1 << 20

// csvTable reads lines of separated values. Unlike a general reader it ends a
// quoted field with its line, so that a stray quote costs one row, and bounds
// what it keeps.
type csvTable struct {
	in      *bufio.Reader
	cols    []column
	sep     byte
	line    int64
	long    []byte     // a line longer than in's buffer
	held    []heldLine // lines read ahead, first one next
	fields  [][]byte
	chosen  []int
	unquote []byte
}

type heldLine struct {
	text   []byte
	number int64
}

func openCSV(in *bufio.Reader) (*csvTable, error) {
	t := &csvTable{in: in}
	comment := ""
	for {
		line, err := t.read()
		if err == io.EOF {
			return nil, fmt.Errorf("no line of column names; want comma-separated values, a FITS table or a VOTable")
		}
		if err != nil {
			return nil, err
		}
		if line[0] != '#' {
			return t, t.header(bytes.Clone(line), comment)
		}
		comment = string(line[1:])
	}
}

// header takes the column names from the first line that is no comment. Where
// that is numbers, they may be in the comment above; else columns are known by
// their numbers.
func (t *csvTable) header(line []byte, comment string) error {
	t.sep = separator(line)
	if err := t.split(line); err != nil {
		return fmt.Errorf("line %d, of column names: %w", t.line, err)
	}
	names := make([]string, len(t.fields))
	numbers := 0
	for i, f := range t.fields {
		names[i] = strings.TrimSpace(string(f))
		if _, ok := parseNumber(bytes.TrimSpace(f)); ok {
			numbers++
		}
	}
	if numbers > len(names)/2 { // data already
		t.held = []heldLine{{line, t.line}}
		n := len(names)
		if err := t.split([]byte(comment)); err == nil && len(t.fields) == n {
			for i, f := range t.fields {
				names[i] = strings.TrimSpace(string(f))
			}
		} else {
			for i := range names {
				names[i] = fmt.Sprintf("#%d", i+1)
			}
		}
	}
	t.cols = make([]column, len(names))
	for i, n := range names {
		name, unit := splitUnit(n)
		t.cols[i] = column{name: name, unit: unit, epoch: math.NaN()}
	}
	return t.ruled()
}

// ruled takes the units from below the names where a line of dashes follows
// them.
func (t *csvTable) ruled() error {
	if len(t.held) > 0 {
		return nil
	}
	var lines []heldLine
	for range 2 {
		line, err := t.read()
		if err == io.EOF {
			break
		}
		if err != nil {
			return err
		}
		lines = append(lines, heldLine{bytes.Clone(line), t.line})
	}
	t.held = lines
	switch {
	case len(lines) == 2 && dashes(lines[1].text) && t.split(lines[0].text) == nil && len(t.fields) == len(t.cols):
		for i, f := range t.fields {
			t.cols[i].unit = strings.TrimSpace(string(f))
		}
		t.held = nil
	case len(lines) > 0 && dashes(lines[0].text):
		t.held = lines[1:]
	}
	return nil
}

func dashes(b []byte) bool {
	return bytes.Contains(b, []byte("--")) && len(bytes.Trim(b, "-+=| \t,;")) == 0
}

// separator returns the one that splits a line most.
func separator(line []byte) byte {
	best, most := byte(','), 0
	for _, s := range []byte(",;\t|") {
		if n := bytes.Count(line, []byte{s}); n > most {
			best, most = s, n
		}
	}
	return best
}

// read returns the next line that is not blank, without its end.
func (t *csvTable) read() ([]byte, error) {
	for {
		line, err := t.raw()
		if err != nil {
			return nil, err
		}
		if len(bytes.TrimSpace(line)) > 0 {
			return line, nil
		}
	}
}

// raw returns the next line, io.EOF at the end.
func (t *csvTable) raw() ([]byte, error) {
	if len(t.held) > 0 {
		line := t.held[0]
		t.held = t.held[1:]
		t.line = line.number
		return line.text, nil
	}
	line, err := t.in.ReadSlice('\n')
	if err == bufio.ErrBufferFull {
		t.long = t.long[:0]
		for err == bufio.ErrBufferFull && len(t.long) <= lineMost {
			t.long = append(t.long, line...)
			line, err = t.in.ReadSlice('\n')
		}
		if len(t.long)+len(line) > lineMost {
			return nil, fmt.Errorf("line %d is longer than %d bytes; is this a table?", t.line+1, lineMost)
		}
		t.long = append(t.long, line...)
		line = t.long
	}
	if err != nil && (err != io.EOF || len(line) == 0) {
		return nil, err
	}
	t.line++
	return bytes.TrimRight(line, "\r\n"), nil
}

// split cuts a line into fields.
func (t *csvTable) split(line []byte) error {
	t.fields, t.unquote = t.fields[:0], t.unquote[:0]
	for {
		if len(line) > 0 && line[0] == '"' {
			rest, err := t.quoted(line[1:])
			if err != nil || rest == nil {
				return err
			}
			line = rest
			continue
		}
		i := bytes.IndexByte(line, t.sep)
		if i < 0 {
			t.fields = append(t.fields, line)
			return nil
		}
		t.fields = append(t.fields, line[:i])
		line = line[i+1:]
	}
}

// quoted takes the field behind an opening quote and returns the rest of the
// line behind the separator, nil at its end.
func (t *csvTable) quoted(line []byte) (rest []byte, err error) {
	from := len(t.unquote)
	for {
		i := bytes.IndexByte(line, '"')
		if i < 0 {
			return nil, bad("quote without an end", "%s", line)
		}
		t.unquote = append(t.unquote, line[:i]...)
		line = line[i+1:]
		if len(line) == 0 || line[0] != '"' {
			break
		}
		t.unquote = append(t.unquote, '"')
		line = line[1:]
	}
	t.fields = append(t.fields, t.unquote[from:len(t.unquote):len(t.unquote)])
	line = bytes.TrimLeft(line, " ")
	switch {
	case len(line) == 0:
		return nil, nil
	case line[0] != t.sep:
		return nil, bad("text behind a quoted field", "%s", line)
	}
	return line[1:], nil
}

func (t *csvTable) format() string       { return "separated values" }
func (t *csvTable) columns() []column    { return t.cols }
func (t *csvTable) choose(columns []int) { t.chosen = columns }
func (t *csvTable) row() string          { return fmt.Sprintf("line %d", t.line) }
func (t *csvTable) notes() []string      { return nil }

func (t *csvTable) next(cells []cell) error {
	line, err := t.read()
	for err == nil && line[0] == '#' {
		line, err = t.read()
	}
	if err != nil {
		return err
	}
	if err := t.split(line); err != nil {
		return err
	}
	if len(t.fields) != len(t.cols) {
		return bad("wrong number of fields", "%d, want %d", len(t.fields), len(t.cols))
	}
	for i, c := range t.chosen {
		cells[i] = textCell(t.fields[c])
	}
	return nil
}
