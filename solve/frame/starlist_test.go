package frame

import (
	"fmt"
	"strings"
	"testing"
)

func TestStarList(t *testing.T) {
	fr := mustDecode(t, []byte("# made elsewhere\n# width=1280, height=960, date-obs=2026-11-25T12:40:00, exptime=2, sitelat=-31 24 00, sitelong=121.9\n"+
		"Flux, ra_deg ,Y,X\n10.5,1,20,30.25\n\n# a comment in between\n7e3,2,-0.4,1279\n"), "x.csv", Options{})
	want := []Star{{30.25, 20, 10.5}, {1279, -0.4, 7000}}
	if len(fr.Stars) != 2 || fr.Stars[0] != want[0] || fr.Stars[1] != want[1] {
		t.Errorf("stars %v, want %v", fr.Stars, want)
	}
	if fr.Image.W != 1280 || fr.Image.H != 960 || fr.Format != "star list" || len(fr.Notes) != 0 {
		t.Errorf("%d x %d, %s, notes %q", fr.Image.W, fr.Image.H, fr.Format, fr.Notes)
	}
	if got := fr.Time.Mid.Format(layout); got != "2026-11-25T12:40:01.000" {
		t.Errorf("mid exposure %s", got)
	}
	if fr.Site == nil || fr.Site.Lat.Degrees() > -31.39 {
		t.Errorf("site %v", fr.Site)
	}
	fr = mustDecode(t, []byte("\xef\xbb\xbfx,y,flux\r\n5,9.2,1\r\n99.6,3,2\r\n"), "x.csv", Options{})
	if fr.Image.W != 101 || fr.Image.H != 10 || !hasNote(fr, "101 x 10 is taken from its stars") {
		t.Errorf("inferred %d x %d, notes %q", fr.Image.W, fr.Image.H, fr.Notes)
	}
	long := "x,y,flux," + strings.Repeat("c", 9000) + "\n# " + strings.Repeat("k", 9000) + "\n1,2,3,4\n"
	if fr := mustDecode(t, []byte(long), "x.csv", Options{}); len(fr.Stars) != 1 {
		t.Errorf("%d stars of lines longer than the buffer, want 1", len(fr.Stars))
	}
}

func TestBadStarLists(t *testing.T) {
	if testing.Short() {
		t.Skip("slow, and nothing runs beside it")
	}
	for words, s := range map[string]string{
		"does not name the column flux": "x,y,mag\n1,2,3\n",
		"without a star":                "x,y,flux\n",
		"line 3: x is \"a\"":            "x,y,flux\n1,2,3\na,2,3\n",
		"line 4: flux is \"NaN\"":       "x,y,flux\n\n1,2,3\n1,2,NaN\n",
		"no flux in 2 columns":          "x,y,flux\n1,2\n",
		"beyond 1000000":                "x,y,flux\n1e9,2,3\n",
		"width 0":                       "# width=0, height=5\nx,y,flux\n1,2,3\n",
		"lie outside":                   "# width=10, height=10\nx,y,flux\n1,20,3\n",
		"line of column names":          "# only, comments\n",
		"line 2":                        "x,y,flux\n1,\"2,3\n",
	} {
		refused(t, []byte(s), nil, words)
	}
	var b strings.Builder
	b.WriteString("x,y,flux\n")
	for i := range maxStars + 1 {
		fmt.Fprintf(&b, "%d,1,1\n", i%1000)
	}
	refused(t, []byte(b.String()), ErrTooLarge, "1000000")
}

// A line without end, in columns or in a quoted text, is refused after its first
// part; comments may be as many as they like.
func TestStarListLineWithoutEnd(t *testing.T) {
	for _, cell := range []string{"1,", "\"", "\"a\nb", "9"} {
		refused(t, []byte("x,y,flux\n1,2,3\n"+strings.Repeat(cell, 1<<20)), ErrDamaged)
	}
	refused(t, []byte("x,y,flux,"+strings.Repeat("a,", 1<<20)+"\n1,2,3\n"), ErrDamaged, "a line of more than 65536 bytes")
	comments := strings.Repeat("# a comment that says nothing\n", 20000)
	if fr := mustDecode(t, []byte("x,y,flux\n"+comments+"1,2,3\n"+comments), "x", Options{}); len(fr.Stars) != 1 {
		t.Errorf("%d stars, want 1", len(fr.Stars))
	}
}
