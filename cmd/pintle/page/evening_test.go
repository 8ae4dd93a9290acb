package page

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"io"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"pintle/cmd/pintle/evening"
	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/session"
)

// evenings serves an evening in an empty folder; nobody works on what is handed
// over.
func evenings(t *testing.T) (base string, e *evening.Evening) {
	t.Helper()
	return eveningsIn(t, t.TempDir())
}

// eveningsIn is evenings with the gear and the journal of a home.
func eveningsIn(t *testing.T, home string) (base string, e *evening.Evening) {
	t.Helper()
	e, err := evening.Open(evening.Config{Folder: filepath.Join(home, "evening"), Gear: filepath.Join(home, "gear.toml"), Journal: filepath.Join(home, "journal.jsonl"),
		Now: time.Now, Photos: &session.Photographs{Now: time.Now}})
	if err != nil {
		t.Fatal(err)
	}
	s, base, _ := serve(t, Options{Evening: e, Urgent: e.Urgent})
	e.Attach(View{s}, s.SetPicture, s.SetEvening)
	return base, e
}

// screen is a browser: it keeps its cookies.
type screen struct {
	t    *testing.T
	c    http.Client
	base string
}

func open(t *testing.T, base string) *screen {
	t.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	s := &screen{t, http.Client{Jar: jar}, base}
	if code, _ := s.ask("GET", "", ""); code != 200 {
		t.Fatalf("the page: %d", code)
	}
	return s
}

// ask sends a request as the page does.
func (s *screen) ask(method, path, body string) (int, string) {
	s.t.Helper()
	r, err := http.NewRequest(method, s.base+path, strings.NewReader(body))
	if err != nil {
		s.t.Fatal(err)
	}
	if method == "POST" {
		u, _ := url.Parse(s.base)
		r.Header.Set("Origin", "http://"+u.Host)
	}
	a, err := s.c.Do(r)
	if err != nil {
		s.t.Fatal(err)
	}
	defer a.Body.Close()
	b, err := io.ReadAll(a.Body)
	if err != nil {
		s.t.Fatal(err)
	}
	return a.StatusCode, string(b)
}

func TestFilesOfAnEvening(t *testing.T) {
	base, _ := evenings(t)
	all := 0
	for _, path := range []string{"", "adjust", "evening.css", "evening.js", "evening-kit.js", "evening-day.js", "evening-sky.js", "evening-photos.js", "evening-enough.js", "evening-after.js", "evening-steps.js",
		"manifest.webmanifest", "page.css", "page.js", "palette.js", "board.js", "chart.js", "link.js", "hands.js", "sound.js", "awake.js", "icon.svg"} {
		code, h, body := ask(t, "GET", base+path)
		if code != 200 || body == "" || h.Get("Content-Type") == "" {
			t.Errorf("%q: %d, %d bytes", path, code, len(body))
		}
		if csp := h.Get("Content-Security-Policy"); !strings.Contains(csp, "default-src 'none'") || strings.Contains(csp, "unsafe") {
			t.Errorf("%q: %s", path, csp)
		}
		if plain := strings.ReplaceAll(body, "http://www.w3.org/2000/svg", ""); strings.Contains(plain, "http://") || strings.Contains(plain, "https://") || strings.Contains(body, testKey) {
			t.Errorf("%q names something outside the program, or the key", path)
		}
		if strings.HasSuffix(h.Get("Content-Type"), "html; charset=utf-8") && (strings.Contains(body, "<script>") || strings.Contains(body, "onclick=") || strings.Contains(body, "style=") || !strings.Contains(body, `data-step="adjust"`)) {
			t.Errorf("%q has scripts or styles inside, or no steps", path)
		}
		all += len(body)
	}
	// The first view on an old phone: everything there is, unpacked.
	if all > 150_000 {
		t.Errorf("%d bytes in all, 150 000 are allowed", all)
	}
}

// The report and the records come as files to keep; of a journal that cannot be read the
// page says so, and keeps no empty file.
func TestReportAndRecords(t *testing.T) {
	home := t.TempDir()
	base, _ := eveningsIn(t, home)
	s, path := open(t, base), filepath.Join(home, "journal.jsonl")
	r := journal.Record{Kind: journal.Measurement, Time: time.Date(2026, 11, 28, 20, 0, 0, 0, time.UTC), Site: journal.Site{Name: "garden", Lat: 50, Lon: 10}, Tolerance: 1, Note: "windy"}
	if err := journal.Append(path, r); err != nil {
		t.Fatal(err)
	}
	for _, what := range []string{"report", "records.csv"} {
		if code, body := s.ask("GET", "api/v1/"+what, ""); code != 200 || !strings.Contains(body, "windy") {
			t.Errorf("%s: %d %.100s", what, code, body)
		}
	}
	if err := errors.Join(os.Remove(path), os.Mkdir(path, 0o755)); err != nil {
		t.Fatal(err)
	}
	for _, what := range []string{"report", "records.csv"} {
		if code, body := s.ask("GET", "api/v1/"+what, ""); code != 400 || !strings.Contains(body, "is not a file") {
			t.Errorf("%s of a journal that is a folder: %d %.100s", what, code, body)
		}
	}
}

func TestAPI(t *testing.T) {
	base, _ := evenings(t)
	s := open(t, base)
	place := `{"text":"31°24'S 121°54'E","elev":"430m"}`
	for _, c := range []struct {
		method, path, body string
		code               int
		want               string
	}{
		{"GET", "api/v1/evening", "", 200, `"api":1`},
		{"GET", "api/v1/day", "", 400, "where the mount stands"},
		{"GET", "api/v1/sky", "", 400, "where the mount stands"},
		{"GET", "api/v1/point?field=2x2", "", 400, "where the mount stands"},
		{"POST", "api/v1/place", place, 200, "{}"},
		{"GET", "api/v1/evening", "", 200, "Southern hemisphere: the axis will point SOUTH, 31 degrees up."},
		{"GET", "api/v1/evening", "", 200, `"controls":"you"`},
		{"GET", "api/v1/day?date=2026-11-28", "", 200, `"altitude_deg":31.4`},
		{"GET", "api/v1/day?date=today", "", 400, "is not a date"},
		{"GET", "api/v1/sky?at=2026-11-28T13:00:00Z", "", 200, `"south":true`},
		{"GET", "api/v1/point?field=2.1x1.4&at=2026-11-28T13:30:00Z", "", 200, `"suggestions":[{`},
		{"GET", "api/v1/point?field=2.1", "", 400, "two sizes"},
		{"POST", "api/v1/blocks", `{"drawn":[[0,10],[90,40],[180,10]]}`, 200, "{}"},
		{"POST", "api/v1/blocks", `{"text":"80 140 35"}`, 200, "{}"},
		{"POST", "api/v1/blocks", `{"text":"80 140"}`, 400, "2 numbers instead of 3"},
		{"POST", "api/v1/place", `{"text":"nowhere"}`, 400, `"hint":"latitude, then longitude`},
		{"POST", "api/v1/place", `{"text":"` + strings.Repeat("9", 200) + `"}`, 400, "limit is 100"},
		{"POST", "api/v1/place", `{"lat_deg":-91,"lon_deg":0}`, 400, "90"},
		{"POST", "api/v1/place", `{"site":"garden"}`, 400, "no site called"},
		{"POST", "api/v1/place", `not json`, 400, "cannot be read"},
		{"POST", "api/v1/place", `{"nonsense":1}`, 400, "unknown field"},
		{"POST", "api/v1/gear", `{"kind":"camera","name":"long","values":{"focal_mm":"400","pixel_um":"3.76","exposure_s":"180"}}`, 200, "{}"},
		{"POST", "api/v1/gear", `{"kind":"camera","name":"x","values":{"focal_mm":"-400"}}`, 400, "outside 1 to 100000"},
		{"POST", "api/v1/use", `{"camera":"long"}`, 200, "{}"},
		{"POST", "api/v1/use", `{"camera":"short"}`, 400, "there is: long"},
		{"POST", "api/v1/tolerance", `{"text":"-1"}`, 400, "tolerance"},
		{"POST", "api/v1/zone", `{"zone":"+02:00"}`, 200, "{}"},
		{"POST", "api/v1/zone", `{"zone":"Atlantis"}`, 400, "not known"},
		{"POST", "api/v1/follow", `{"on":true}`, 200, "{}"},
		{"POST", "api/v1/turn", `{"exposure_s":2,"frames":3,"turn_deg":46}`, 400, "outside 0.5 to 45"},
		{"POST", "api/v1/turn", `{"exposure_s":2,"frames":5,"turn_deg":40}`, 400, "limit of 90 degrees in all"},
		{"POST", "api/v1/turn", `{"exposure_s":2,"frames":3,"turn_deg":20}`, 400, "has no address"},
		{"POST", "api/v1/learnt", `{"photograph":"x","on":true}`, 404, "no photograph"},
		{"GET", "api/v1/gear", "", 200, `"long"`},
		{"GET", "api/v1/targets", "", 200, `M 42`},
		{"GET", "api/v1/targets?search=ngc%20253", "", 200, `["NGC 253, Sculptor Galaxy","NGC 2532, galaxy"`},
		{"GET", "api/v1/targets?search=%3C%3E", "", 200, `[]`},
		{"GET", "api/v1/enough?target=NGC%206", "", 400, "not in the list"},
		{"GET", "api/v1/phone", "", 200, `[]`},
		{"GET", "api/v1/enough?target=Canopus", "", 200, `"allowed_worst_arcmin"`},
		{"GET", "api/v1/enough?focal=none", "", 400, "focal length"},
		{"GET", "api/v1/record", "", 200, `"evenings":[]`},
		{"GET", "api/v1/report", "", 404, "journal is empty"},
		{"GET", "api/v1/records.csv", "", 200, "time_utc"},
		{"POST", "api/v1/measure", `{"photographs":["a"],"anew":true}`, 400, "at least 2"},
		{"POST", "api/v1/measure", `{"photographs":["a","b"],"anew":true}`, 404, "no photograph is called a"},
		{"POST", "api/v1/forget", `{"photograph":"../evening.json"}`, 404, "no photograph"},
		{"GET", "api/v1/picture?name=../evening.json", "", 404, "no photograph"},
		{"GET", "api/v1/marks?name=a", "", 404, "no photograph"},
		{"GET", "api/v1/secrets", "", 404, "no such thing"},
		{"GET", "api/v2/evening", "", 404, ""},
		{"GET", "api/v1/measure", "", 404, "no such thing"},
		{"POST", "api/v1/photographs?name=a.jpg", "", 400, "is empty"},
		{"POST", "api/v1/photographs?name=../../a.txt&modified=1700000000000", "hello", 200, `"name":"a.txt"`},
		{"POST", "api/v1/photographs?name=b.txt", "hello", 200, `"name":"a.txt"`},
		{"POST", "api/v1/forget", `{"photograph":"a.txt"}`, 200, "{}"},
		{"POST", "api/v1/place-photo?name=x.jpg", "no picture", 400, "x.jpg"},
	} {
		code, body := s.ask(c.method, c.path, c.body)
		if code != c.code || !strings.Contains(body, c.want) {
			t.Errorf("%s %s %s: %d %s, want %d with %q", c.method, c.path, c.body, code, body, c.code, c.want)
		}
		if code >= 400 && strings.HasPrefix(c.path, "api/v1/") && !strings.Contains(body, `"hint":"`) {
			t.Errorf("%s %s: an error without a hint: %s", c.method, c.path, body)
		}
	}
}

// One screen is at the controls; others look on, until they take them.
func TestControls(t *testing.T) {
	base, _ := evenings(t)
	a, b := open(t, base), open(t, base)
	place := `{"text":"10, 20"}`
	says := func(s *screen, want string) {
		t.Helper()
		if _, body := s.ask("GET", "api/v1/evening", ""); !strings.Contains(body, `"controls":"`+want+`"`) {
			t.Errorf("controls: %s, want %s", body[max(0, len(body)-60):], want)
		}
	}
	says(a, "free")
	if code, _ := a.ask("POST", "api/v1/place", place); code != 200 {
		t.Errorf("the first: %d", code)
	}
	says(a, "you")
	says(b, "other")
	for _, path := range []string{"api/v1/place", "api/v1/photographs?name=x", "api/v1/place-photo?name=x", "do/fresh"} {
		if code, body := b.ask("POST", path, map[bool]string{true: "", false: place}[path == "do/fresh"]); code != http.StatusConflict || !strings.Contains(body, "controls") {
			t.Errorf("%s of who looks on: %d %s", path, code, body)
		}
	}
	// Who looks on does not consent to a turn, nor does who is nobody, nor who could have
	// the controls but has not.
	for who, s := range map[string]*screen{"looks on": b, "nobody": {t, http.Client{}, base}} {
		if code, body := s.ask("POST", "do/agree?v=1", ""); code != http.StatusConflict || !strings.Contains(body, "controls first") {
			t.Errorf("consent of who %s: %d %s", who, code, body)
		}
	}
	if code, body := a.ask("POST", "do/agree?v=1", ""); code != 204 {
		t.Errorf("consent of who has the controls: %d %s", code, body)
	}
	free, _ := evenings(t)
	if code, _ := open(t, free).ask("POST", "do/agree?v=1", ""); code != http.StatusConflict {
		t.Errorf("consent while nobody has the controls: %d", code)
	}
	if code, body := b.ask("POST", "do/stop", ""); code != 204 {
		t.Errorf("who looks on cannot stop the mount: %d %s", code, body)
	}
	if code, _ := b.ask("GET", "api/v1/day", ""); code != 200 {
		t.Errorf("looking on: %d", code)
	}
	if code, _ := b.ask("POST", "api/v1/controls", "{}"); code != 200 {
		t.Errorf("taking the controls: %d", code)
	}
	says(a, "other")
	if code, _ := a.ask("POST", "api/v1/place", place); code != http.StatusConflict {
		t.Errorf("the first, after: %d", code)
	}
	if code, _ := b.ask("POST", "do/fresh", ""); code != 204 {
		t.Errorf("an action of who has them: %d", code)
	}
}

// Who left the page gives the controls back after a while.
func TestControlsAreFreed(t *testing.T) {
	now := time.Now()
	c := newControls(func() time.Time { return now }, func() {})
	if c.mineOf("a") != nil || c.mineOf("b") == nil {
		t.Fatal("the first has them")
	}
	c.enter("a", 1)
	now = now.Add(time.Hour)
	if c.mineOf("b") == nil {
		t.Error("taken from one whose page is open")
	}
	c.enter("a", -1)
	now = now.Add(leave / 2)
	if c.mineOf("b") == nil {
		t.Error("taken from one who is gone for a moment")
	}
	now = now.Add(leave)
	if err := c.mineOf("b"); err != nil {
		t.Errorf("still with one who left: %v", err)
	}
}

// A body is refused wherever it has no business, and one of no stated length
// everywhere.
func TestBodies(t *testing.T) {
	base, _ := evenings(t)
	plain, _, _ := serve(t, Options{})
	s := open(t, base)
	u, _ := url.Parse(base)
	for _, path := range []string{"do/fresh", "", "page.js"} {
		if code, _ := s.ask("POST", path, "body"); code != http.StatusForbidden {
			t.Errorf("a body for %q: %d", path, code)
		}
	}
	if code, _, _ := ask(t, "GET", plain.Links()[0]+"api/v1/evening"); code != 404 {
		t.Errorf("the API without an evening: %d", code)
	}
	r, _ := http.NewRequest("POST", base+"api/v1/place", io.MultiReader(strings.NewReader(`{}`)))
	r.Header.Set("Origin", "http://"+u.Host)
	if a, err := s.c.Do(r); err != nil || a.StatusCode != http.StatusForbidden {
		t.Errorf("a body of no stated length: %v %v", a, err)
	}
	// One that promises gigabytes is refused before any is read.
	c, err := net.Dial("tcp", u.Host)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	fmt.Fprintf(c, "POST %sapi/v1/photographs?name=x HTTP/1.1\r\nHost: %s\r\nOrigin: http://%s\r\nContent-Length: 99999999999\r\n\r\n", u.Path, u.Host, u.Host)
	_ = c.SetReadDeadline(time.Now().Add(10 * time.Second))
	b := make([]byte, 200)
	if n, _ := c.Read(b); !strings.Contains(string(b[:n]), "413") {
		t.Errorf("gigabytes: %s", b)
	}
	if code, body := s.ask("POST", "api/v1/place", `{"text":"`+strings.Repeat("x", mostJSON)+`"}`); code != http.StatusBadRequest && code != http.StatusRequestEntityTooLarge || !strings.Contains(body, "hint") {
		t.Errorf("a long order: %d %s", code, body)
	}
}

// A ticket opens the page once, and soon.
func TestTicket(t *testing.T) {
	now := time.Now()
	s, base, _ := serve(t, Options{Now: func() time.Time { return now }})
	follow := func(link string) int {
		t.Helper()
		code, h, _ := ask(t, "GET", link)
		if code == http.StatusSeeOther && "http://127.0.0.1:"+s.guard.port+h.Get("Location") != base {
			t.Errorf("it leads to %s", h.Get("Location"))
		}
		return code
	}
	one := s.Ticket()
	if strings.Contains(one, testKey) {
		t.Fatal("a ticket holds the key")
	}
	two := s.Ticket()
	if c := follow(one); c != http.StatusForbidden {
		t.Errorf("one that was given anew: %d", c)
	}
	if c := follow(two); c != http.StatusSeeOther {
		t.Errorf("the ticket: %d", c)
	}
	if c := follow(two); c != http.StatusForbidden {
		t.Errorf("the second time: %d", c)
	}
	late := s.Ticket()
	now = now.Add(ticketLasts + time.Second)
	if c := follow(late); c != http.StatusForbidden {
		t.Errorf("too late: %d", c)
	}
	if c, _, _ := ask(t, "GET", s.Ticket(), "Host: rebound.example:"+s.guard.port); c != http.StatusForbidden {
		t.Errorf("by another name: %d", c)
	}
	if c, _, _ := ask(t, "GET", "http://127.0.0.1:"+s.guard.port+"/"); c != http.StatusForbidden {
		t.Errorf("with nothing: %d", c)
	}
}

// The code of an address has the three corners of a QR code (ISO/IEC 18004), and is
// read as drawn by the library that made it.
func TestCode(t *testing.T) {
	c, err := codeOf("http://192.168.1.20:7410/" + testKey + "/")
	if err != nil || len(c.Rows) < 25 || len(c.Rows) != len(c.Rows[0]) {
		t.Fatalf("%v, %d rows", err, len(c.Rows))
	}
	n := len(c.Rows)
	for _, at := range []string{c.Rows[0][:7], c.Rows[0][n-7:], c.Rows[n-1][:7]} {
		if at != "1111111" {
			t.Errorf("a corner begins with %s", at)
		}
	}
}

// A hundred uploads at once, while some break off: each that was told to be there is, and
// whole.
func TestManyUploads(t *testing.T) {
	base, e := evenings(t)
	s := open(t, base)
	u, _ := url.Parse(base)
	cookie := s.c.Jar.Cookies(u)[0]
	if code, _ := s.ask("POST", "api/v1/follow", `{"on":false}`); code != 200 {
		t.Fatal("the controls are not taken")
	}
	var wg sync.WaitGroup
	for range 10 {
		wg.Go(func() {
			c, err := net.Dial("tcp", u.Host)
			if err != nil {
				t.Error(err)
				return
			}
			defer c.Close()
			fmt.Fprintf(c, "POST %sapi/v1/photographs?name=broken.txt HTTP/1.1\r\nHost: %s\r\nOrigin: http://%s\r\nCookie: %s\r\nContent-Length: 100000\r\n\r\nhalf of it", u.Path, u.Host, u.Host, cookie)
		})
	}
	for i := range 100 {
		wg.Go(func() {
			if code, body := s.ask("POST", fmt.Sprintf("api/v1/photographs?name=same.txt&i=%d", i), strings.Repeat(fmt.Sprint(i, " "), 10000)); code != 200 {
				t.Errorf("upload %d: %d %s", i, code, body)
			}
		})
	}
	wg.Wait()
	names := map[string]bool{}
	for _, p := range e.Summary().Photographs {
		if names[p.Name] = true; p.Name == "broken.txt" || p.Size < 20000 || p.Size > 30000 {
			t.Errorf("%s of %d bytes", p.Name, p.Size)
		}
	}
	if len(names) != 100 {
		t.Errorf("%d of 100 are there", len(names))
	}
}

// The position of a phone's photograph, from its EXIF.
func TestPlaceFromPhoto(t *testing.T) {
	base, e := evenings(t)
	s := open(t, base)
	code, body := s.ask("POST", "api/v1/place-photo?name=tripod.jpg", string(phonePhoto(t)))
	if code != 200 {
		t.Fatalf("%d %s", code, body)
	}
	p := e.Summary().Place
	if p == nil || fmt.Sprintf("%.4f %.4f %.0f", p.Lat, p.Lon, p.Elev) != "-31.4000 121.9000 430" || p.Source != "photograph tripod.jpg" {
		t.Errorf("%+v", p)
	}
	if code, body := s.ask("POST", "api/v1/place-photo?name=bare.jpg", string(bareJPEG(t))); code != 400 || !strings.Contains(body, "does not say where") {
		t.Errorf("one that does not say where: %d %s", code, body)
	}
}

func bareJPEG(t *testing.T) []byte {
	t.Helper()
	im := image.NewGray(image.Rect(0, 0, 64, 48))
	for i := range im.Pix {
		im.Pix[i] = color.Gray{uint8(i % 251)}.Y
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, im, nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// phonePhoto is a JPEG whose EXIF says 31°24'S 121°54'E, 430 m (EXIF 2.3, section
// 4.6.6: GPS attributes; TIFF 6.0 for the rest).
func phonePhoto(t *testing.T) []byte {
	t.Helper()
	const ifd0, gps = 8, 8 + 2 + 12 + 4
	var x bytes.Buffer
	le16 := func(v int) { x.Write([]byte{byte(v), byte(v >> 8)}) }
	le32 := func(v int) { le16(v & 0xffff); le16(v >> 16) }
	entry := func(tag, kind, n, v int) { le16(tag); le16(kind); le32(n); le32(v) }
	x.WriteString("II*\x00")
	le32(ifd0)
	le16(1)
	entry(0x8825, 4, 1, gps)
	le32(0)
	const data = gps + 2 + 6*12 + 4
	le16(6)
	entry(1, 2, 2, 'S')
	entry(2, 5, 3, data)
	entry(3, 2, 2, 'E')
	entry(4, 5, 3, data+24)
	entry(5, 1, 1, 0)
	entry(6, 5, 1, data+48)
	le32(0)
	for _, r := range [][2]int{{31, 1}, {24, 1}, {0, 1}, {121, 1}, {54, 1}, {0, 1}, {430, 1}} {
		le32(r[0])
		le32(r[1])
	}
	body := append([]byte("Exif\x00\x00"), x.Bytes()...)
	n := len(body) + 2
	bare := bareJPEG(t)
	out := append([]byte{}, bare[:2]...)
	out = append(out, 0xff, 0xe1, byte(n>>8), byte(n))
	out = append(out, body...)
	return append(out, bare[2:]...)
}

// The version on the stream is that of GET evening or goes on from it, and an
// update of live is small on its way.
func TestEveningOnTheStream(t *testing.T) {
	base, _ := evenings(t)
	s := open(t, base)
	r, err := http.NewRequest("GET", base+"events", nil)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Accept-Encoding", "gzip")
	a, err := s.c.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer a.Body.Close()
	if a.Header.Get("Content-Encoding") != "gzip" {
		t.Fatal("the stream is not packed")
	}
	first := make([]byte, 16<<10)
	n, err := a.Body.Read(first)
	if err != nil || n > 2000 {
		t.Errorf("the first state takes %d bytes, %v", n, err)
	}
	if code, _ := s.ask("POST", "api/v1/follow", `{"on":true}`); code != 200 {
		t.Error(code)
	}
	if _, body := s.ask("GET", "api/v1/evening", ""); !strings.Contains(body, `"following":true`) {
		t.Error(body)
	}
}

// A state as large as they come is small on its way, once one like it has gone.
func TestUpdatesAreSmall(t *testing.T) {
	s, base, _ := serve(t, Options{Beat: time.Hour})
	big := State{Next: "Altitude: raise the axis by 48.5', then wait for a frame.", Offset: &Parts{}, Sigma: &Parts{}}
	for i := range mostMarks {
		big.Marks = append(big.Marks, [2]float64{float64(i*37%1280) + 0.3, float64(i*71%960) + 0.7})
	}
	for i := range 240 {
		big.Trail = append(big.Trail, Point{48.537889158972845 - float64(i)*0.13713, 16.538627715937434 - float64(i)*0.0711})
	}
	s.Show(big, true)
	r, _ := http.NewRequest("GET", base+"events", nil)
	r.Header.Set("Accept-Encoding", "gzip")
	a, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer a.Body.Close()
	count := func() int {
		total, b := 0, make([]byte, 64<<10)
		for quiet := false; !quiet; {
			got := make(chan int, 1)
			go func() { n, _ := a.Body.Read(b); got <- n }()
			select {
			case n := <-got:
				total += n
			case <-time.After(300 * time.Millisecond):
				quiet = true
				s.Show(big, false) // lets the reader that waits end
				total += 0 * <-got
			}
		}
		return total
	}
	count()
	// The next frame: other marks, one more point, other numbers.
	for i := range big.Marks {
		big.Marks[i][0] += 1.4
		big.Marks[i][1] -= 0.9
	}
	big.Trail = append(big.Trail[1:], Point{12.345678901234567, 3.4567890123456789})
	big.Seq, big.OffBy = 7, "12.8'"
	s.Show(big, true)
	if n := count(); n > 2000 || n == 0 {
		t.Errorf("an update takes %d bytes, 2000 are allowed", n)
	} else {
		t.Logf("an update takes %d bytes", n)
	}
	b, _ := json.Marshal(big)
	t.Logf("unpacked %d", len(b))
}
