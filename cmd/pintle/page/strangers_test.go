package page

import (
	"bufio"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"strings"
	"testing"
	"time"
)

// idlers opens connections to a server, over and over as they are closed, until
// the test ends. What they send is sent at once.
func idlers(t *testing.T, addr string, n int, send string) {
	t.Helper()
	stop, opened := make(chan struct{}), make(chan struct{}, n)
	ended := make(chan struct{}, n)
	for range n {
		go func() {
			defer func() { ended <- struct{}{} }()
			for first := true; ; first = false {
				c, err := net.Dial("tcp", addr)
				if err == nil {
					_, _ = io.WriteString(c, send)
				}
				if first {
					opened <- struct{}{}
				}
				if err == nil {
					closed := make(chan struct{})
					go func() { _, _ = io.Copy(io.Discard, c); close(closed) }()
					select {
					case <-closed:
					case <-stop:
					}
					c.Close()
				}
				select {
				case <-stop:
					return
				case <-time.After(time.Second):
				}
			}
		}()
	}
	for range n {
		<-opened
	}
	t.Cleanup(func() {
		close(stop)
		for range n {
			<-ended
		}
	})
}

// Five hundred connections without the key, silent, refused or half a request
// long, have no effect on a viewer: the stream goes on, and every load succeeds.
func TestStrangersDoNotShutOutViewers(t *testing.T) {
	for name, send := range map[string]string{"silent": "", "half a request": "GET / HTTP/1.1\r\nHost: ", "refused": "GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"} {
		t.Run(name, func(t *testing.T) {
			s, base, _ := serve(t, Options{})
			s.SetPicture([]byte("png"))
			u, _ := url.Parse(base)
			a, err := http.Get(base + "events")
			if err != nil {
				t.Fatal(err)
			}
			defer a.Body.Close()
			stream := bufio.NewReader(a.Body)
			event(t, stream)
			idlers(t, u.Host, 500, send)
			for i := range 20 {
				for _, path := range []string{"", "page.js", "frame.png"} {
					if code, _, _ := ask(t, "GET", base+path); code != http.StatusOK {
						t.Fatalf("load %d of %q: %d", i, path, code)
					}
				}
				s.Show(State{Seq: 100 + i}, true)
			}
			for data := ""; !strings.Contains(data, `"seq":119`); {
				_, data = event(t, stream)
			}
		})
	}
}

// A refused connection is closed at once, however the request would keep it.
func TestRefusedIsClosed(t *testing.T) {
	_, base, _ := serve(t, Options{})
	u, _ := url.Parse(base)
	for _, path := range []string{"/", "/" + strings.Repeat("a", 26) + "/", "/" + testKey} {
		c, err := net.Dial("tcp", u.Host)
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		_ = c.SetDeadline(time.Now().Add(3 * time.Second)) // an idle connection would be kept for 30
		fmt.Fprintf(c, "GET %s HTTP/1.1\r\nHost: %s\r\nConnection: keep-alive\r\n\r\n", path, u.Host)
		b, err := io.ReadAll(c)
		if err != nil || !strings.HasPrefix(string(b), "HTTP/1.1 403") {
			t.Errorf("%s: %.40q, %v; want a 403 and the end", path, b, err)
		}
	}
}

// Too many strangers: the address with the most loses its oldest; those that have
// shown the key are not counted among them.
func TestWhoMustGo(t *testing.T) {
	l := &limited{}
	from := func(host string) *slot { return &slot{of: l, from: netip.MustParseAddr(host)} }
	lone, viewer := from("192.0.2.1"), from("192.0.2.9")
	for _, s := range []*slot{lone, viewer} {
		if old := l.take(s); old != nil {
			t.Fatal("the first one must go")
		}
	}
	once, again := viewer.admit(), viewer.admit() // a second time counts no second viewer
	if !once || !again || l.viewers != 1 {
		t.Errorf("%d viewers, want 1", l.viewers)
	}
	drop := func(s *slot) { l.forget(s); s.state = closed }
	first := from("192.0.2.9")
	l.take(first)
	for range mostOfOne - 1 {
		if old := l.take(from("192.0.2.9")); old != nil {
			t.Fatal("too few for one to go")
		}
	}
	if old := l.take(from("192.0.2.9")); old != first {
		t.Error("the oldest of the address stays")
	} else {
		drop(old)
	}
	if first.admit() {
		t.Error("a closed connection is admitted")
	}
	for i := range 3 * mostStrangers {
		old := l.take(from(fmt.Sprintf("198.51.%d.%d", i/200, i%200)))
		if old == lone && i < mostOfOne {
			t.Error("a lone one goes before those of the address with many")
		}
		if old != nil {
			drop(old)
		}
	}
	if len(l.strangers) > mostStrangers {
		t.Errorf("%d strangers, the limit is %d", len(l.strangers), mostStrangers)
	}
	for range 2 * mostConns {
		s := from("192.0.2.5")
		if old := l.take(s); old != nil {
			drop(old)
		}
		s.admit()
	}
	if l.viewers != mostConns {
		t.Errorf("%d connections of viewers, the limit is %d", l.viewers, mostConns)
	}
}
