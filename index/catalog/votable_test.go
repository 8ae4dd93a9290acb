package catalog

import (
	"encoding/base64"
	"io"
	"math"
	"runtime"
	"strings"
	"testing"

	"pintle/index/stars"
)

type starOf = stars.Star

// galaxies is the example of section 2 of the IVOA recommendation VOTable 1.4,
// from memory and without its STC group. It has no magnitude: the distance
// stands in for it.
const galaxies = `<?xml version="1.0"?>
<VOTABLE version="1.4" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance"
 xmlns="http://www.ivoa.net/xml/VOTable/v1.3">
 <RESOURCE name="myFavouriteGalaxies">
  <TABLE name="results">
   <DESCRIPTION>Velocities and Distance estimations</DESCRIPTION>
   <PARAM name="Telescope" datatype="float" ucd="phys.size;instr.tel" unit="m" value="3.6"/>
   <FIELD name="RA" ID="col1" ucd="pos.eq.ra;meta.main" ref="J2000" datatype="float" width="6" precision="2" unit="deg"/>
   <FIELD name="Dec" ID="col2" ucd="pos.eq.dec;meta.main" ref="J2000" datatype="float" width="6" precision="2" unit="deg"/>
   <FIELD name="Name" ID="col3" ucd="meta.id;meta.main" datatype="char" arraysize="8*"/>
   <FIELD name="RVel" ID="col4" ucd="spect.dopplerVeloc" datatype="int" width="5" unit="km/s"/>
   <FIELD name="e_RVel" ID="col5" ucd="stat.error;spect.dopplerVeloc" datatype="int" width="3" unit="km/s"/>
   <FIELD name="R" ID="col6" ucd="pos.distance;pos.heliocentric" datatype="float" width="4" precision="1" unit="Mpc">
     <DESCRIPTION>Distance of Galaxy, assuming H=75km/s/Mpc</DESCRIPTION>
   </FIELD>
   <DATA>
    <TABLEDATA>
     <TR>
      <TD>010.68</TD><TD>+41.27</TD><TD>N  224</TD><TD>-297</TD><TD>5</TD><TD>0.7</TD>
     </TR>
     <TR>
      <TD>287.43</TD><TD>-63.85</TD><TD>N 6744</TD><TD>839</TD><TD>6</TD><TD>10.4</TD>
     </TR>
     <TR>
      <TD>023.48</TD><TD>+30.66</TD><TD>N  598</TD><TD>-182</TD><TD>3</TD><TD>0.7</TD>
     </TR>
    </TABLEDATA>
   </DATA>
  </TABLE>
 </RESOURCE>
</VOTABLE>`

func TestVOTableOfTheStandard(t *testing.T) {
	_, _, err := tryImport(t, Options{Columns: Columns{Mag: "R"}}, galaxies)
	if err == nil || !strings.Contains(err.Error(), `column R is in "Mpc", want mag`) {
		t.Errorf("distances as magnitudes: %v", err)
	}
	l, r := importAll(t, Options{Columns: Columns{Mag: "R [mag]"}}, galaxies)
	if l.Len() != 3 || r.Bad != 0 {
		t.Fatalf("%+v", r)
	}
	want := [][2]float64{{287.43, -63.85}, {10.68, 41.27}, {23.48, 30.66}}
	l.Each(99, 2026, func(s starOf) bool {
		for _, w := range want {
			if _, dec := s.Pos.RADec(); math.Abs(dec.Degrees()-w[1]) < 0.1 {
				near(t, "galaxy", s.Pos, w[0], w[1], 0.05)
				return true
			}
		}
		t.Errorf("%v is none of the galaxies", s.Pos)
		return true
	})
}

// vo makes a VOTable of one table.
func vo(head, fields, data string) string {
	return "<VOTABLE><RESOURCE>" + head + "<TABLE>" + fields + "<DATA>" + data + "</DATA></TABLE></RESOURCE></VOTABLE>"
}

const threeFields = `<FIELD name="a" ucd="POS_EQ_RA_MAIN" datatype="double" unit="deg"/><FIELD name="b" ucd="POS_EQ_DEC_MAIN" datatype="double" unit="deg"/><FIELD name="c" ucd="PHOT_MAG" datatype="float" unit="mag"/>`

func TestVOTableDialects(t *testing.T) {
	rows := func(s string) string { return "<TABLEDATA><TR>" + s + "</TR></TABLEDATA>" }
	three := rows("<TD>10.5</TD><TD>-20.25</TD><TD>9</TD>")
	moving := threeFields + `<FIELD name="d" ucd="pos.pm;pos.eq.ra" datatype="double" unit="mas.yr**-1"/><FIELD name="e" ucd="pos.pm;pos.eq.dec" datatype="double" unit="mas/yr"/>`
	motion := rows("<TD>10</TD><TD>60</TD><TD>9</TD><TD>3600</TD><TD>-3600</TD>")
	for _, c := range []struct {
		name, file string
		ra, dec    float64
	}{
		{"UCD1", vo("", threeFields, three), 10.5, -20.25},
		{"prefix", strings.NewReplacer("</", "</v:", "<", "<v:").Replace(vo("", threeFields, three)), 10.5, -20.25},
		{"comment, CDATA, entity", vo("<!-- <TABLE> -->", threeFields, rows("<TD>10.<!-- x -->5</TD><TD><![CDATA[-20.25]]></TD><TD>&#57;</TD>")), 10.5, -20.25},
		{"latin1", "<?xml version='1.0' encoding='ISO-8859-1'?>" + vo("<DESCRIPTION>\xe9</DESCRIPTION>", threeFields, three), 10.5, -20.25},
		{"a table without data", vo("<TABLE><FIELD name='x' datatype='int'/></TABLE>", threeFields, three), 10.5, -20.25},
		{"null by value", vo("", threeFields+`<FIELD name="pmra" datatype="int"><VALUES null="-999"/></FIELD><FIELD name="pmdec" datatype="int"/>`,
			rows("<TD>10.5</TD><TD>-20.25</TD><TD>9</TD><TD>-999</TD><TD>3600</TD>")), 10.5, -20.25},
		{"epoch of the system", vo(`<COOSYS ID="s" system="ICRS" epoch="J2016.0"/>`, strings.Replace(moving, "<FIELD", `<FIELD ref="s"`, 1), motion), 10.02, 59.99},
		{"no epoch", vo("", moving, motion), 10.052, 59.974},
	} {
		s, r := only(t, Options{}, c.file, 2026)
		near(t, c.name, s.Pos, c.ra, c.dec, 0.1)
		if math.Abs(float64(s.V)-9) > 1e-3 || r.Bad != 0 {
			t.Errorf("%s: V %v, bad rows %v", c.name, s.V, r.First)
		}
	}
}

// Binary rows by hand. 10.5 is 4025 0000.. as a double, -20.25 is C034 4000..,
// 9 is 4110 0000 as a float (IEEE 754).
func TestVOTableBinaryByHand(t *testing.T) {
	fields := `<FIELD name="name" datatype="char" arraysize="*"/><FIELD name="ra" datatype="double"/><FIELD name="bits" datatype="bit" arraysize="9"/>` +
		`<FIELD name="dec" datatype="double"/><FIELD name="label" datatype="unicodeChar" arraysize="2"/><FIELD name="mag" datatype="float"/>` +
		`<FIELD name="shape" datatype="short" arraysize="2x*"/><FIELD name="pmra" datatype="short"><VALUES null="-999"/></FIELD><FIELD name="pmdec" datatype="char" arraysize="5"/>`
	row := "\x00\x00\x00\x03abc" + "\x40\x25\x00\x00\x00\x00\x00\x00" + "\xff\x80" +
		"\xc0\x34\x40\x00\x00\x00\x00\x00" + "\x00a\x00b" + "\x41\x10\x00\x00" +
		"\x00\x00\x00\x04\x00\x01\x00\x02\x00\x03\x00\x04" + "\x0e\x10" + "-3600" // 0x0e10 = 3600
	b64 := base64.StdEncoding.EncodeToString
	for _, c := range []struct {
		name, element, row string
		moves              bool
	}{
		{"BINARY", "BINARY", row, true},
		{"BINARY2", "BINARY2", "\x00\x00" + row, true},
		{"BINARY2, bit of pmra", "BINARY2", "\x01\x00" + row, false},
		{"BINARY2, bit of pmdec", "BINARY2", "\x00\x80" + row, false},
		{"null by value", "BINARY", strings.Replace(row, "\x0e\x10", "\xfc\x19", 1), false},
		{"null text", "BINARY", strings.Replace(row, "-3600", "\x003600", 1), false},
	} {
		file := vo("", fields, "<"+c.element+"><STREAM encoding='base64'>\n "+b64([]byte(c.row))+"\n</STREAM></"+c.element+">")
		s, r := only(t, Options{Epoch: 2016}, file, 2026)
		ra, dec := 10.5, -20.25
		if c.moves {
			ra, dec = 10.5+0.01/math.Cos(20.25*math.Pi/180), -20.26
		}
		near(t, c.name, s.Pos, ra, dec, 0.05)
		if (r.Unmoved == 0) != c.moves {
			t.Errorf("%s: %d without motion", c.name, r.Unmoved)
		}
	}
}

func TestVOTableNotes(t *testing.T) {
	one := "<TABLEDATA><TR><TD>1</TD><TD>2</TD><TD>3</TD></TR></TABLEDATA>"
	for _, c := range []struct{ file, want string }{
		{strings.Replace(vo("", threeFields, one), "</TABLE>", `</TABLE><INFO name="QUERY_STATUS" value="OVERFLOW"/>`, 1), "cut the table short"},
		{strings.Replace(vo("", threeFields, one), "</TABLE>", "</TABLE><TABLE/>", 1), "more tables"},
	} {
		_, r := importAll(t, Options{}, c.file)
		if s := strings.Join(r.Notes, "; "); !strings.Contains(s, c.want) {
			t.Errorf("notes %q, want %q", s, c.want)
		}
	}
	l, r := importAll(t, Options{}, vo("", threeFields, "<TABLEDATA><TR><TD>1</TD></TR><TR><TD>1</TD><TD>2</TD><TD>x</TD></TR><TR><TD>1</TD><TD>2</TD><TD>3</TD></TR></TABLEDATA>"))
	if l.Len() != 1 || r.Bad != 2 || r.First[0].Row != "row 1" || r.First[1].Row != "row 2" {
		t.Errorf("%+v", r)
	}
}

func TestVOTableRefuses(t *testing.T) {
	stream := func(attr, text string) string { return "<BINARY><STREAM " + attr + ">" + text + "</STREAM></BINARY>" }
	row := base64.StdEncoding.EncodeToString([]byte(strings.Repeat("\x40", 20)))
	for _, c := range []struct{ file, want string }{
		{"<VOTABLE><INFO name='QUERY_STATUS' value='ERROR'>no</INFO></VOTABLE>", "query failed"},
		{"<VOTABLE>", "ends early"},
		{vo("", threeFields, "<FITS/>"), "give the FITS file"},
		{vo("", threeFields, "<TABLEDATA><TR><TE/></TR></TABLEDATA>"), `"TE" in a row`},
		{vo("", threeFields, "<TABLEDATA><TD/></TABLEDATA>"), `"TD" among the rows`},
		{vo("", threeFields, "<TABLEDATA><TR><TD>&x;</TD></TR></TABLEDATA>"), "entity"},
		{vo("", threeFields, stream("href='x'", "")), "another file"},
		{vo("", threeFields, stream("encoding='gzip'", "")), `"gzip"`},
		{vo("", threeFields, stream("encoding='base64'", row[:20])), "ends within row 1"},
		{vo("", threeFields, stream("encoding='base64'", "!!!!")), "illegal base64"},
		{strings.Split(vo("", threeFields, stream("encoding='base64'", row)), "</STREAM>")[0], "ends"},
		{vo("", threeFields+"<FIELD name='n' datatype='float' arraysize='99999999999'/>", stream("encoding='base64'", row)), "arraysize"},
		{vo("", threeFields+"<FIELD name='n' datatype='int128'/>", stream("encoding='base64'", row)), "datatype"},
		{vo("", threeFields+"<FIELD name='n' datatype='char' arraysize='*'/>", stream("encoding='base64'", base64.StdEncoding.EncodeToString([]byte(strings.Repeat("\xf0", 24))))), "want none or more"},
		{vo(`<COOSYS ID="s" system="eq_FK4"/>`, strings.Replace(threeFields, "<FIELD", `<FIELD ref="s"`, 1), "<TABLEDATA/>"), "eq_FK4, want ICRS"},
		{"<?xml version='1.0' encoding='UTF-16'?>" + galaxies[21:], "UTF-16"},
		{vo(strings.Repeat("<GROUP>", 100), "", ""), "more than 64 deep"},
		{vo("<DESCRIPTION>"+strings.Repeat("x", tokenMost)+"</DESCRIPTION>", "", ""), "more than 1048576 bytes"},
		{vo("", threeFields, "<TABLEDATA>") + "</VOTABLE>", "ends"},
	} {
		_, _, err := tryImport(t, Options{}, c.file)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("got %v, want %q", err, c.want)
		}
	}
}

// A number with more digits than are kept is no number.
func TestVOTableLongText(t *testing.T) {
	long := "1" + strings.Repeat("0", textMost-1) + "0e-1024"
	_, _, err := tryImport(t, Options{}, vo("", threeFields, "<TABLEDATA><TR><TD>"+long+"</TD><TD>2</TD><TD>3</TD></TR></TABLEDATA>"))
	if err == nil || !strings.Contains(err.Error(), "not a number") {
		t.Errorf("got %v", err)
	}
}

// endless repeats a text.
type endless struct {
	text string
	at   int
	left int
}

func (e *endless) Read(p []byte) (int, error) {
	n := copy(p[:min(len(p), e.left)], e.text[e.at:])
	if e.at += n; e.at == len(e.text) {
		e.at = 0
	}
	if e.left -= n; n == 0 {
		return 0, io.EOF
	}
	return n, nil
}

// What never ends is refused before it takes memory.
func TestEndlessFiles(t *testing.T) {
	for _, text := range []string{"x", "\"", "<", "<a ", "<a>", "<!-- ", "<a b='", "&amp;", "SIMPLE  ", "<VOTABLE><FIELD/>"} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		start := text
		if strings.HasPrefix(text, "<VOTABLE>") {
			start, text = "<VOTABLE>", text[9:]
		}
		r := &endless{text: text, left: 64 << 20}
		_, err := open(io.MultiReader(strings.NewReader(start), r))
		runtime.ReadMemStats(&after)
		if err == nil {
			t.Errorf("%q for ever: opened", text)
		}
		if r.left < 48<<20 {
			t.Errorf("%q for ever: refused after %d MB", text, (64<<20-r.left)>>20)
		}
		if grown := int64(after.HeapAlloc) - int64(before.HeapAlloc); grown > 24<<20 {
			t.Errorf("%q for ever: %d MB", text, grown>>20)
		}
	}
}
