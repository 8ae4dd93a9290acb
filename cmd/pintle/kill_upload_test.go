//go:build unix

package main

import (
	"encoding/json"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"pintle/cmd/pintle/evening"
)

// eveningAt is what the evening at an address says.
func eveningAt(t *testing.T, link string) (s evening.Summary) {
	t.Helper()
	a, err := http.Get(link + "api/v1/evening")
	if err != nil {
		t.Fatal(err)
	}
	defer a.Body.Close()
	if err := json.NewDecoder(a.Body).Decode(&s); err != nil {
		t.Fatal(err)
	}
	return s
}

// halfSent begins to send a photograph and stops half way, once the program has written
// that much.
func halfSent(t *testing.T, link, dir, name string, b []byte) {
	t.Helper()
	u, err := url.Parse(link)
	if err != nil {
		t.Fatal(err)
	}
	r, w := io.Pipe()
	q, err := http.NewRequestWithContext(t.Context(), http.MethodPost, link+"api/v1/photographs?name="+name, r)
	if err != nil {
		t.Fatal(err)
	}
	q.ContentLength = int64(len(b))
	q.Header.Set("Origin", "http://"+u.Host)
	t.Cleanup(func() { w.Close() })
	go func() {
		if a, err := http.DefaultClient.Do(q); err == nil {
			a.Body.Close()
		}
	}()
	go func() { _, _ = w.Write(b[:len(b)/2]) }()
	eventually(t, 20*time.Second, func() bool { return len(parts(t, dir)) == 1 && parts(t, dir)[0] > 0 })
}

// parts are the sizes of the files in the making of an evening's folder.
func parts(t *testing.T, dir string) (sizes []int64) {
	t.Helper()
	left, err := filepath.Glob(filepath.Join(dir, "photographs", ".*"))
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range left {
		if st, err := os.Stat(path); err == nil {
			sizes = append(sizes, st.Size())
		}
	}
	return sizes
}

// The program is killed while a photograph arrives: after the restart the half is no
// photograph and lies nowhere, what came before is there, and the same one can be sent.
func TestKilledWhileAPhotographArrives(t *testing.T) {
	t.Parallel()
	paths, _ := invented(t, 3, true)
	home, dir := t.TempDir(), filepath.Join(t.TempDir(), "evening")
	link, kill := beginEvening(t, home, dir, "0")
	one, err := os.ReadFile(paths[0])
	if err != nil {
		t.Fatal(err)
	}
	two, err := os.ReadFile(paths[1])
	if err != nil {
		t.Fatal(err)
	}
	post(t, link, "photographs?name=one.fits", string(one))
	halfSent(t, link, dir, "two.fits", two)
	kill()
	link, kill = beginEvening(t, home, dir, "0")
	defer kill()
	s := eveningAt(t, link)
	if len(s.Photographs) != 1 || s.Photographs[0].Name != "one.fits" || s.Trouble != nil {
		t.Errorf("after the kill: %d photographs, trouble %v", len(s.Photographs), s.Trouble)
	}
	if left := parts(t, dir); len(left) > 0 {
		t.Errorf("%d files in the making are left, of %d bytes", len(left), left)
	}
	if got, err := os.ReadFile(filepath.Join(dir, "photographs", "one.fits")); err != nil || string(got) != string(one) {
		t.Errorf("what came before is another: %v", err)
	}
	post(t, link, "photographs?name=two.fits", string(two))
	if s = eveningAt(t, link); len(s.Photographs) != 2 {
		t.Errorf("%d photographs after the same one was sent anew", len(s.Photographs))
	}
	if got, err := os.ReadFile(filepath.Join(dir, "photographs", "two.fits")); err != nil || string(got) != string(two) {
		t.Errorf("sent anew it is another: %v", err)
	}
}

// The page that was sending says so in plain words, and sends all of it once the program
// is back.
func TestKilledWhileThePageSends(t *testing.T) {
	if !*long {
		t.Skip("starts a browser: -long")
	}
	t.Parallel()
	browser := needBrowser(t)
	paths, _ := invented(t, 3, true)
	home, dir, from := t.TempDir(), filepath.Join(t.TempDir(), "evening"), t.TempDir()
	big := filepath.Join(from, "big.dat") // takes a moment to send
	if err := os.WriteFile(big, make([]byte, 96<<20), 0o600); err != nil {
		t.Fatal(err)
	}
	link, kill := beginEvening(t, home, dir, "0")
	b := openBrowser(t, browser)
	b.do(chromedp.EmulateViewport(320, 640), chromedp.Navigate(link+"#photos"))
	b.until("document.body.dataset.step === 'photos' && document.body.dataset.link === 'good'", 10*time.Second)
	b.do(chromedp.SetUploadFiles("#files", append([]string{big}, paths...)))
	eventually(t, 20*time.Second, func() bool { return len(parts(t, dir)) > 0 })
	kill()
	if left := parts(t, dir); len(left) != 1 || left[0] >= 96<<20 {
		t.Skip("the whole file had come already") // a fast disk
	}
	b.until("document.getElementById('sending').textContent.includes('sent again by itself')", 10*time.Second)
	if said := js[string](b, "document.getElementById('sending').textContent"); !strings.Contains(said, "the link broke while big.dat was sent") {
		t.Errorf("the page says %q", said)
	}
	port := strings.Split(strings.Split(link, ":")[2], "/")[0]
	again, kill := beginEvening(t, home, dir, port)
	defer kill()
	if again != link {
		t.Fatalf("the address changed from %s to %s", link, again)
	}
	eventually(t, time.Minute, func() bool { return len(eveningAt(t, link).Photographs) == len(paths)+1 })
	b.until("document.querySelectorAll('#shots > li').length === "+string(rune('0'+len(paths)+1)), 20*time.Second)
	if said := js[string](b, "document.getElementById('sending').textContent"); said != "" {
		t.Errorf("when all is sent the page still says %q", said)
	}
}
