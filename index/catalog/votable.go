package catalog

import (
	"bufio"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// Limits of a VOTable that is read (no source).
const (
	fieldsMost  = 10000
	systemsMost = 1000
)

// voTable reads the first table with data of a VOTable (IVOA recommendation,
// version 1.5 and before).
type voTable struct {
	xml     *xmlReader
	fields  []voField
	systems map[string]voSystem
	rows    voRows
	at      int64
	chosen  []int
	warned  []string
	ended   bool
}

// voField is a FIELD of the table.
type voField struct {
	column
	ref       string
	datatype  string
	arraysize string
	null      string // VALUES null
	shape
}

// voSystem is a COOSYS.
type voSystem struct {
	name  string
	epoch float64
}

// voRows is one of the ways in which rows are written.
type voRows interface {
	// next reads a row's chosen cells. It returns io.EOF behind the last one.
	next(t *voTable, cells []cell) error
}

func openVOTable(in *bufio.Reader) (*voTable, error) {
	t := &voTable{xml: newXMLReader(in), systems: map[string]voSystem{}}
	root := true
	for t.rows == nil {
		token, err := t.xml.next()
		if err == io.EOF {
			return nil, fmt.Errorf("VOTable without a table that has data%s", t.why())
		}
		if err != nil {
			return nil, err
		}
		e, ok := token.(xml.StartElement)
		if !ok {
			continue
		}
		if root && e.Name.Local != "VOTABLE" {
			return nil, fmt.Errorf("XML of the element %.40q, want a VOTABLE", e.Name.Local)
		}
		root = false
		if err := t.element(&e); err != nil {
			return nil, err
		}
	}
	t.describe()
	return t, nil
}

// why says what the archive said of a table without data.
func (t *voTable) why() string {
	if len(t.warned) == 0 {
		return ""
	}
	return "; " + strings.Join(t.warned, "; ")
}

// element takes note of an element before the data.
func (t *voTable) element(e *xml.StartElement) error {
	switch e.Name.Local {
	case "INFO":
		t.info(e)
	case "COOSYS":
		if len(t.systems) == systemsMost {
			return fmt.Errorf("VOTable of more than %d coordinate systems", systemsMost)
		}
		t.systems[attr(e, "ID")] = voSystem{attr(e, "system"), julian(attr(e, "epoch"))}
	case "TABLE":
		t.fields = nil
	case "FIELD":
		if len(t.fields) == fieldsMost {
			return fmt.Errorf("VOTable of more than %d fields", fieldsMost)
		}
		t.fields = append(t.fields, newVOField(e, len(t.fields)+1))
	case "VALUES":
		if null := attr(e, "null"); null != "" && len(t.fields) > 0 {
			t.fields[len(t.fields)-1].null = null
		}
	case "TABLEDATA":
		t.rows = &tableData{}
	case "BINARY", "BINARY2":
		rows, err := openBinary(t, e.Name.Local == "BINARY2")
		if err != nil {
			return err
		}
		t.rows = rows
	case "FITS":
		return fmt.Errorf("VOTable with its data as FITS; give the FITS file itself")
	}
	return nil
}

const moreTables = "the file has more tables; only the first one with rows is read"

// info warns of what the archive says of the query.
func (t *voTable) info(e *xml.StartElement) {
	if attr(e, "name") != "QUERY_STATUS" || len(t.warned) > 3 {
		return
	}
	switch attr(e, "value") {
	case "OVERFLOW":
		t.warned = append(t.warned, "the archive cut the table short (QUERY_STATUS is OVERFLOW); ask it for more rows")
	case "ERROR":
		t.warned = append(t.warned, "the archive says that the query failed (QUERY_STATUS is ERROR)")
	}
}

// julian reads "J2016.0" or "2016.0"; NaN when it is something else.
func julian(s string) float64 {
	v, err := strconv.ParseFloat(strings.TrimPrefix(s, "J"), 64)
	if err != nil || math.IsInf(v, 0) {
		return math.NaN()
	}
	return v
}

func newVOField(e *xml.StartElement, n int) voField {
	f := voField{
		column:    column{name: attr(e, "name"), ucd: attr(e, "ucd"), unit: attr(e, "unit"), epoch: math.NaN()},
		ref:       attr(e, "ref"),
		datatype:  attr(e, "datatype"),
		arraysize: attr(e, "arraysize"),
	}
	if f.name == "" {
		f.name = attr(e, "ID")
	}
	if f.name == "" {
		f.name = fmt.Sprintf("#%d", n)
	}
	f.shape, f.unusable = newShape(f.datatype, f.arraysize)
	return f
}

// describe completes the columns by their coordinate systems, which may stand
// behind the fields that refer to them.
func (t *voTable) describe() {
	for i := range t.fields {
		f := &t.fields[i]
		if s, ok := t.systems[f.ref]; ok && f.ref != "" {
			f.system, f.epoch = s.name, s.epoch
		}
	}
}

func (t *voTable) format() string       { return "VOTable" }
func (t *voTable) choose(columns []int) { t.chosen = columns }
func (t *voTable) row() string          { return fmt.Sprintf("row %d", t.at) }
func (t *voTable) notes() []string      { return t.warned }

func (t *voTable) columns() []column {
	cols := make([]column, len(t.fields))
	for i := range t.fields {
		cols[i] = t.fields[i].column
	}
	return cols
}

func (t *voTable) next(cells []cell) error {
	if t.ended {
		return io.EOF
	}
	t.at++
	err := t.rows.next(t, cells)
	if err != io.EOF {
		return err
	}
	t.at--
	t.ended = true
	return t.finish()
}

// finish reads what follows the data: warnings, and whether the file is whole.
func (t *voTable) finish() error {
	for {
		token, err := t.xml.next()
		if err != nil {
			return err
		}
		e, ok := token.(xml.StartElement)
		switch {
		case ok && e.Name.Local == "INFO":
			t.info(&e)
		case ok && e.Name.Local == "TABLE":
			t.warned = append(t.warned, moreTables)
			return io.EOF
		}
	}
}

// textMost is the longest text of a cell that can mean something (no source).
const textMost = 1 << 10

// tableData reads rows of TR and TD elements.
type tableData struct {
	texts [][]byte // of the chosen cells
	where []int    // for each field, the place in texts plus 1; 0 for others
}

func (d *tableData) next(t *voTable, cells []cell) error {
	if d.where == nil {
		d.where = make([]int, len(t.fields))
		d.texts = make([][]byte, len(t.chosen))
		for i, c := range t.chosen {
			d.where[c] = i + 1
		}
	}
	for { // to the row
		token, err := t.xml.next()
		if err != nil {
			return early(err)
		}
		switch e := token.(type) {
		case xml.StartElement:
			if e.Name.Local != "TR" {
				return t.xml.wrong(fmt.Errorf("element %.40q among the rows, want TR", e.Name.Local))
			}
			return d.row(t, cells)
		case xml.EndElement:
			if e.Name.Local != "TABLEDATA" {
				return t.xml.wrong(fmt.Errorf("element %.40q ends among the rows", e.Name.Local))
			}
			return io.EOF
		}
	}
}

// early is an error within the data, where the file may not end.
func early(err error) error {
	if err == io.EOF {
		return io.ErrUnexpectedEOF
	}
	return err
}

// row reads the cells of a row, to its end.
func (d *tableData) row(t *voTable, cells []cell) error {
	n, in := 0, 0 // cells begun, elements open in the row
	for {
		token, err := t.xml.next()
		if err != nil {
			return early(err)
		}
		switch e := token.(type) {
		case xml.StartElement:
			if in++; in == 1 {
				if e.Name.Local != "TD" {
					return t.xml.wrong(fmt.Errorf("element %.40q in a row, want TD", e.Name.Local))
				}
				if n++; n <= len(d.where) && d.where[n-1] > 0 {
					k := d.where[n-1] - 1
					d.texts[k] = d.texts[k][:0]
				}
			}
		case xml.CharData:
			if in == 1 && n <= len(d.where) && d.where[n-1] > 0 {
				k := d.where[n-1] - 1
				d.texts[k] = append(d.texts[k], e[:min(len(e), textMost+1-len(d.texts[k]))]...)
			}
		case xml.EndElement:
			if in--; in >= 0 {
				continue
			}
			if e.Name.Local != "TR" {
				return t.xml.wrong(fmt.Errorf("element %.40q ends in a row", e.Name.Local))
			}
			if n != len(t.fields) {
				return bad("wrong number of cells", "%d, want %d", n, len(t.fields))
			}
			for i, c := range t.chosen {
				cells[i] = t.fields[c].textCell(d.texts[i])
			}
			return nil
		}
	}
}

// textCell returns the cell of a TD's text.
func (f *voField) textCell(b []byte) cell {
	if len(b) > textMost { // cut: no number, whatever it looks like
		return cell{kind: text, text: []byte("a text of more than 1024 bytes")}
	}
	c := textCell(b)
	if c.kind == text && f.null != "" && string(c.text) == f.null {
		return cell{}
	}
	return c
}
