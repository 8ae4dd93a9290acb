package catalog

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
)

// table is the rows of a file, read one after the other.
type table interface {
	// format names the kind of file, for people.
	format() string
	columns() []column
	// choose says which columns' cells next gives, in that order.
	choose(columns []int)
	// next reads the next row. It returns io.EOF at the end, a *badRow for a row
	// that cannot be read but has others behind it, and else what ended reading.
	// Texts are valid until the next call.
	next(cells []cell) error
	// row is where the last row was, for people: "line 7", "row 3".
	row() string
	// notes are warnings about the file, complete at the end.
	notes() []string
}

// column is what a file says of a column.
type column struct {
	name, ucd, unit string
	unusable        string  // why its cells can be neither numbers nor text; "" if they can
	epoch           float64 // Julian year of the coordinate system, NaN when not stated
	system          string  // of coordinates, "" when not stated
}

// badRow is a row that is left out.
type badRow struct{ reason, value string }

func (b *badRow) Error() string { return b.reason + ": " + b.value }

// bad returns a badRow; the reason is one of few, the value is shortened.
func bad(reason, format string, args ...any) *badRow {
	v := fmt.Sprintf(format, args...)
	if len(v) > 60 {
		v = v[:57] + "..."
	}
	return &badRow{reason, v}
}

// cell is a value of a row: a number, a text, or null.
type cell struct {
	kind cellKind
	num  float64
	text []byte
}

type cellKind uint8

const (
	null cellKind = iota
	number
	text
)

func numberCell(v float64) cell {
	if math.IsNaN(v) {
		return cell{}
	}
	return cell{kind: number, num: v}
}

// textCell returns the cell of a text, which is null when it is blank or one of
// the ways in which archives write null.
func textCell(b []byte) cell {
	b = bytes.TrimSpace(b)
	if isNull(b) {
		return cell{}
	}
	return cell{kind: text, text: b}
}

func isNull(b []byte) bool {
	switch len(b) {
	case 0:
		return true
	case 1:
		return b[0] == '-'
	case 2:
		return string(b) == "--" || string(b) == `\N`
	case 3:
		return bytes.EqualFold(b, []byte("nan"))
	case 4:
		return bytes.EqualFold(b, []byte("null")) || bytes.EqualFold(b, []byte("none"))
	}
	return false
}

// value returns the cell as a finite number; ok is false when it is none.
func (c *cell) value() (v float64, ok bool) {
	v = c.num
	if c.kind == text {
		v, ok = parseNumber(c.text)
		return v, ok
	}
	return v, c.kind == number && !math.IsInf(v, 0)
}

func parseNumber(b []byte) (float64, bool) {
	v, err := strconv.ParseFloat(string(b), 64)
	return v, err == nil && !math.IsInf(v, 0) && !math.IsNaN(v)
}

// sexagesimal reads "12 34 56.7", "-12:34:56.7" or "12h34m56.7s" in units of
// its first part. ok is false when it is something else.
func sexagesimal(b []byte) (v float64, ok bool) {
	negative := false
	if b[0] == '-' || b[0] == '+' {
		negative, b = b[0] == '-', b[1:]
	}
	parts := bytes.FieldsFunc(b, func(r rune) bool { return bytes.ContainsRune([]byte(" :hdms°'\"′″"), r) })
	if len(parts) < 2 || len(parts) > 3 {
		return 0, false
	}
	unit := 1.0
	for i, p := range parts {
		n, ok := parseNumber(p)
		if !ok || n < 0 || i > 0 && n >= 60 || i < len(parts)-1 && n != math.Trunc(n) {
			return 0, false
		}
		v += n * unit
		unit /= 60
	}
	if negative {
		v = -v
	}
	return v, true
}

// shown is the cell for people.
func (c *cell) shown() string {
	switch c.kind {
	case number:
		return strconv.FormatFloat(c.num, 'g', -1, 64)
	case text:
		return strconv.Quote(string(c.text[:min(len(c.text), 40)]))
	}
	return "null"
}
