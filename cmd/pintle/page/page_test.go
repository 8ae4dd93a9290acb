package page

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"runtime"
	"strings"
	"testing"
	"time"

	"pintle/axis/place"
	"pintle/cmd/pintle/session"
)

const testKey = "abcdefghijklmnopqrstuvwxyz"

// serve starts a server; base is its address with the key.
func serve(t *testing.T, o Options) (s *Server, base string, actions chan session.Action) {
	t.Helper()
	actions = make(chan session.Action, 4)
	o.Key, o.Actions = testKey, actions
	o.Place = func(s string) (place.Site, error) { return place.Site{}, fmt.Errorf("%q is no place", s) }
	s, err := Open(o)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- s.Serve(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
	return s, s.Links()[0], actions
}

// ask sends a request with headers "Name: value"; Host is one too.
func ask(t *testing.T, method, link string, headers ...string) (int, http.Header, string) {
	t.Helper()
	r, err := http.NewRequest(method, link, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, h := range headers {
		name, value, _ := strings.Cut(h, ": ")
		if name == "Host" {
			r.Host = value
			continue
		}
		r.Header.Set(name, value)
	}
	c := http.Client{Transport: &http.Transport{DisableKeepAlives: true}, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	a, err := c.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer a.Body.Close()
	b, err := io.ReadAll(a.Body)
	if err != nil {
		t.Fatal(err)
	}
	return a.StatusCode, a.Header, string(b)
}

func TestKeyAdmits(t *testing.T) {
	_, base, _ := serve(t, Options{})
	for _, path := range []string{"", "page.css", "page.js", "chart.js", "sound.js", "hands.js", "awake.js", "icon.svg"} {
		code, h, body := ask(t, "GET", base+path)
		if code != 200 || body == "" {
			t.Errorf("%q: %d, %d bytes", path, code, len(body))
		}
		csp := h.Get("Content-Security-Policy")
		if !strings.Contains(csp, "default-src 'none'") || strings.Contains(csp, "unsafe") || h.Get("Referrer-Policy") != "no-referrer" || h.Get("X-Content-Type-Options") != "nosniff" || h.Get("Cache-Control") != "no-store" {
			t.Errorf("%q: headers %v", path, h)
		}
		if strings.Contains(body, "http://") && path != "icon.svg" || strings.Contains(body, "https://") {
			t.Errorf("%q names something outside the program", path)
		}
		if strings.Contains(body, testKey) {
			t.Errorf("%q holds the key", path)
		}
	}
	if _, _, body := ask(t, "GET", base); strings.Contains(body, "<script>") || strings.Contains(body, "onclick=") || strings.Contains(body, "style=") {
		t.Error("the page has scripts or styles inside, which its policy forbids")
	}
}

// Everything else gets one and the same 403.
func TestRefused(t *testing.T) {
	s, base, actions := serve(t, Options{})
	s.SetPicture([]byte("png"))
	u, _ := url.Parse(base)
	root := "http://" + u.Host
	own := "Origin: " + root
	for name, c := range map[string]struct {
		method, link string
		headers      []string
	}{
		"no key":               {"GET", root + "/", nil},
		"no key, a file":       {"GET", root + "/page.js", nil},
		"no key, stream":       {"GET", root + "/events", nil},
		"no key, picture":      {"GET", root + "/frame.png", nil},
		"no key, action":       {"POST", root + "/do/fresh", []string{own}},
		"wrong key":            {"GET", root + "/" + strings.Replace(testKey, "a", "b", 1) + "/", nil},
		"part of the key":      {"GET", root + "/" + testKey[:25] + "/", nil},
		"more than the key":    {"GET", root + "/" + testKey + "a/", nil},
		"key as a query":       {"GET", root + "/?" + testKey, nil},
		"key without slash":    {"GET", root + "/" + testKey, nil},
		"key in another place": {"GET", root + "/x/" + testKey + "/", nil},
		"another port":         {"GET", base, []string{"Host: 127.0.0.1:1"}},
		"no port":              {"GET", base, []string{"Host: 127.0.0.1"}},
		"another number":       {"GET", base, []string{"Host: 192.0.2.7:" + u.Port()}},
		"foreign origin":       {"GET", base + "events", []string{"Origin: http://other.example"}},
		"null origin":          {"GET", base + "events", []string{"Origin: null"}},
		"foreign script":       {"GET", base + "page.js", []string{"Sec-Fetch-Site: cross-site", "Sec-Fetch-Mode: no-cors", "Sec-Fetch-Dest: script"}},
		"foreign frame":        {"GET", base, []string{"Sec-Fetch-Site: cross-site", "Sec-Fetch-Mode: navigate", "Sec-Fetch-Dest: iframe"}},
		"action, no origin":    {"POST", base + "do/fresh", nil},
		"action, foreign":      {"POST", base + "do/fresh", []string{"Origin: http://other.example"}},
		"action, other port":   {"POST", base + "do/fresh", []string{"Origin: http://127.0.0.1:1"}},
		"action, cross-site":   {"POST", base + "do/fresh", []string{own, "Sec-Fetch-Site: cross-site"}},
		"action, same site":    {"POST", base + "do/fresh", []string{own, "Sec-Fetch-Site: same-site"}},
		"other method":         {"PUT", base, []string{own}},
		"delete":               {"DELETE", base, []string{own}},
		"options":              {"OPTIONS", base, []string{own}},
	} {
		code, h, body := ask(t, c.method, c.link, c.headers...)
		if code != http.StatusForbidden || body != "" || h.Get("Location") != "" {
			t.Errorf("%s: %d %q, want an empty 403", name, code, body)
		}
	}
	select {
	case a := <-actions:
		t.Errorf("a refused request did %v", a)
	default:
	}
}

func TestOpenedFromAMessage(t *testing.T) {
	_, base, _ := serve(t, Options{})
	if code, _, _ := ask(t, "GET", base, "Sec-Fetch-Site: cross-site", "Sec-Fetch-Mode: navigate", "Sec-Fetch-Dest: document"); code != 200 {
		t.Errorf("%d", code)
	}
}

// Who asks by a name is told what to do, with the key as without it.
func TestByName(t *testing.T) {
	_, base, _ := serve(t, Options{})
	u, _ := url.Parse(base)
	for _, host := range []string{"attic.local", "attic.local:" + u.Port(), "rebound.example:" + u.Port()} {
		for _, link := range []string{base, "http://" + u.Host + "/"} {
			code, h, body := ask(t, "GET", link, "Host: "+host)
			if code != http.StatusForbidden || !strings.Contains(body, "by number, not by name") || strings.Contains(body, testKey) || !strings.HasPrefix(h.Get("Content-Type"), "text/plain") {
				t.Errorf("%s as %s: %d %q", link, host, code, body)
			}
		}
	}
}

// Every action takes what the command line takes, and nothing else.
func TestActions(t *testing.T) {
	urgent := make(chan session.Action, 1)
	s, base, got := serve(t, Options{Urgent: func(a session.Action) bool { urgent <- a; return true }})
	s.Show(State{Simulated: true}, false)
	u, _ := url.Parse(base)
	own := "Origin: http://" + u.Host
	tried := map[session.ActionName]bool{}
	for _, c := range []struct {
		path string
		code int
		want session.Action
	}{
		{"fresh", 204, session.Action{Name: session.Fresh}},
		{"resume", 204, session.Action{Name: session.ResumeRun}},
		{"tolerance?v=1.5", 204, session.Action{Name: session.Tolerance, Value: 1.5}},
		{"tolerance?v=90%22", 204, session.Action{Name: session.Tolerance, Value: 1.5}},
		{"tolerance?v=0.01", 204, session.Action{Name: session.Tolerance, Value: 0.01}},
		{"tolerance?v=600", 204, session.Action{Name: session.Tolerance, Value: 600}},
		{"mute?v=1", 204, session.Action{Name: session.Mute, Value: 1}},
		{"mute?v=0", 204, session.Action{Name: session.Mute}},
		{"turn-ra?v=180", 204, session.Action{Name: session.HandRA, Value: 180}},
		{"turn-alt?v=-5", 204, session.Action{Name: session.HandAlt, Value: -5}},
		{"turn-az?v=600", 204, session.Action{Name: session.HandAz, Value: 600}},
		{"tracking?v=0", 204, session.Action{Name: session.Tracking}},
		{"cloud?v=1", 204, session.Action{Name: session.Cloud, Value: 1}},
		{"stop", 204, session.Action{Name: session.Stop}},
		{"go-on", 204, session.Action{Name: session.GoOn}},
		{"agree?v=3", 204, session.Action{Name: session.Agree, Value: 3}},
		{"decline?v=1", 204, session.Action{Name: session.Decline, Value: 1}},
		{"other", 404, session.Action{}},
		{"quit", 404, session.Action{}},
		{"step-tolerance?v=1", 404, session.Action{}},
	} {
		code, _, body := ask(t, "POST", base+"do/"+c.path, own)
		if code != c.code {
			t.Errorf("%s: %d %s, want %d", c.path, code, body, c.code)
		}
		if c.code == 204 {
			tried[c.want.Name] = true
			var a session.Action
			select {
			case a = <-got:
			case a = <-urgent:
			}
			if a != c.want {
				t.Errorf("%s: %+v, want %+v", c.path, a, c.want)
			}
		}
	}
	for name, what := range actions {
		if !tried[name] {
			t.Errorf("%s is not in the table", name)
		}
		if what.read == nil {
			continue
		}
		for _, v := range []string{"", "?v=", "?v=NaN", "?v=Inf", "?v=-Inf", "?v=1e9", "?v=-1e9", "?v=x", "?v=1.2.3", "?v=1,234", "?v=0x10", "?v=%00", "?v=601", "?t=1", "?v=" + strings.Repeat("9", 999)} {
			if code, _, body := ask(t, "POST", base+"do/"+string(name)+v, own); code != 400 || body == "" {
				t.Errorf("%s%.20s: %d %q, want 400 and a reason", name, v, code, body)
			}
		}
	}
	for _, v := range []string{"0", "-1", "0.009", "600.1"} {
		if code, _, _ := ask(t, "POST", base+"do/tolerance?v="+v, own); code != 400 {
			t.Errorf("tolerance %s: %d, want 400 as the command line refuses it", v, code)
		}
	}
	for _, v := range []string{"?t=nowhere", "", "?v=1", "?t=" + strings.Repeat("9", mostTyped+1)} {
		if code, _, _ := ask(t, "POST", base+"do/site"+v, own); code != 400 {
			t.Errorf("site%.20s: %d, want 400", v, code)
		}
	}
	if code, _, _ := ask(t, "GET", base+"do/fresh"); code != http.StatusMethodNotAllowed {
		t.Errorf("GET of an action: %d", code)
	}
	if len(got) > 0 {
		t.Errorf("a refused action was done: %v", <-got)
	}
	// Nobody takes them up: refused, not waited for.
	for range cap(got) {
		ask(t, "POST", base+"do/fresh", own)
	}
	if code, _, _ := ask(t, "POST", base+"do/fresh", own); code != http.StatusServiceUnavailable {
		t.Errorf("with a full queue: %d", code)
	}
	s.Show(State{}, false)
	for name, what := range actions {
		if what.rehearsed {
			if code, _, _ := ask(t, "POST", base+"do/"+string(name)+"?v=1", own); code != 404 {
				t.Errorf("%s outside a rehearsal: %d, want 404", name, code)
			}
		}
	}
}

// What is for a camera or mount goes past the queue, and is checked; a page of
// a run without them knows no such action.
func TestUrgentActions(t *testing.T) {
	got := make(chan session.Action, 10)
	_, base, actions := serve(t, Options{Urgent: func(a session.Action) bool { got <- a; return true }})
	_, without, _ := serve(t, Options{})
	own := func(base string) string {
		u, _ := url.Parse(base)
		return "Origin: http://" + u.Host
	}
	for range cap(actions) { // a loop that is busy
		ask(t, "POST", base+"do/fresh", own(base))
	}
	for _, c := range []struct {
		path string
		code int
		want session.Action
	}{
		{"do/stop", 204, session.Action{Name: session.Stop}},
		{"do/go-on", 204, session.Action{Name: session.GoOn}},
		{"do/agree?v=3", 204, session.Action{Name: session.Agree, Value: 3}},
		{"do/decline?v=1", 204, session.Action{Name: session.Decline, Value: 1}},
		{"do/agree", 400, session.Action{}},
		{"do/agree?v=0", 400, session.Action{}},
		{"do/agree?v=1.5", 400, session.Action{}},
		{"do/agree?v=NaN", 400, session.Action{}},
		{"do/agree?v=1e30", 400, session.Action{}},
	} {
		code, _, body := ask(t, "POST", base+c.path, own(base))
		if code != c.code {
			t.Errorf("%s: %d %s, want %d", c.path, code, body, c.code)
		}
		if c.code == 204 {
			if a := <-got; a != c.want {
				t.Errorf("%s: %+v, want %+v", c.path, a, c.want)
			}
		}
		if code, _, _ := ask(t, "POST", without+c.path, own(without)); code == 204 {
			t.Errorf("%s: taken by a page without devices", c.path)
		}
	}
	if code, _, _ := ask(t, "POST", base+"do/stop", "Origin: http://elsewhere.example"); code != http.StatusForbidden {
		t.Errorf("a stop from another site's page: %d", code)
	}
	if len(got) > 0 {
		t.Errorf("taken: %+v", <-got)
	}
}

// event reads the next event of a stream.
func event(t *testing.T, r *bufio.Reader) (name, data string) {
	t.Helper()
	for {
		l, err := r.ReadString('\n')
		if err != nil {
			t.Fatal(err)
		}
		l = strings.TrimSpace(l)
		switch {
		case strings.HasPrefix(l, "event: "):
			name = l[7:]
		case strings.HasPrefix(l, "data: "):
			data = l[6:]
		case l == "" && data != "":
			return name, data
		}
	}
}

// The answer of a run that goes on is as old as it was, until a frame comes.
func TestAgeOfWhatGoesOn(t *testing.T) {
	now := time.Date(2026, 11, 25, 20, 0, 0, 0, time.UTC)
	s, _, _ := serve(t, Options{Now: func() time.Time { return now }})
	for _, c := range []struct {
		resumed time.Duration // ago; 0 for none
		fresh   bool
		age     time.Duration
	}{{0, false, time.Second}, {time.Hour, false, time.Hour}, {time.Hour, true, 0}, {0, false, time.Second}} {
		now = now.Add(time.Second)
		st := State{}
		if c.resumed > 0 {
			st.Resumed = now.Add(-c.resumed)
		}
		s.Show(st, c.fresh)
		if got, _ := s.now(); got.AgeMS != c.age.Milliseconds() {
			t.Errorf("%+v: %d ms old", c, got.AgeMS)
		}
	}
}

func TestStream(t *testing.T) {
	now := time.Date(2026, 11, 25, 20, 0, 0, 0, time.UTC)
	s, base, _ := serve(t, Options{Beat: 20 * time.Millisecond, Now: func() time.Time { return now }})
	s.Show(State{Seq: 7, Next: "turn"}, true)
	now = now.Add(3 * time.Second)
	a, err := http.Get(base + "events")
	if err != nil {
		t.Fatal(err)
	}
	defer a.Body.Close()
	if k := a.Header.Get("Content-Type"); k != "text/event-stream" {
		t.Errorf("content type %s", k)
	}
	r := bufio.NewReader(a.Body)
	name, data := event(t, r)
	var st State
	if err := json.Unmarshal([]byte(data), &st); err != nil || name != "state" || st.Seq != 7 || st.AgeMS != 3000 {
		t.Fatalf("%s %s %v", name, data, err)
	}
	if name, data = event(t, r); name != "beat" || !strings.Contains(data, `"seq":7`) {
		t.Errorf("%s %s, want a sign of life", name, data)
	}
	s.Show(State{Seq: 8}, false)
	for name != "state" {
		name, data = event(t, r)
	}
	if !strings.Contains(data, `"seq":8`) {
		t.Errorf("got %s", data)
	}
}

// A viewer that does not read is dropped, and nobody waits for it.
func TestStalledViewer(t *testing.T) {
	s, base, _ := serve(t, Options{Beat: 5 * time.Millisecond, Patience: 100 * time.Millisecond})
	u, _ := url.Parse(base)
	before := runtime.NumGoroutine()
	c, err := net.Dial("tcp", u.Host)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	_ = c.(*net.TCPConn).SetReadBuffer(1024)
	fmt.Fprintf(c, "GET %sevents HTTP/1.1\r\nHost: %s\r\n\r\n", u.Path, u.Host)
	big := State{Next: strings.Repeat("x", 64<<10)}
	dropped := false
	for i := 0; i < 4000 && !dropped; i++ {
		big.Seq = i
		start := time.Now()
		s.Show(big, true)
		if took := time.Since(start); took > time.Second {
			t.Fatalf("showing took %v", took)
		}
		time.Sleep(5 * time.Millisecond)
		dropped = i > 20 && s.Viewers() == 0
	}
	if !dropped {
		t.Fatalf("%d viewers are still there", s.Viewers())
	}
	for range 200 {
		if runtime.NumGoroutine() <= before+1 {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Errorf("%d goroutines, %d before", runtime.NumGoroutine(), before)
}

func TestNotTooManyViewers(t *testing.T) {
	s, base, _ := serve(t, Options{})
	var open []*http.Response
	defer func() {
		for _, a := range open {
			a.Body.Close()
		}
	}()
	for range mostViewers {
		a, err := http.Get(base + "events")
		if err != nil {
			t.Fatal(err)
		}
		open = append(open, a)
	}
	if code, _, _ := ask(t, "GET", base+"events"); code != http.StatusServiceUnavailable || s.Viewers() != mostViewers {
		t.Errorf("one more: %d, %d viewers", code, s.Viewers())
	}
	if code, _, _ := ask(t, "GET", base); code != 200 {
		t.Errorf("the page itself: %d", code)
	}
}

func TestLongHeadersAreRefused(t *testing.T) {
	_, base, _ := serve(t, Options{})
	u, _ := url.Parse(base)
	c, err := net.Dial("tcp", u.Host)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	_ = c.SetDeadline(time.Now().Add(10 * time.Second))
	// Just over the limit, so that the answer comes before the line is cut.
	fmt.Fprintf(c, "GET %s HTTP/1.1\r\nHost: %s\r\nX-Long: %s\r\n\r\n", u.Path, u.Host, strings.Repeat("a", mostHeader+4096))
	line, _ := bufio.NewReader(c).ReadString('\n')
	if !strings.Contains(line, "431") {
		t.Errorf("answer %q, want 431", line)
	}
}

func TestPhoneHosts(t *testing.T) {
	g := &guard{key: testKey, port: "7410", phone: true}
	for host, want := range map[string]bool{
		"192.168.1.20:7410": true, "[fd00::1]:7410": true, "127.0.0.1:7410": true, "localhost:7410": true,
		"192.168.1.20": false, "rebound.example:7410": false, "192.168.1.20.example:7410": false, "0.0.0.0:7410": false, "": false,
	} {
		if got := g.fromHost(&http.Request{Host: host}); got != want {
			t.Errorf("%q: %v", host, got)
		}
	}
	g.phone = false
	if g.fromHost(&http.Request{Host: "192.168.1.20:7410"}) {
		t.Error("without --phone another address is answered")
	}
}

func TestPortTaken(t *testing.T) {
	a, err := Open(Options{Key: testKey})
	if err != nil {
		t.Fatal(err)
	}
	defer a.lis.Close()
	port := a.lis.Addr().(*net.TCPAddr).Port
	b, err := Open(Options{Key: testKey, Port: port})
	if err != nil {
		t.Fatal(err)
	}
	defer b.lis.Close()
	if got := b.lis.Addr().(*net.TCPAddr).Port; got <= port || got > port+20 {
		t.Errorf("port %d after %d was taken", got, port)
	}
	if _, err := Open(Options{Key: "short"}); err == nil {
		t.Error("a short key is taken")
	}
}

func TestQR(t *testing.T) {
	code, err := QR("http://192.168.178.20:7410/" + testKey + "/")
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSuffix(code, "\n"), "\n")
	for i, l := range lines {
		n := len([]rune(strings.TrimSuffix(strings.TrimPrefix(l, "\x1b[30;107m"), "\x1b[0m")))
		if n < 25 || n > 79 || !strings.HasSuffix(l, "\x1b[0m") {
			t.Errorf("line %d has %d columns", i+1, n)
		}
	}
	if len(lines) < 13 || len(lines) > 24 {
		t.Errorf("%d lines do not fit a terminal of 24", len(lines))
	}
	if _, err := QR(strings.Repeat("x", 5000)); err == nil {
		t.Error("too long for a code, and no error")
	}
	if !bytes.Contains([]byte(code), []byte("█")) {
		t.Error("no squares")
	}
}
