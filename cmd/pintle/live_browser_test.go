package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"image"
	"image/png"
	"io"
	"net"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"pintle/cmd/pintle/terminal"
	"pintle/cmd/pintle/verb"
	"pintle/cmd/pintle/words"
	"pintle/index/sphere"
)

// needBrowser finds a browser, or skips.
func needBrowser(t *testing.T) string {
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome", "chrome"} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	t.Skip("no Chromium found: install it (Debian: apt-get install chromium) to test the page")
	return ""
}

// sharedNight is the folder of a shared night, or skips.
func sharedNight(t *testing.T, name string) string {
	dir := filepath.Join("..", "..", "..", "shared", "nights", name)
	if _, err := os.Stat(dir); err != nil {
		t.Skip("the shared nights are not here: ", err)
	}
	return dir
}

// artefacts is where screenshots go to be looked at.
func artefacts(t *testing.T) string {
	dir := filepath.Join("..", "..", ".artefacts")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	return dir
}

// program is the program running in this process, or in one of its own.
type program struct {
	lines  chan terminal.LiveLine
	stderr *tail
	stop   context.CancelFunc
	done   chan int
}

// tail keeps what was written.
type tail struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (w *tail) Write(p []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.b.Write(p)
}

func (w *tail) String() string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.b.String()
}

func launch(t *testing.T, args ...string) *program {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	out, in := io.Pipe()
	p := &program{lines: make(chan terminal.LiveLine, 100), stderr: &tail{}, stop: cancel, done: make(chan int, 1)}
	go func() {
		p.done <- verb.Run(ctx, args, in, p.stderr)
		in.Close()
	}()
	go func() {
		d := json.NewDecoder(out)
		for {
			var j terminal.LiveLine
			if d.Decode(&j) != nil {
				close(p.lines)
				return
			}
			p.lines <- j
		}
	}()
	t.Cleanup(func() { p.end(t) })
	return p
}

// launchApart is launch in a process and with a home of its own.
func launchApart(t *testing.T, home string, args ...string) *program {
	t.Helper()
	cmd := apart(t, home, args...)
	p := &program{stderr: &tail{}, done: make(chan int, 1)}
	cmd.Stderr = p.stderr
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	p.stop = func() {
		if cmd.Process.Signal(os.Interrupt) != nil { // no such signal there
			_ = cmd.Process.Kill()
		}
	}
	go func() { _ = cmd.Wait(); p.done <- cmd.ProcessState.ExitCode() }()
	t.Cleanup(func() { p.end(t) })
	return p
}

// end stops the program; the second time it does nothing.
func (p *program) end(t *testing.T) {
	t.Helper()
	if p.done == nil {
		return
	}
	p.stop()
	select {
	case <-p.done:
	case <-time.After(20 * time.Second):
		t.Error("the program does not end")
	}
	p.done = nil
}

// link waits for the address of the page.
func (p *program) link(t *testing.T) string {
	t.Helper()
	for range 500 {
		for _, l := range strings.Split(p.stderr.String(), "\n") {
			if s, ok := strings.CutPrefix(l, "page: "); ok {
				return s
			}
		}
		time.Sleep(20 * time.Millisecond)
	}
	t.Fatalf("no address of the page; stderr:\n%s", p.stderr)
	return ""
}

// line waits for the next line of JSON. The first frame may have to wait for an
// index to be built.
func (p *program) line(t *testing.T) terminal.LiveLine {
	t.Helper()
	select {
	case j, ok := <-p.lines:
		if !ok {
			t.Fatalf("the program ended; stderr:\n%s", p.stderr)
		}
		return j
	case <-time.After(5 * time.Minute):
		t.Fatalf("no line within 5 min; stderr:\n%s", p.stderr)
	}
	return terminal.LiveLine{}
}

// drop puts a frame into the folder as a camera program might.
func drop(t *testing.T, from, dir string) {
	t.Helper()
	b, err := os.ReadFile(from)
	if err != nil {
		t.Fatal(err)
	}
	tmp := filepath.Join(dir, ".making")
	if err := os.WriteFile(tmp, b, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(tmp, filepath.Join(dir, filepath.Base(from))); err != nil {
		t.Fatal(err)
	}
}

// tab is a page in the browser.
type tab struct {
	t   *testing.T
	ctx context.Context
}

func openBrowser(t *testing.T, path string) *tab {
	t.Helper()
	opts := []chromedp.ExecAllocatorOption{
		chromedp.ExecPath(path), chromedp.UserDataDir(t.TempDir()), chromedp.NoFirstRun, chromedp.NoDefaultBrowserCheck, chromedp.NoSandbox,
		chromedp.Flag("headless", true), chromedp.Flag("disable-gpu", true), chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true), chromedp.Flag("hide-scrollbars", true),
		chromedp.WSURLReadTimeout(time.Minute),
	}
	ctx, cancel := chromedp.NewExecAllocator(context.Background(), opts...)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	if err := chromedp.Do(ctx); err != nil { // starts it
		t.Fatal(err)
	}
	return &tab{t, ctx}
}

// do runs actions, at most a minute.
func (b *tab) do(actions ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, time.Minute)
	defer cancel()
	if err := chromedp.Do(ctx, actions...); err != nil {
		b.t.Fatal(err)
	}
}

// value runs an action that gives something.
func value[T any](b *tab, a chromedp.Action[T]) T {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, time.Minute)
	defer cancel()
	v, err := chromedp.Run(ctx, a)
	if err != nil {
		b.t.Fatal(err)
	}
	return v
}

// js evaluates an expression.
func js[T any](b *tab, expr string) T {
	b.t.Helper()
	return value(b, chromedp.Evaluate[T](expr))
}

// patience is how much longer than usual a page may take: other tests run beside.
const patience = 6

// until waits for an expression to become true and returns how long it took; most is
// plenty on a machine at rest.
func (b *tab) until(expr string, most time.Duration) time.Duration {
	b.t.Helper()
	start := time.Now()
	for !b.holds(expr) {
		if time.Since(start) > patience*most {
			b.t.Fatalf("%s did not become true within %v; page says: %s", expr, patience*most, js[string](b, "document.body.innerText"))
		}
		time.Sleep(20 * time.Millisecond)
	}
	return time.Since(start)
}

// press presses what sel selects as soon as it is in sight and nothing lies over it. It
// is looked for and pressed in one go: pressed by its place on the screen, it could move
// away between the look and the press.
func (b *tab) press(sel string) {
	b.t.Helper()
	expr := fmt.Sprintf(`(() => {
		const e = document.querySelector(%q);
		if (!e || e.disabled) return false;
		e.scrollIntoView({ block: "center", behavior: "instant" });
		const q = e.getBoundingClientRect();
		if (!e.contains(document.elementFromPoint(q.left + q.width / 2, q.top + q.height / 2))) return false;
		e.click();
		return true;
	})()`, sel)
	hand := true // what a page allows a hand only, as sound, it allows this
	person := func(p *runtime.EvaluateParams) { p.UserGesture = &hand }
	for start := time.Now(); !value(b, chromedp.Evaluate[bool](expr, person)); time.Sleep(20 * time.Millisecond) {
		if most := patience * 10 * time.Second; time.Since(start) > most {
			b.t.Fatalf("%s could not be pressed within %v; page says: %s", sel, most, js[string](b, "document.body.innerText"))
		}
	}
}

// holds reports whether an expression is true; on the way from page to page nothing is.
func (b *tab) holds(expr string) bool {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, time.Minute)
	defer cancel()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[bool]("!!("+expr+")"))
	if err != nil && !strings.Contains(err.Error(), "Inspected target navigated or closed") {
		b.t.Fatal(err)
	}
	return v && err == nil
}

// shoot keeps a screenshot of the whole page at a width and returns it.
func (b *tab) shoot(name string, w, h int64) []byte {
	b.t.Helper()
	b.do(chromedp.EmulateViewport(w, h), chromedp.Sleep(300*time.Millisecond))
	img := value(b, chromedp.FullScreenshot(100))
	path := filepath.Join(artefacts(b.t), name+".png")
	if err := os.WriteFile(path, img, 0o644); err != nil {
		b.t.Fatal(err)
	}
	return img
}

// onlyRed fails when a screenshot has any green or blue light, or no light at all.
func onlyRed(t *testing.T, name string, img []byte) {
	t.Helper()
	p, err := png.Decode(bytes.NewReader(img))
	if err != nil {
		t.Fatal(err)
	}
	rgba, ok := p.(*image.RGBA) // what the decoder makes of a picture without gaps
	if !ok {
		t.Fatalf("%s is a %T", name, p)
	}
	lit, other := 0, 0
	for i := 0; i < len(rgba.Pix); i += 4 {
		if rgba.Pix[i+1] > 0 || rgba.Pix[i+2] > 0 {
			other++
		}
		if rgba.Pix[i] > 100 {
			lit++
		}
	}
	if other > 0 || lit < 1000 {
		t.Errorf("%s: %d pixels with green or blue light, %d lit red", name, other, lit)
	}
}

// shows compares the page with a line of JSON.
func (b *tab) shows(j terminal.LiveLine) {
	b.t.Helper()
	for _, m := range j.Moves {
		wantAmount := strings.TrimSuffix(words.Arcminutes(sphere.Angle(m.Arcmin)*sphere.Arcminute), "'")
		b.until(fmt.Sprintf("document.getElementById('%s-amount').textContent === '%s' && document.getElementById('%s').dataset.direction === '%s'",
			m.Adjuster, wantAmount, m.Adjuster, m.Direction), 5*time.Second)
	}
	if j.Offset != nil {
		b.until(fmt.Sprintf("document.getElementById('total').textContent === %q && document.body.dataset.answer === 'now'", words.Arcminutes(sphere.Angle(j.Offset.Total)*sphere.Arcminute)), 5*time.Second)
		verdict := map[bool]string{true: "✓", false: "✗"}[j.Within]
		if len(j.Doubts) > 0 { // frames of the shared nights grow older than a year
			verdict = "?"
		}
		b.until(fmt.Sprintf("document.getElementById('verdict').textContent.startsWith('%s')", verdict), 5*time.Second)
	} else {
		b.until("document.body.dataset.answer === 'none'", 5*time.Second)
	}
}

// TestPageInBrowser turns the bolts before a real browser. Without -long the page of
// the evening, TestEveningInBrowser, stands for it.
func TestPageInBrowser(t *testing.T) {
	if testing.Short() || !*long {
		t.Skip("starts a browser, for long: -long")
	}
	browser, night := needBrowser(t), sharedNight(t, "turning-the-bolts")
	t.Parallel() // it waits for frames and for the browser most of the time
	dir, kept := t.TempDir(), filepath.Join(t.TempDir(), "journal.jsonl")
	p := launch(t, "live", dir, "--journal", kept, "--json", "--port", "0", "--alt-turn", "32", "--az-turn", "50")
	link := p.link(t)
	b := openBrowser(t, browser)
	b.do(chromedp.EmulateViewport(360, 740), chromedp.Navigate(link))
	b.until("document.body.dataset.link === 'good'", 10*time.Second)

	// A viewer that asks for the stream and never reads it.
	u, err := url.Parse(link)
	if err != nil {
		t.Fatal(err)
	}
	stalled, err := net.Dial("tcp", u.Host)
	if err != nil {
		t.Fatal(err)
	}
	defer stalled.Close()
	_ = stalled.(*net.TCPConn).SetReadBuffer(2048)
	fmt.Fprintf(stalled, "GET %sevents HTTP/1.1\r\nHost: %s\r\n\r\n", u.Path, u.Host)

	for i := 1; i <= 9; i++ {
		drop(t, filepath.Join(night, fmt.Sprintf("frame-%02d.fits", i)), dir)
		j := p.line(t)
		if !j.Solved {
			t.Fatalf("frame %d not solved: %s", i, j.Reason)
		}
		b.shows(j)
		b.until("shown > 0 && state.picture === shown", 10*time.Second)
		switch {
		case i == 1, i == 3, i == 6, i == 8, i == 9:
			for _, v := range [][2]int64{{360, 740}, {1280, 800}} {
				name := fmt.Sprintf("live-frame%d-%dx%d", i, v[0], v[1])
				onlyRed(t, name, b.shoot(name, v[0], v[1]))
				if over := js[float64](b, "document.documentElement.scrollWidth - innerWidth"); over > 0 {
					t.Errorf("%s: %g px wider than the window", name, over)
				}
			}
			b.do(chromedp.EmulateViewport(360, 740))
		}
		if i == 5 {
			// Digits 2 cm of 65 mm wide glass are read from 2 m with ease.
			if px := js[float64](b, "parseFloat(getComputedStyle(document.getElementById('altitude-amount')).fontSize)"); px < 60 {
				t.Errorf("amounts are %g px high on a phone", px)
			}
			if y := js[float64](b, "document.getElementById('sums').getBoundingClientRect().bottom"); y > 740 {
				t.Errorf("arrows and sums need %g px of a phone's 740", y)
			}
			if how := js[string](b, "document.getElementById('altitude-how').textContent"); !strings.Contains(how, "turns") {
				t.Errorf("no turns in %q", how)
			}
			if every := js[float64](b, "sound.planOf(Object.assign({}, state, {muted: false}), false).every"); (every < 140 || every > 1600) != (len(j.Doubts) > 0) {
				t.Errorf("a sound every %g ms, doubts %q", every, j.Doubts)
			}
		}
	}
	b.do(chromedp.Evaluate[chromedp.Void]("palette('day')"))
	b.shoot("live-day-360x740", 360, 740)
	b.shoot("live-day-1280x800", 1280, 800)
	b.do(chromedp.Evaluate[chromedp.Void]("palette('night')"), chromedp.EmulateViewport(360, 740))

	// What the page may ask for.
	b.press("#more")
	b.until("document.getElementById('tolerance').textContent === \"1.5'\"", 5*time.Second)

	// The server goes: said within 3 s, no figure left standing; it returns on its
	// own.
	total := js[string](b, "document.getElementById('total').textContent")
	p.end(t)
	took := b.until("document.body.dataset.link === 'lost'", 5*time.Second)
	if took > 3*time.Second {
		t.Errorf("the loss of the link was said after %v, 3 s are allowed", took)
	}
	for _, id := range []string{"altitude-amount", "azimuth-amount", "altitude-wedge", "azimuth-how", "total", "sigma", "verdict", "next"} {
		if v := js[string](b, "getComputedStyle(document.getElementById('"+id+"')).visibility"); v != "hidden" {
			t.Errorf("%s stands although the link is lost: visibility %s", id, v)
		}
	}
	onlyRed(t, "lost", b.shoot("live-lost-360x740", 360, 740))
	again := launch(t, "live", dir, "--journal", kept, "--json", "--port", u.Port(), "--resume")
	if l := again.link(t); l != link {
		t.Fatalf("the address changed from %s to %s", link, l)
	}
	took = b.until("document.body.dataset.link === 'good'", 10*time.Second)
	t.Logf("link found again %v after the restart", took)
	b.until(fmt.Sprintf("document.getElementById('total').textContent === %q", total), 5*time.Second)

	b.press("#fresh")
	b.until("document.body.dataset.answer === 'none'", 5*time.Second)

	// Without the key there is nothing to see.
	ctx, cancel := context.WithTimeout(b.ctx, time.Minute)
	defer cancel()
	if err := chromedp.Do(ctx, chromedp.Navigate("http://"+u.Host+"/")); err == nil || !strings.Contains(err.Error(), "HTTP_RESPONSE_CODE_FAILURE") {
		t.Errorf("without the key the browser gets in: %v", err)
	}
}
