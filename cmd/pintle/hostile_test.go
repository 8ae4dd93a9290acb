package main

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"image"
	"image/jpeg"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/verb"
)

// hostile clears the screen, sets a title, forges a line, turns the direction
// of reading and ends in what is no UTF-8.
const hostile = "h\x1b[2J\x1b]0;x\a\r\nforged: all is well\u202e\u2066\u009b31m\x7f\xff"

// rawSigns are what no face may let through.
const rawSigns = "\x1b\a\r\u202e\u2066\u009b\x7f"

// runHere runs one command line with a home of the test's own.
func runHere(args ...string) string {
	var o, e bytes.Buffer
	_ = verb.Run(context.Background(), args, &o, &e)
	return o.String() + e.String()
}

func checkHarmless(t *testing.T, what, out string) {
	t.Helper()
	if strings.ContainsAny(out, rawSigns) || strings.Contains(out, "\xff") || strings.Contains(out, "\nforged") {
		t.Errorf("%s: something came through raw: %.2000q", what, out)
	}
}

// cards makes a FITS file with the texts given for keywords, as raw as they are.
func cards(path string, texts map[string]string) error {
	head := []string{"SIMPLE  =                    T", "BITPIX  =                    8", "NAXIS   =                    2", "NAXIS1  =                   64", "NAXIS2  =                   64"}
	for key, text := range texts {
		head = append(head, fmt.Sprintf("%-8s= '%s'", key, text), fmt.Sprintf("%-8s= %s", key[:min(7, len(key))]+"X", text), "COMMENT "+text)
	}
	var b bytes.Buffer
	for _, c := range append(head, "END") {
		fmt.Fprintf(&b, "%-80.80s", c)
	}
	b.Write(bytes.Repeat([]byte(" "), (2880-b.Len()%2880)%2880))
	b.Write(make([]byte, 2880*2))
	return os.WriteFile(path, b.Bytes(), 0o644)
}

// exif makes a JPEG whose EXIF texts are all the same (Exif 2.32, section 4.6).
func exif(path, text string) error {
	text += "\x00"
	var b bytes.Buffer
	put := func(vs ...any) {
		for _, v := range vs {
			_ = binary.Write(&b, binary.LittleEndian, v) // a buffer does not fail
		}
	}
	first := []uint16{0x010e, 0x010f, 0x0110, 0x0131, 0x0132, 0x013b, 0x8298}
	second := []uint16{0x9003, 0x9004, 0x9011, 0xa431, 0xa433, 0xa434}
	const header = 8
	at1 := header
	at2 := at1 + 2 + 12*(len(first)+1) + 4
	atText := at2 + 2 + 12*len(second) + 4
	b.WriteString("II")
	put(uint16(42), uint32(at1), uint16(len(first)+1))
	for _, tag := range first {
		put(tag, uint16(2), uint32(len(text)), uint32(atText))
	}
	put(uint16(0x8769), uint16(4), uint32(1), uint32(at2), uint32(0), uint16(len(second)))
	for _, tag := range second {
		put(tag, uint16(2), uint32(len(text)), uint32(atText))
	}
	put(uint32(0))
	b.WriteString(text)
	var picture bytes.Buffer
	if err := jpeg.Encode(&picture, image.NewGray(image.Rect(0, 0, 64, 64)), nil); err != nil {
		return err
	}
	app1 := append([]byte("Exif\x00\x00"), b.Bytes()...)
	var out bytes.Buffer
	out.Write([]byte{0xff, 0xd8, 0xff, 0xe1, byte((len(app1) + 2) >> 8), byte(len(app1) + 2)})
	out.Write(app1)
	out.Write(picture.Bytes()[2:])
	return os.WriteFile(path, out.Bytes(), 0o644)
}

// hostileFrames writes frames of every format with the text in every field, and
// under a name that holds it.
func hostileFrames(t *testing.T) (paths []string) {
	t.Helper()
	dir := t.TempDir()
	add := func(name string, write func(path string) error) {
		path := filepath.Join(dir, name)
		if err := write(path); err != nil {
			t.Fatal(name, err)
		}
		paths = append(paths, path)
	}
	keys := []string{"DATE-OBS", "TIME-OBS", "DATE-AVG", "MJD-OBS", "EXPTIME", "SITELAT", "SITELONG", "SITEELEV", "OBSGEO-B", "LAT-OBS", "OBJECT", "INSTRUME", "TELESCOP",
		"FOCALLEN", "XPIXSZ", "BAYERPAT", "TIMESYS", "BSCALE", "BZERO", "ZCMPTYPE", "CTYPE1", "IMAGETYP"}
	all := map[string]string{}
	for _, k := range keys {
		one := map[string]string{"DATE-OBS": "2026-11-27T10:30:00", "SITELAT": "10", "SITELONG": "20", k: hostile}
		add(k+".fits", func(p string) error { return cards(p, one) })
		all[k] = hostile
	}
	add("all.fits", func(p string) error { return cards(p, all) })
	add("exif.jpg", func(p string) error { return exif(p, hostile) })
	list := "x,y,flux," + strings.ReplaceAll(hostile, "\n", " ") + "\n10,10,100,1\n50,80,90,1\n"
	add("list.csv", func(p string) error { return os.WriteFile(p, []byte(list), 0o644) })
	add("value.csv", func(p string) error { return os.WriteFile(p, []byte("x,y,flux\n10,"+hostile+",3\n"), 0o644) })
	add("text.fits", func(p string) error { return os.WriteFile(p, []byte(hostile), 0o644) })
	if runtime.GOOS != "windows" { // which has no such names
		add(strings.ReplaceAll(hostile, "/", "")+".csv", func(p string) error { return os.WriteFile(p, []byte("x,y,flux\n1,2,3\n"), 0o644) })
		add(strings.ReplaceAll(hostile, "/", "")+".fits", func(p string) error { return cards(p, all) })
	}
	return paths
}

func hostileHome(t *testing.T) {
	for _, v := range []string{"XDG_DATA_HOME", "XDG_CONFIG_HOME", "XDG_CACHE_HOME", "AppData", "LocalAppData"} {
		t.Setenv(v, t.TempDir())
	}
}

func TestHostileFrames(t *testing.T) {
	hostileHome(t)
	index := t.TempDir()
	paths := hostileFrames(t)
	checkHarmless(t, "solve", runHere(append([]string{"solve", "--index", index}, paths...)...))
	checkHarmless(t, "solve --json", runHere(append([]string{"solve", "--json", "--index", index}, paths...)...))
	good := filepath.Join(t.TempDir(), "good.csv")
	if err := os.WriteFile(good, []byte("x,y,flux\n3,4,5\n9,9,2\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, p := range paths {
		for _, args := range [][]string{
			{"axis", "--index", index, p, good},
			{"axis", "--json", "--more", "--index", index, "--lat", "1", "--lon", "2", "--at", "2026-11-27T10:30:00Z", p, good},
			{"gear", "learn", "altitude", "--index", index, "--lat", "1", "--lon", "2", p, good},
		} {
			checkHarmless(t, strings.Join(args, " "), runHere(args...))
		}
	}
}

func TestHostileCatalogues(t *testing.T) {
	hostileHome(t)
	oneLine := strings.ReplaceAll(strings.ReplaceAll(hostile, "\n", " "), "\r", " ")
	for name, text := range map[string]string{
		"column":  "ra,dec,mag," + oneLine + "\n1,2,3,4\n",
		"value":   "ra,dec,mag\n1,\"" + hostile + "\",3\n" + oneLine + ",2,3\n5,6,7\n",
		"unit":    "ra [" + oneLine + "],dec,mag\n1,2,3\n",
		"votable": `<VOTABLE><RESOURCE><TABLE><FIELD name="` + oneLine + `" ucd="pos.eq.ra" unit="` + oneLine + `" datatype="double"/><DATA><TABLEDATA><TR><TD>` + hostile + `</TD></TR></TABLEDATA></DATA></TABLE></RESOURCE></VOTABLE>`,
	} {
		path := filepath.Join(t.TempDir(), "c.csv")
		if runtime.GOOS != "windows" {
			path = filepath.Join(t.TempDir(), strings.ReplaceAll(hostile, "/", "")+".csv")
		}
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		out := runHere("index", "build", "--index", t.TempDir(), "--stars", path, "--mag", hostile)
		checkHarmless(t, name, out)
		checkHarmless(t, name, runHere("index", "build", "--index", t.TempDir(), "--stars", path))
	}
}

func TestHostileRecords(t *testing.T) {
	hostileHome(t)
	path := filepath.Join(t.TempDir(), "j.jsonl")
	at := time.Date(2026, 11, 24, 19, 0, 0, 0, time.UTC)
	for i := range 4 {
		r := journal.Record{
			Kind: journal.Measurement, Time: at.AddDate(0, 0, i), Session: hostile, Site: journal.Site{Name: hostile, Lat: 52, Lon: 13},
			Pole: journal.Pole{Kind: hostile}, Offset: journal.Offset{Alt: 30, AzKnob: 1, Total: 30}, Tolerance: 1, Warnings: []string{hostile}, Note: hostile,
			Frames: []journal.Frame{{Name: hostile}, {Name: hostile, Missed: true, Reason: hostile}},
		}
		if err := journal.Append(path, r); err != nil {
			t.Fatal(err)
		}
	}
	page := filepath.Join(t.TempDir(), "page.html")
	for _, args := range [][]string{
		{"log"}, {"log", "2026-11-24"}, {"log", "--json"}, {"log", "--csv", "-"}, {"log", hostile}, {"log", "--site", hostile},
		{"report", "-o", page}, {"report", "--camera", hostile}, {"drift", hostile}, {"limit", "--measured", "--focal", "400", "--pixel", "3", "--exposure", "60"},
	} {
		checkHarmless(t, strings.Join(args, " "), runHere(append(args, "--journal", path)...))
	}
	b, err := os.ReadFile(page)
	if err != nil {
		t.Fatal(err)
	}
	checkHarmless(t, "page", string(b))
	checkHarmless(t, "no journal", runHere("log", "--journal", filepath.Join(t.TempDir(), strings.ReplaceAll(hostile, "/", ""), "j")))
}

func TestHostileGearAndWords(t *testing.T) {
	hostileHome(t)
	dir := os.Getenv("XDG_CONFIG_HOME")
	if runtime.GOOS != "linux" {
		t.Skip("the folder for settings is told by XDG_CONFIG_HOME on Linux only")
	}
	if err := os.MkdirAll(filepath.Join(dir, "pintle"), 0o755); err != nil {
		t.Fatal(err)
	}
	quoted := `"` + strings.NewReplacer("\x1b", `\u001b`, "\a", `\u0007`, "\r", `\r`, "\n", `\n`, "\x7f", `\u007f`, "\xff", "").Replace(hostile) + `"`
	for _, text := range []string{
		"[site." + quoted + "]\nlat = 1\nlon = 2\n", "[site.a]\nlat = 1\nlon = 2\nblocks = " + quoted + "\n", "[default]\nsite = " + quoted + "\n",
		"[mount.a]\nalt_clockwise = " + quoted + "\n", quoted + " = 3\n", hostile, "tolerance = " + quoted + "\n",
	} {
		if err := os.WriteFile(filepath.Join(dir, "pintle", "gear.toml"), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		for _, args := range [][]string{{"gear"}, {"gear", "check"}, {"rough", "--lat", "1", "--lon", "2"}, {"rough"}, {"plan", "--field", "2x1"}, {"limit"}, {"gear", "add", "site", "b", "--lat", "1", "--lon", "2"}} {
			checkHarmless(t, fmt.Sprintf("%q %v", text, args), runHere(args...))
		}
	}
	if err := os.Remove(filepath.Join(dir, "pintle", "gear.toml")); err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{
		{hostile}, {"--" + hostile}, {"-" + hostile}, {"help", hostile}, {"gear", hostile}, {"gear", "add", "site", hostile, "--lat", "1", "--lon", "2"},
		{"gear", "default", hostile, hostile}, {"gear", "tolerance", hostile}, {"gear", "learn", hostile, "a", "b"}, {"rough", "--site", hostile},
		{"rough", "--lat", hostile, "--lon", "2"}, {"rough", "--lat", "1", "--lon", "2", "--star", hostile}, {"rough", "--lat", "1", "--lon", "2", "--at", hostile},
		{"rough", "--lat", "1", "--lon", "2", "--mount", hostile}, {"rough", "--lat", "1", "--lon", "2", "--date", hostile}, {"rough", "--lat", "1", "--lon", "2", "--time-zone", hostile},
		{"solve", "--exposure", hostile}, {"solve", "--index", "/dev/null/" + hostile, hostile}, {"man", "/dev/null/" + hostile}, {"axis", "--pole", hostile, "a", "b"},
		{"index", "info", "--index", hostile}, {"index", "build", hostile}, {"axis", "--lat", hostile, "--lon", hostile, "a", "b"},
	} {
		checkHarmless(t, fmt.Sprintf("%q", args), runHere(args...))
	}
}
