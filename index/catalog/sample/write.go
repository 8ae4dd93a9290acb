package sample

import (
	"bufio"
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// Formats are the formats that Write knows.
var Formats = []string{"csv", "fits", "votable", "binary", "binary2"}

// Write writes n stars of a seed in a format: with the columns source_id, ra,
// dec, ra_error, dec_error, pmra, pmdec, ref_epoch and phot_g_mean_mag.
func Write(w io.Writer, format string, seed uint64, n int) error {
	out := bufio.NewWriterSize(w, 1<<18)
	switch format {
	case "csv":
		writeCSV(out, seed, n)
	case "fits":
		writeFITS(out, seed, n)
	case "votable":
		writeVOTable(out, seed, n)
	case "binary", "binary2":
		writeBinary(out, seed, n, format == "binary2")
	default:
		return fmt.Errorf("format %q, want one of %s", format, strings.Join(Formats, ", "))
	}
	return out.Flush() // tells of errors before
}

// columns are those of all formats.
var columns = []struct{ name, datatype, form, unit, ucd string }{
	{"source_id", "long", "K", "", "meta.id;meta.main"},
	{"ra", "double", "D", "deg", "pos.eq.ra;meta.main"},
	{"dec", "double", "D", "deg", "pos.eq.dec;meta.main"},
	{"ra_error", "float", "E", "mas", "stat.error;pos.eq.ra"},
	{"dec_error", "float", "E", "mas", "stat.error;pos.eq.dec"},
	{"pmra", "double", "D", "mas/yr", "pos.pm;pos.eq.ra"},
	{"pmdec", "double", "D", "mas/yr", "pos.pm;pos.eq.dec"},
	{"ref_epoch", "double", "D", "yr", "meta.ref;time.epoch"},
	{"phot_g_mean_mag", "float", "E", "mag", "phot.mag;em.opt"},
}

// texts appends the columns of a star as text, with a mark before, between and
// behind them.
func (s *Star) texts(b []byte, before, between, behind string) []byte {
	b = append(b, before...)
	b = strconv.AppendInt(b, s.ID, 10)
	for i, v := range [...]float64{s.RA, s.Dec, s.Err, s.Err, s.PMRA, s.PMDec, Epoch, s.Mag} {
		b = append(b, between...)
		digits := [...]int{9, 9, 4, 4, 3, 3, 1, 4}[i]
		if !math.IsNaN(v) {
			b = strconv.AppendFloat(b, v, 'f', digits, 64)
		}
	}
	return append(b, behind...)
}

// binary appends the columns of a star as FITS and VOTable have them.
func (s *Star) binary(b []byte) []byte {
	be := binary.BigEndian
	double := func(v float64) { b = be.AppendUint64(b, math.Float64bits(v)) }
	float := func(v float64) { b = be.AppendUint32(b, math.Float32bits(float32(v))) }
	b = be.AppendUint64(b, uint64(s.ID))
	double(s.RA)
	double(s.Dec)
	float(s.Err)
	float(s.Err)
	double(s.PMRA)
	double(s.PMDec)
	double(Epoch)
	float(s.Mag)
	return b
}

func writeCSV(out *bufio.Writer, seed uint64, n int) {
	for i, c := range columns {
		if i > 0 {
			out.WriteByte(',')
		}
		out.WriteString(c.name)
	}
	out.WriteByte('\n')
	for s := range Stars(seed, n) {
		out.Write(s.texts(out.AvailableBuffer(), "", ",", "\n"))
	}
}

func writeFITS(out *bufio.Writer, seed uint64, n int) {
	writeCards(out, "SIMPLE  =                    T", "BITPIX  =                    8", "NAXIS   =                    0", "EXTEND  =                    T")
	width := len((&Star{}).binary(nil))
	cards := []string{"XTENSION= 'BINTABLE'", "BITPIX  =                    8", "NAXIS   =                    2",
		fmt.Sprintf("NAXIS1  = %20d", width), fmt.Sprintf("NAXIS2  = %20d", n),
		"PCOUNT  =                    0", "GCOUNT  =                    1", fmt.Sprintf("TFIELDS = %20d", len(columns))}
	for i, c := range columns {
		for _, k := range []struct{ key, value string }{{"TTYPE", c.name}, {"TFORM", c.form}, {"TUNIT", c.unit}, {"TUCD", c.ucd}} {
			cards = append(cards, fmt.Sprintf("%-8s= '%-8s'", k.key+strconv.Itoa(i+1), k.value))
		}
	}
	writeCards(out, cards...)
	for s := range Stars(seed, n) {
		out.Write(s.binary(out.AvailableBuffer()))
	}
	pad := (2880 - n*width%2880) % 2880
	out.Write(make([]byte, pad))
}

// writeCards writes a FITS header.
func writeCards(out *bufio.Writer, cards ...string) {
	cards = append(cards, "END")
	for _, c := range cards {
		fmt.Fprintf(out, "%-80s", c)
	}
	fmt.Fprintf(out, "%*s", (36-len(cards)%36)%36*80, "")
}

func voHead(out *bufio.Writer) {
	fmt.Fprintf(out, `<?xml version="1.0" encoding="UTF-8"?>
<VOTABLE version="1.4" xmlns="http://www.ivoa.net/xml/VOTable/v1.3">
<RESOURCE type="results"><INFO name="QUERY_STATUS" value="OK"/>
<COOSYS ID="sys" system="ICRS" epoch="J%.1f"/>
<TABLE name="invented">
`, Epoch)
	for _, c := range columns {
		fmt.Fprintf(out, "<FIELD name=%q datatype=%q unit=%q ucd=%q/>\n", c.name, c.datatype, c.unit, c.ucd)
	}
	out.WriteString("<DATA>")
}

const voTail = "</DATA>\n</TABLE>\n</RESOURCE>\n</VOTABLE>\n"

func writeVOTable(out *bufio.Writer, seed uint64, n int) {
	voHead(out)
	out.WriteString("<TABLEDATA>\n")
	for s := range Stars(seed, n) {
		out.Write(s.texts(out.AvailableBuffer(), "<TR><TD>", "</TD><TD>", "</TD></TR>\n"))
	}
	out.WriteString("</TABLEDATA>" + voTail)
}

func writeBinary(out *bufio.Writer, seed uint64, n int, nulls bool) {
	voHead(out)
	element := "BINARY"
	if nulls {
		element = "BINARY2"
	}
	fmt.Fprintf(out, "<%s><STREAM encoding=\"base64\">\n", element)
	text := base64.NewEncoder(base64.StdEncoding, &lines{out: out})
	var b []byte
	for s := range Stars(seed, n) {
		b = b[:0]
		if nulls {
			mask := [2]byte{}
			if math.IsNaN(s.PMRA) { // fields 5 and 6
				mask[0] = 1<<2 | 1<<1
			}
			b = append(b, mask[:]...)
		}
		text.Write(s.binary(b))
	}
	text.Close()
	fmt.Fprintf(out, "\n</STREAM></%s>%s", element, voTail)
}

// lines breaks text into lines.
type lines struct {
	out *bufio.Writer
	n   int
}

func (l *lines) Write(p []byte) (int, error) {
	for _, c := range p {
		l.out.WriteByte(c)
		if l.n++; l.n%76 == 0 {
			l.out.WriteByte('\n')
		}
	}
	return len(p), nil
}
