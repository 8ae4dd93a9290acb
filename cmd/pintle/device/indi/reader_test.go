package indi

import (
	"bytes"
	"encoding/base64"
	"errors"
	"io"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"
	"time"
	"unicode/utf8"
)

// Messages as a server sends them, with everything that may stand between.
const stream = `<?xml version="1.0"?>
<!-- a comment with <tags> & 'quotes' -->
<defNumberVector device="Mount &amp; co" name="EQUATORIAL_EOD_COORD" state="Ok" perm="rw">
    <defNumber name="RA" label="RA (hh:mm:ss)" format="%010.6m" min="0" max="24" step="0">
6.5526584122245514763
    </defNumber>
    <defNumber name='DEC' min='-90' max='90'>-3:30:36</defNumber>
</defNumberVector>
<message device="Mount" message="it&#x27;s &lt;cold&gt;"/>
<setSwitchVector device="Mount" name="TELESCOPE_PARK" state="Ok"><oneSwitch name="PARK">
On
</oneSwitch><!-- between --><oneSwitch name="UNPARK"/></setSwitchVector>
<delProperty device="Mount"/>
`

func TestReader(t *testing.T) {
	for _, in := range []io.Reader{strings.NewReader(stream), iotest.OneByteReader(strings.NewReader(stream))} {
		r := newReader(in)
		m, err := r.next()
		if err != nil || m.tag != "defNumberVector" || m.attr.get("device") != "Mount & co" || len(m.items) != 2 {
			t.Fatalf("%+v, %v", m, err)
		}
		v := define(m, time.Time{})
		ra, _ := v.number("RA")
		dec, _ := v.number("DEC")
		if ra != 6.5526584122245514763 || math.Abs(dec+3.51) > 1e-12 || v.element("DEC").min != -90 || v.kind != "Number" {
			t.Errorf("%+v", v)
		}
		if m, err = r.next(); err != nil || m.attr.get("message") != "it's <cold>" {
			t.Errorf("%+v, %v", m, err)
		}
		if m, err = r.next(); err != nil || len(m.items) != 2 || !define(m, time.Time{}).on("PARK") {
			t.Errorf("%+v, %v", m, err)
		}
		if m, err = r.next(); err != nil || m.tag != "delProperty" || m.attr.get("name") != "" {
			t.Errorf("%+v, %v", m, err)
		}
		if _, err = r.next(); err != io.EOF {
			t.Error(err)
		}
	}
}

// blobs reads a stream and returns what its BLOBs hold.
func blobs(in io.Reader) (files [][]byte, errs []error, err error) {
	r := newReader(in)
	var b *bytes.Buffer
	r.blob = func(_, _ attrs) io.Writer { b = &bytes.Buffer{}; return b }
	r.done = func(_, _ attrs, _ int64, err error) {
		if b == nil {
			b = &bytes.Buffer{}
		}
		files, errs = append(files, b.Bytes()), append(errs, err)
	}
	for err == nil {
		_, err = r.next()
	}
	return files, errs, err
}

func blobXML(body string, size int) string {
	return `<setBLOBVector device="Cam" name="CCD1" state="Ok"><oneBLOB name="CCD1" size="` + strconv.Itoa(size) + `" format=".fits">` + body + "</oneBLOB></setBLOBVector>\n"
}

// lines breaks text as drivers do, after 72 characters.
func lines(s, end string) string {
	var b strings.Builder
	for len(s) > 72 {
		b.WriteString(s[:72] + end)
		s = s[72:]
	}
	return b.String() + s + end
}

func TestBlob(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for _, n := range []int{0, 1, 2, 3, 54, 55, 2880, 100_001} {
		data := make([]byte, n)
		for i := range data {
			data[i] = byte(rng.Uint32())
		}
		code := base64.StdEncoding.EncodeToString(data)
		for _, body := range []string{code, "\n" + lines(code, "\n"), lines(code, "\r\n"), "\n" + lines(code, " \n") + "    ", strings.TrimRight(code, "=")} {
			for _, in := range []io.Reader{strings.NewReader(blobXML(body, n)), iotest.HalfReader(strings.NewReader(blobXML(body, n)))} {
				files, errs, err := blobs(in)
				if err != io.EOF || len(files) != 1 || errs[0] != nil || !bytes.Equal(files[0], data) {
					t.Fatalf("%d bytes: %d files, %v, %v", n, len(files), errs, err)
				}
			}
		}
	}
}

// What is wrong with a BLOB is told, and the stream goes on behind it.
func TestBadBlob(t *testing.T) {
	good := blobXML("AAAA", 3)
	for name, bad := range map[string]string{
		"garbled":   blobXML("A*AA", 3),
		"too long":  blobXML("AAAAAAAA", 3),
		"too short": blobXML("AAAA", 5),
		"huge":      blobXML("AAAA", maxBlob+1),
	} {
		files, errs, err := blobs(strings.NewReader(bad + good))
		if err != io.EOF || len(files) != 2 || errs[0] == nil || errs[1] != nil || len(files[1]) != 3 {
			t.Errorf("%s: %v, %v", name, errs, err)
		}
	}
	cut := blobXML("AAAAAAAA", 6)
	if _, errs, err := blobs(strings.NewReader(cut[:len(cut)-30])); err == nil || err == io.EOF || len(errs) != 1 || errs[0] == nil {
		t.Errorf("cut off: %v, %v", errs, err)
	}
}

// A folder that takes no more does not stop the stream from being drained.
func TestBlobIntoFullDisk(t *testing.T) {
	full := errors.New("no space left")
	r := newReader(strings.NewReader(blobXML("AAAA", 3) + stream))
	r.blob = func(_, _ attrs) io.Writer { return failing{full} }
	var got error
	r.done = func(_, _ attrs, _ int64, err error) { got = err }
	n := 0
	for {
		if _, err := r.next(); err != nil {
			break
		}
		n++
	}
	if n != 5 || got != full {
		t.Errorf("%d messages, %v", n, got)
	}
}

type failing struct{ err error }

func (f failing) Write([]byte) (int, error) { return 0, f.err }

func TestReaderRefuses(t *testing.T) {
	for name, in := range map[string]string{
		"no element":      strings.Repeat("x", maxGap+100),
		"long tag":        "<a " + strings.Repeat("b", maxTag+1) + ">",
		"many attributes": "<a " + strings.Repeat(`b="c" `, maxAttrs+1) + ">",
		"long text":       "<a>" + strings.Repeat("x", maxText+1) + "</a>",
		"much text":       "<a>" + strings.Repeat(strings.Repeat("x", maxText/2)+"<b/>", 3) + "</a>",
		"many elements":   "<a>" + strings.Repeat("<b/>", maxItems+1) + "</a>",
		"deep":            "<a><b><c/></b></a>",
		"crossed":         "<a><b></a></b>",
		"closing alone":   "</a>",
		"no quotes":       "<a b=c>",
		"open quote":      `<a b="c>`,
		"nameless":        "<>",
		"cut off":         "<a><b>",
	} {
		if _, err := newReader(strings.NewReader(in)).next(); err == nil || err == io.EOF {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Nothing from the network acts on a terminal.
func TestTextIsHarmless(t *testing.T) {
	m, err := newReader(strings.NewReader("<a b=\"\x1b[31m\xff&#27;&#7;\u202e\">\x00\x1b]0;x\a</a>")).next()
	if err != nil {
		t.Fatal(err)
	}
	if s := m.attr.get("b") + m.text; strings.ContainsAny(s, "\x1b\a\x00\u202e") || !utf8.ValidString(s) {
		t.Errorf("%q", s)
	}
}

func FuzzReader(f *testing.F) {
	f.Add([]byte(stream))
	f.Add([]byte(blobXML("AAAA\nAA==  ", 4) + stream))
	f.Add([]byte(`<defSwitchVector device='x' name="y"><defSwitch name="1x" label="&#0;"/></defSwitchVector>`))
	f.Fuzz(func(t *testing.T, b []byte) {
		files, _, err := blobs(bytes.NewReader(b))
		if err == nil {
			t.Error("no end")
		}
		total := 0
		for _, x := range files {
			total += len(x)
		}
		if total > len(b) {
			t.Errorf("%d bytes of %d", total, len(b))
		}
		c := client{now: time.Now, devices: map[string]map[string]*vector{}, said: map[string]note{}}
		r := newReader(bytes.NewReader(b))
		for {
			m, err := r.next()
			if err != nil {
				break
			}
			c.take(m)
		}
		for _, d := range c.list() {
			_ = d.Name
		}
	})
}

// 26 megapixels of 16 bits, as a camera of that size sends them.
func BenchmarkBlob(b *testing.B) {
	data := make([]byte, 26_000_000*2)
	rand.NewChaCha8([32]byte{1}).Read(data)
	text := blobXML("\n"+lines(base64.StdEncoding.EncodeToString(data), "\n"), len(data))
	b.SetBytes(int64(len(text)))
	b.ReportAllocs()
	for b.Loop() {
		r := newReader(strings.NewReader(text))
		var n int64
		r.blob = func(_, _ attrs) io.Writer { return io.Discard }
		r.done = func(_, _ attrs, k int64, _ error) { n = k }
		if _, err := r.next(); err != nil || n != int64(len(data)) {
			b.Fatal(n, err)
		}
	}
}

// What is never to be sent cannot be.
func TestNothingForbiddenIsSendable(t *testing.T) {
	for name, elements := range sendable {
		for _, w := range []string{"COORD", "TIME", "HOME", "SYNC", "LOCATION", "LST", "OPTION", "POSITION"} {
			if strings.Contains(name, w) && name != "UPLOAD_MODE" {
				t.Errorf("%s is sendable", name)
			}
		}
		for _, e := range elements {
			if e == "PARK" || strings.HasPrefix(e, "PARK_") || e == "SLEW" || e == "SYNC" || e == "TRACK" {
				t.Errorf("%s of %s is sendable", e, name)
			}
		}
	}
	for _, n := range []newVector{
		switches("m", "TELESCOPE_PARK", on("PARK")), switches("m", "ON_COORD_SET", on("SYNC")),
		numbers("m", "EQUATORIAL_EOD_COORD", num("RA", 1)), switches("m", "TELESCOPE_MOTION_NS", on("MOTION_NORTH")),
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%s was written", n.name)
				}
			}()
			n.xml()
		}()
	}
	if s := switches(`a"><b`, "TELESCOPE_PARK", on("UNPARK")).xml(); strings.Contains(s, "<b") {
		t.Errorf("a name breaks out: %s", s)
	}
}

func TestRefusalIsIdleWithAMessage(t *testing.T) {
	c := client{now: time.Now, devices: map[string]map[string]*vector{}, said: map[string]note{}}
	for _, x := range []string{`<defSwitchVector device="m" name="p" state="Ok"><defSwitch name="a">Off</defSwitch></defSwitchVector>`,
		`<message device="m" message="cannot"/>`, `<setSwitchVector device="m" name="p" state="Idle"/>`} {
		m, err := newReader(strings.NewReader(x)).next()
		if err != nil {
			t.Fatal(err)
		}
		c.take(m)
	}
	if v := c.get("m", "p"); v.state != "Idle" || v.news != 1 || c.said["m"].text != "cannot" {
		t.Errorf("%+v %+v", v, c.said)
	}
	m, _ := newReader(strings.NewReader(`<delProperty device="m"/>`)).next()
	c.take(m)
	if c.get("m", "p") != nil || c.known != 0 {
		t.Error("a driver that died is still known")
	}
}
