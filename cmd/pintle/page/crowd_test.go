package page

import (
	"bufio"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"
)

// crawl opens streams that are read a byte a second, until the test ends.
func crawl(t *testing.T, base string, n int) {
	t.Helper()
	u, _ := url.Parse(base)
	stop := make(chan struct{})
	var all, opened sync.WaitGroup
	opened.Add(n)
	for range n {
		all.Go(func() {
			c, err := net.Dial("tcp", u.Host)
			if err == nil {
				_ = c.(*net.TCPConn).SetReadBuffer(2048)
				_, err = fmt.Fprintf(c, "GET %sevents HTTP/1.1\r\nHost: %s\r\nAccept-Encoding: gzip\r\n\r\n", u.Path, u.Host)
			}
			if err != nil {
				t.Error(err)
				opened.Done()
				return
			}
			defer c.Close()
			b := make([]byte, 1)
			_, _ = c.Read(b)
			opened.Done()
			for {
				select {
				case <-stop:
					return
				case <-time.After(time.Second):
					_ = c.SetReadDeadline(time.Now().Add(time.Second))
					_, _ = c.Read(b)
				}
			}
		})
	}
	opened.Wait()
	t.Cleanup(func() { close(stop); all.Wait() })
}

// Fifty viewers see every last state although two hundred others read a byte a second;
// nobody who is slow holds anybody up, and the page is there for one more. That who does
// not read is dropped in the end is TestStalledViewer's.
func TestFiftyViewersAndTwoHundredSlowOnes(t *testing.T) {
	s, base, _ := serve(t, Options{Beat: time.Hour, Patience: time.Minute})
	crawl(t, base, 200)
	var ready, all sync.WaitGroup
	ready.Add(50)
	for range 50 {
		all.Go(func() {
			a, err := http.Get(base + "events")
			if err != nil {
				t.Error(err)
				ready.Done()
				return
			}
			defer a.Body.Close()
			r := bufio.NewReader(a.Body)
			event(t, r)
			ready.Done()
			for data := ""; !strings.Contains(data, `"seq":20,`); {
				_, data = event(t, r)
			}
		})
	}
	ready.Wait()
	if n := s.Viewers(); n != 250 {
		t.Errorf("%d viewers, 250 are here", n)
	}
	notes := []string{strings.Repeat("as long as they come ", 700)}
	for i := range 20 {
		s.Show(State{Seq: i + 1, Notes: notes}, true)
	}
	all.Wait()
	if code, _, body := ask(t, "GET", base); code != 200 || body == "" {
		t.Errorf("the page, for one more: %d", code)
	}
}
