package catalog

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pintle/index/catalog/sample"
	"pintle/index/sphere"
	"pintle/index/stars"
)

const seed = 20261125

func memory(name string, data []byte) Source {
	return Source{Name: name, Size: int64(len(data)), Open: func() (io.ReadCloser, error) {
		return io.NopCloser(bytes.NewReader(data)), nil
	}}
}

func silent(float64) {}

// importAll imports files given as text and opens the list.
func importAll(t *testing.T, opt Options, files ...string) (*stars.List, Report) {
	t.Helper()
	l, r, err := tryImport(t, opt, files...)
	if err != nil {
		t.Fatal(err)
	}
	return l, r
}

func tryImport(t *testing.T, opt Options, files ...string) (*stars.List, Report, error) {
	t.Helper()
	dir := t.TempDir()
	var sources []Source
	for i, f := range files {
		sources = append(sources, memory(fmt.Sprintf("file%d", i), []byte(f)))
	}
	path := filepath.Join(dir, "list")
	r, err := Import(context.Background(), path, sources, opt, silent)
	if left, _ := os.ReadDir(dir); err != nil && len(left) > 0 || len(left) > 1 {
		t.Errorf("files left: %v", left)
	}
	if err != nil {
		return nil, r, err
	}
	if n := int64(r.Stars+r.Twins) + r.Bad + r.TooFaint; n != r.Rows {
		t.Errorf("%d rows, %d accounted for: %+v", r.Rows, n, r)
	}
	l, err := stars.OpenFile(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	return l, r, nil
}

func written(t testing.TB, format string, n int) string {
	t.Helper()
	var b bytes.Buffer
	if err := sample.Write(&b, format, seed, n); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// The same stars come out of every format: each is found at its place in 2026
// from the numbers it was made of.
func TestFormats(t *testing.T) {
	const n = 3000
	for _, format := range sample.Formats {
		data := written(t, format, n)
		var z bytes.Buffer
		w := gzip.NewWriter(&z)
		w.Write([]byte(data))
		w.Close()
		for _, file := range []string{data, z.String()} {
			l, r := importAll(t, Options{}, file)
			if r.Stars != n || r.Bad != 0 || r.Twins != 0 || r.Rows != n {
				t.Fatalf("%s: %+v, want %d stars", format, r, n)
			}
			unmoved := int64(0)
			for s := range sample.Stars(seed, n) {
				if math.IsNaN(s.PMRA) {
					unmoved++
				}
				at := moved(s, 2026)
				found := l.Cone(nil, at, 0.025*sphere.Arcsecond, 99, 2026)
				if len(found) != 1 || math.Abs(float64(found[0].V)-s.Mag) > 0.03 {
					t.Fatalf("%s: star %+v: found %v", format, s, found)
				}
			}
			if r.Unmoved != unmoved || len(r.Files) != 1 || len(r.Files[0].Columns) != int(roles)-2 {
				t.Errorf("%s: %d without motion, want %d; %+v", format, r.Unmoved, unmoved, r.Files)
			}
		}
	}
}

// moved moves a star as a plane would, exact enough for these motions.
func moved(s sample.Star, epoch float64) sphere.Sky {
	const deg, mas = sphere.Degree, sphere.Arcsecond / 1000
	ra, dec := sphere.Angle(s.RA)*deg, sphere.Angle(s.Dec)*deg
	if math.IsNaN(s.PMRA) {
		return sphere.SkyAt(ra, dec)
	}
	dt := sphere.Angle(epoch-sample.Epoch) * mas
	return sphere.SkyAt(ra+sphere.Angle(s.PMRA/dec.Cos())*dt, dec+sphere.Angle(s.PMDec)*dt)
}

// star returns the only star of a one-row file.
func only(t *testing.T, opt Options, file string, epoch float64) (stars.Star, Report) {
	t.Helper()
	l, r := importAll(t, opt, file)
	s, ok := l.At(0, epoch)
	if !ok || l.Len() != 1 {
		t.Fatalf("%d stars, want 1: %+v", l.Len(), r)
	}
	return s, r
}

func near(t *testing.T, what string, got sphere.Sky, ra, dec, arcsec float64) {
	t.Helper()
	want := sphere.SkyAt(sphere.Angle(ra)*sphere.Degree, sphere.Angle(dec)*sphere.Degree)
	if d := got.Sep(want).Arcseconds(); d > arcsec {
		gra, gdec := got.RADec()
		t.Errorf("%s: at %.6f, %.6f, want %.6f, %.6f (%.3f arcsec away)", what, gra.Degrees(), gdec.Degrees(), ra, dec, d)
	}
}

// Columns and units as archives write them; values by hand.
func TestCSVDialects(t *testing.T) {
	for _, c := range []struct {
		name, file string
		opt        Options
		ra, dec    float64 // in 2026
	}{
		{"plain", "ra,dec,mag\n10.5,-20.25,9\n", Options{}, 10.5, -20.25},
		{"spaces, quotes, case, CR", "\"RA\", DEC ,Vmag\r\n\"10.5\", -20.25 ,9\r\n", Options{}, 10.5, -20.25},
		{"byte order mark", "\xef\xbb\xbfra,dec,mag\n10.5,-20.25,9", Options{}, 10.5, -20.25},
		{"semicolons", "name;RAJ2000;DEJ2000;Vmag\nx,y;10.5;-20.25;9\n", Options{}, 10.5, -20.25},
		{"comments", "# made\n#\nra,dec,mag\n# more\n10.5,-20.25,9\n", Options{}, 10.5, -20.25},
		{"names in a comment", "# ra,dec,mag\n10.5,-20.25,9\n", Options{}, 10.5, -20.25},
		{"sexagesimal", "ra,dec,mag\n00 42 00,-20:15:00,9\n", Options{}, 10.5, -20.25},
		{"sexagesimal, minus zero", "ra,dec,mag\n0h42m0.0s,-00:15:00,9\n", Options{}, 10.5, -0.25},
		{"units in the names", "RA [h],Dec (rad),mag\n0.7,-0.5,9\n", Options{}, 10.5, -0.5 * 180 / math.Pi},
		{"tabs, units and dashes", "#\n_RAJ2000\t_DEJ2000\tVmag\n\"h:m:s\"\t\"d:m:s\"\tmag\n--------\t-----\t---\n00 42 00.0\t-20 15 00\t 9.0\n", Options{}, 10.5, -20.25},
		{"flags", "a,b,c,d\n1,10.5,-20.25,9\n", Options{Columns: Columns{RA: "B", Dec: "#3", Mag: "d"}}, 10.5, -20.25},
		{"flag with a unit", "a,b,c\n0.7,-20.25,9\n", Options{Columns: Columns{RA: "a [h]", Dec: "b", Mag: "c"}}, 10.5, -20.25},
		{"no names", "0.7,10.5,-20.25,9\n", Options{Columns: Columns{RA: "#2", Dec: "#3", Mag: "#4"}}, 10.5, -20.25},
		// 3600 mas/yr for 26 years is 0.026 deg, at declination 60 twice that.
		{"motion from 2000", "ra,dec,pmra,pmdec,mag\n10,60,3600,-3600,9\n", Options{}, 10.052, 59.974},
		{"motion from the column", "ra,dec,pmRA,pmDE,ref_epoch,mag\n10,60,3600,-3600,2016.0,9\n", Options{}, 10.02, 59.99},
		{"motion from the column, J", "ra,dec,pmRA,pmDE,epoch,mag\n10,60,3600,-3600,J2016.0,9\n", Options{}, 10.02, 59.99},
		{"motion from the flag", "ra,dec,pmra,pmdec,ref_epoch,mag\n10,60,3600,-3600,2000,9\n", Options{Epoch: 2016}, 10.02, 59.99},
		{"motion in arcsec", "ra,dec,pmra [arcsec/yr],pmdec [arcsec yr-1],mag\n10,60,3.6,-3.6,9\n", Options{Epoch: 2016}, 10.02, 59.99},
		{"motion in deg", "ra,dec,pmra [deg/yr],pmdec [deg.yr**-1],mag\n10,60,0.001,-0.001,9\n", Options{Epoch: 2016}, 10.02, 59.99},
		{"half a motion is none", "ra,dec,pmra,pmdec,mag\n10,60,3600,,9\n", Options{Epoch: 2016}, 10, 60},
		{"NaN motion", "ra,dec,pmra,pmdec,mag\n10,60,NaN,null,9\n", Options{Epoch: 2016}, 10, 60},
	} {
		s, r := only(t, c.opt, c.file, 2026)
		// Straight motion and the plane differ by 0.03 arcsec here.
		near(t, c.name, s.Pos, c.ra, c.dec, 0.1)
		if math.Abs(float64(s.V)-9) > 1e-3 || r.Bad != 0 {
			t.Errorf("%s: V %v, %d bad rows %v", c.name, s.V, r.Bad, r.First)
		}
	}
}

func TestErrorColumns(t *testing.T) {
	s, r := only(t, Options{}, "ra,dec,ra_error,dec_error,pmra,pmdec,pmra_error,pmdec_error,ref_epoch,mag\n10,20,300,400,1,1,30,40,2016,9\n", 2026)
	// Mean of the squares: (300^2+400^2)/2 + 10^2 (30^2+40^2)/2 = 353.6^2 + 353.6^2 mas^2.
	if got := s.Err.Arcseconds(); math.Abs(got-0.500) > 0.002 {
		t.Errorf("error %v arcsec, want 0.500", got)
	}
	for _, n := range r.Notes {
		t.Errorf("note %q, want none", n)
	}
	s, r = only(t, Options{}, "ra,dec,pmra,pmdec,ref_epoch,mag\n10,20,1,1,2016,9\n", 2026)
	if got, want := s.Err.Arcseconds()*1000, math.Hypot(assumedPlaceError, 10*assumedMotionError); math.Abs(got/want-1) > 0.03 {
		t.Errorf("error %v mas, want %v", got, want)
	}
	if len(r.Notes) != 2 {
		t.Errorf("notes %q, want two about errors", r.Notes)
	}
}

// Every bad row is counted and, of the first ones, named.
func TestBadRows(t *testing.T) {
	file := `ra,dec,pmra,pmdec,ref_epoch,mag
1,1,0,0,2000,9
,1,0,0,2000,9
1,null,0,0,2000,9
1,1,0,0,2000,NaN

1,1,0,0,2000
x,1,0,0,2000,9
370,1,0,0,2000,9
1,-91,0,0,2000,9
1,1,0,0,2000,99.99
1,1,0,0,55000,9
1,1,16000,0,2000,9
1,1,a,0,2000,9
1,1,0,0,,9
1,"1,0,0,2000,9
1,1,0,0,2000,Inf
2,2,0,0,2000,9
1,1,0,0,2000,9
1,1.000001,0,0,2000,9.0004
3,3,0,0,2000,15
`
	l, r := importAll(t, Options{Faintest: 12}, file)
	if l.Len() != 2 || r.Twins != 2 || r.TooFaint != 1 || r.Bad != 14 || r.Rows != 19 {
		t.Errorf("%+v", r)
	}
	want := []BadRow{
		{"file0", "line 3", "no right ascension", "null"},
		{"file0", "line 4", "no declination", "null"},
		{"file0", "line 5", "no magnitude", "null"},
		{"file0", "line 7", "wrong number of fields", "5, want 6"},
		{"file0", "line 8", "right ascension is not a number", `"x"`},
		{"file0", "line 9", "right ascension outside 0 to 360 degrees", "370"},
		{"file0", "line 10", "declination outside -90 to 90 degrees", "-91"},
		{"file0", "line 11", "magnitude outside -2 to 25", "99.99"},
		{"file0", "line 12", "epoch outside 1850 to 2150", "55000"},
		{"file0", "line 13", "proper motion above 15000 mas/yr", "16000, 0"},
	}
	for i, b := range r.First {
		if b != want[i] {
			t.Errorf("bad row %d: %+v, want %+v", i, b, want[i])
		}
	}
	sum := int64(0)
	for _, x := range r.Reasons {
		sum += x.Rows
	}
	if sum != r.Bad || len(r.First) != len(want) {
		t.Errorf("%d rows in %v, want %d", sum, r.Reasons, r.Bad)
	}
}

func TestImportRefuses(t *testing.T) {
	long := strings.Repeat("x", lineMost+2)
	for _, c := range []struct {
		name, file string
		opt        Options
		want       []string // parts of the error
	}{
		{"empty", "", Options{}, []string{"file0", "no line of column names"}},
		{"no ra", "a,dec,mag\n1,2,3\n", Options{}, []string{"right ascension", "a, dec, mag", "--ra"}},
		{"no mag", "ra,dec,x\n1,2,3\n", Options{}, []string{"magnitude", "ra, dec, x", "--mag"}},
		{"two of a name", "ra,RA,dec,mag\n1,2,3,4\n", Options{}, []string{"ra (#1), RA (#2)", "--ra"}},
		{"half of the motion", "ra,dec,pmra,mag\n1,2,3,4\n", Options{}, []string{"proper motion in declination", "--pmdec"}},
		{"flag of nothing", "ra,dec,mag\n1,2,3\n", Options{Columns: Columns{Mag: "Bmag"}}, []string{"no column Bmag", "ra, dec, mag"}},
		{"flag beyond", "ra,dec,mag\n1,2,3\n", Options{Columns: Columns{Mag: "#4"}}, []string{"no column #4 of 3"}},
		{"unit", "ra,dec,pmra [arcsec/yr],pmdec [mag],mag\n1,2,3,4,5\n", Options{}, []string{"pmdec", `"mag"`, "want mas/yr"}},
		{"epoch", "ra,dec,mag\n1,2,3\n", Options{Epoch: 20000}, []string{"epoch 20000", "1850"}},
		{"all bad", "ra,dec,mag\n1,200,3\n", Options{}, []string{"no star in 1 row", "line 2", "declination outside"}},
		{"no rows", "ra,dec,mag\n", Options{}, []string{"no star in 0 rows"}},
		{"long line", "ra,dec,mag\n1,2,3\n" + long, Options{}, []string{"line 3 is longer"}},
		{"binary", "PK\x03\x04\x00", Options{}, []string{"starts with", "want comma-separated"}},
		{"other XML", "<html></html>", Options{}, []string{`"html"`, "VOTABLE"}},
		{"gzip cut", "\x1f\x8b\x08\x00", Options{}, []string{"gzip", "copy the file again"}},
	} {
		_, _, err := tryImport(t, c.opt, c.file)
		if err == nil {
			t.Errorf("%s: imported", c.name)
			continue
		}
		for _, w := range c.want {
			if !strings.Contains(err.Error(), w) {
				t.Errorf("%s: %v, want %q in it", c.name, err, w)
			}
		}
		if len(err.Error()) > 1000 {
			t.Errorf("%s: an error of %d bytes", c.name, len(err.Error()))
		}
	}
}

// A file that was cut anywhere fails, and names the file; CSV cannot know.
func TestCutFiles(t *testing.T) {
	for _, format := range []string{"fits", "votable", "binary", "binary2"} {
		data := written(t, format, 100)
		whole := len(strings.TrimRight(data, "\n\x00"))
		for _, n := range []int{300, 1000, 3000, 6000, 9000, 12000} {
			if n = min(n, whole-1); format == "fits" && n > whole-80 {
				continue
			}
			if _, _, err := tryImport(t, Options{}, data[:n]); err == nil {
				t.Errorf("%s cut to %d of %d bytes: imported", format, n, len(data))
			} else if n == 3000 {
				t.Log(err)
			}
		}
	}
}

func TestCancel(t *testing.T) {
	for _, format := range sample.Formats {
		ctx, cancel := context.WithCancel(context.Background())
		data := []byte(written(t, format, 20_000))
		dir := t.TempDir()
		last := 0.0
		_, err := Import(ctx, filepath.Join(dir, "list"), []Source{memory("a", data)}, Options{}, func(share float64) {
			if share < last || share > 1 {
				t.Errorf("%s: progress from %v to %v", format, last, share)
			}
			if last = share; share > 0.2 {
				cancel()
			}
		})
		if !errors.Is(err, context.Canceled) {
			t.Errorf("%s: got %v", format, err)
		}
		if left, _ := os.ReadDir(dir); len(left) > 0 {
			t.Errorf("%s: files left: %v", format, left)
		}
		cancel()
	}
}

// Several files make one list, and the same file twice adds nothing.
func TestSeveralFiles(t *testing.T) {
	_, r := importAll(t, Options{}, written(t, "csv", 500), "ra,dec,mag\n10,10,3\n", written(t, "fits", 500))
	if r.Stars != 501 || r.Twins != 500 || len(r.Files) != 3 {
		t.Errorf("%+v", r)
	}
}
