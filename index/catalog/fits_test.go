package catalog

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/astrogo/fitsio"
)

// libraryTable has a table written by another library: an image unit first, then
// the rows, in the units that are not the usual ones.
func libraryTable(t testing.TB) string {
	t.Helper()
	var b bytes.Buffer
	f, err := fitsio.Create(&b)
	if err != nil {
		t.Fatal(err)
	}
	image := fitsio.NewImage(8, []int{7, 3})
	if err := image.Write(make([]byte, 21)); err != nil {
		t.Fatal(err)
	}
	if err := f.Write(image); err != nil {
		t.Fatal(err)
	}
	table, err := fitsio.NewTable("stars", []fitsio.Column{
		{Name: "NAME", Format: "8A", Bscale: 1},
		{Name: "FLAGS", Format: "3I", Bscale: 1},
		{Name: "RA_ICRS", Format: "D", Unit: "h", Bscale: 1},
		{Name: "DE_ICRS", Format: "D", Unit: "rad", Bscale: 1},
		{Name: "pmRA", Format: "E", Unit: "arcsec/yr", Bscale: 1},
		{Name: "pmDE", Format: "E", Unit: "arcsec/yr", Bscale: 1},
		{Name: "Vmag", Format: "I", Unit: "mag", Bscale: 1},
	}, fitsio.BINARY_TBL)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range []struct {
		ra, dec    float64
		pmra, pmde float32
		mag        int16
	}{
		{0.7, -0.5, 3.6, -3.6, 9},
		{23.9, 1.5, float32(math.NaN()), 0, 10},
		{math.NaN(), 1, 0, 0, 11},
	} {
		name, flags := "star", [3]int16{1, 2, 3}
		if err := table.Write(&name, &flags, &r.ra, &r.dec, &r.pmra, &r.pmde, &r.mag); err != nil {
			t.Fatal(err)
		}
	}
	if err := f.Write(table); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestFITSOfAnotherLibrary(t *testing.T) {
	l, r := importAll(t, Options{Epoch: 2016}, libraryTable(t))
	if l.Len() != 2 || r.Bad != 1 || r.First[0].Row != "row 3" || r.First[0].Reason != "no right ascension" || r.Unmoved != 1 {
		t.Fatalf("%+v", r)
	}
	l.Each(99, 2026, func(s starOf) bool {
		if s.V < 9.5 {
			// 36 arcsec in ten years; east that is 0.01 deg / cos(-0.5 rad).
			near(t, "hours, radians, arcsec/yr", s.Pos, 10.5+0.01/math.Cos(0.5), -0.5*180/math.Pi-0.01, 0.05)
		} else {
			near(t, "without motion", s.Pos, 358.5, 1.5*180/math.Pi, 0.05)
		}
		return true
	})
}

// hand makes a FITS file by hand: cards of the table, then its rows.
func hand(rows string, cards ...string) string {
	block := func(cards ...string) string {
		s := ""
		for _, c := range append(cards, "END") {
			s += fmt.Sprintf("%-80.80s", c)
		}
		return s + strings.Repeat(" ", (blockSize-len(s)%blockSize)%blockSize)
	}
	s := block("SIMPLE  = T", "BITPIX  = 8", "NAXIS   = 0") + block(cards...)
	return s + rows + strings.Repeat("\x00", (blockSize-len(rows)%blockSize)%blockSize)
}

// intCards are of a table with scaled integers: RA in 0.001 degrees from 180, Dec
// as text, magnitudes in hundredths with -1 for null.
func intCards(rows int) []string {
	return []string{"XTENSION= 'BINTABLE'           / comment", "BITPIX  =                    8", "NAXIS   = 2", "NAXIS1  = 18",
		fmt.Sprintf("NAXIS2  = %d", rows), "PCOUNT  = 0", "GCOUNT  = 1", "TFIELDS = 4",
		"TTYPE1  = 'ra      '", "TFORM1  = '1J      '", "TSCAL1  = 1.0D-3", "TZERO1  = 180.",
		"TTYPE2  = 'dec     '", "TFORM2  = '10A     '",
		"TTYPE3  = 'mag     '", "TFORM3  = 'I       '", "TSCAL3  = 0.01 / hundredths", "TNULL3  = -1",
		"TTYPE4  = 'it''s   '", "TFORM4  = '9X      '"}
}

func TestFITSByHand(t *testing.T) {
	rows := "\xff\xff\xff\xff" + "-10 30 00 " + "\x03\x84" + "\x00\x00" + // -1: 179.999; 0x384 = 900
		"\x00\x00\x03\xe8" + "+20.25\x00abc" + "\x03\xe8" + "\x00\x00" + // 1000: 181
		"\x00\x00\x00\x00" + "+20.25    " + "\xff\xff" + "\x00\x00" // magnitude null
	l, r := importAll(t, Options{}, hand(rows, intCards(3)...))
	if l.Len() != 2 || r.Bad != 1 || r.First[0].Reason != "no magnitude" {
		t.Fatalf("%+v", r)
	}
	l.Each(99, 2026, func(s starOf) bool {
		if math.Abs(float64(s.V)-9) < 0.01 {
			near(t, "star 1", s.Pos, 179.999, -10.5, 0.05)
		} else {
			near(t, "star 2", s.Pos, 181, 20.25, 0.05)
		}
		return true
	})
}

func TestFITSRefuses(t *testing.T) {
	change := func(from, to string) string {
		cards := intCards(1)
		for i, c := range cards {
			if strings.HasPrefix(c, from) {
				cards[i] = to
			}
		}
		return hand(strings.Repeat("1", 18), cards...)
	}
	for _, c := range []struct{ file, want string }{
		{hand("", "XTENSION= 'IMAGE'", "BITPIX  = 8", "NAXIS   = 0"), "no table"},
		{hand("", intCards(0)...), "unit 2 is a BINTABLE of 0 rows"},
		{change("NAXIS1", "NAXIS1  = 17"), "ends at byte 18 of rows of 17"},
		{change("NAXIS1", "NAXIS1  = 99999999"), "want 0 to 1048576"},
		{change("NAXIS2", "NAXIS2  = 9223372036854775807"), "NAXIS2"},
		{change("NAXIS2", "NAXIS2  = 1000"), "ends within row 161 of 1000"}, // padding is there
		{change("BITPIX", "BITPIX  = 7"), "BITPIX"},
		{change("PCOUNT", "PCOUNT  = -1"), "PCOUNT"},
		{change("TFIELDS", "TFIELDS = 1000"), "want 0 to 999"},
		{change("TFIELDS", "TFIELDS = 3"), "imported"},
		{change("TFORM1", "TFORM1  = '3J'"), "ends at byte"},
		{change("TFORM1", "TFORM1  = '99999999999999999999J'"), "at most 1048576"},
		{change("TFORM1", "TFORM1  = '7'"), "want a count of at most 1048576 and one of the letters"},
		{change("TFORM1", "TFORM1  = 'Z'"), "one of the letters"},
		{change("TFORM1", "TFORM1  = '4L'"), "ra has the form 4L, want numbers or text"},
		{change("TSCAL1", "TSCAL1  = 0"), "TSCAL1 = 0"},
		{change("TSCAL1", "TSCAL1  = x"), "TSCAL1"},
		{change("TZERO1", "TZERO1  = 1E999"), "TZERO1"},
		{change("TTYPE2", "TUNIT1  = 'pix'"), `in "pix", want deg`},
	} {
		_, _, err := tryImport(t, Options{}, c.file)
		switch {
		case c.want == "imported": // one column less: the rows are the same
			if err == nil || !strings.Contains(err.Error(), "no star in 1 row") {
				t.Errorf("%v", err)
			}
		case err == nil || !strings.Contains(err.Error(), c.want):
			t.Errorf("got %v, want %q", err, c.want)
		}
	}
}

// A second table is not read, but not passed over in silence either.
func TestFITSMoreTables(t *testing.T) {
	one := written(t, "fits", 20)
	second := strings.Index(one, "XTENSION")
	_, r := importAll(t, Options{}, one+one[second:])
	if r.Stars != 20 || !strings.Contains(strings.Join(r.Notes, ";"), "more tables") {
		t.Errorf("%d stars, notes %q", r.Stars, r.Notes)
	}
}
