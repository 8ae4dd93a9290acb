package main

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// slowly makes what the page asks for arrive late, as over a phone's network, and notes
// where everything that can be pressed stood when it was first drawn, if it was in sight. The sum of layout
// shifts is what the browser says (Layout Instability, W3C).
const slowly = `
window.shifts = [];
new PerformanceObserver((list) => { for (const e of list.getEntries()) shifts.push([e.value, ...e.sources.map((s) => (s.node && (s.node.id || s.node.className || s.node.nodeName)) + " " + Math.round(s.previousRect.top) + ">" + Math.round(s.currentRect.top))]); }).observe({ type: "layout-shift", buffered: true });
const soon = window.fetch;
window.fetch = (...a) => new Promise((go) => setTimeout(go, 400)).then(() => soon(...a));
const first = {};
const can = () => [...document.querySelectorAll("button[id], input[id], select, summary, a.file, label.file, canvas[tabindex]")].filter((e) => e.offsetParent && !e.closest("#steps"));
const called = (e) => e.id || (e.previousElementSibling || e).textContent || e.textContent;
const top1 = (e) => Math.round(e.getBoundingClientRect().top + scrollY);
(function look() { for (const e of can()) first[called(e)] ??= top1(e); requestAnimationFrame(look); })();
window.moved = () => can().filter((e) => first[called(e)] < innerHeight && Math.abs(first[called(e)] - top1(e)) > 2).map((e) => called(e) + " " + first[called(e)] + ">" + top1(e));
`

// What can be pressed stays where it was first drawn, on every step and every phone,
// while what the computer says arrives: a finger on its way must not go astray.
func TestNothingMovesUnderTheFinger(t *testing.T) {
	if !*long {
		t.Skip("starts a browser: -long")
	}
	t.Parallel()
	browser := needBrowser(t)
	paths, place := invented(t, 3, true)
	p := launchApart(t, t.TempDir(), "evening", "--port", "0", "--no-browser")
	link := p.link(t)
	sayPlace(t, link, place)
	for _, path := range paths {
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		post(t, link, "photographs?name="+filepath.Base(path), string(b))
	}
	b := openBrowser(t, browser)
	b.do(func(ctx context.Context, t *chromedp.Target) (none chromedp.Void, err error) {
		_, err = cdp.Call(ctx, t, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: slowly})
		return none, err
	})
	b.do(chromedp.Navigate(link + "#day"))
	b.until("document.body.dataset.link === 'good'", 10*time.Second)
	settled := map[string]string{
		"day":    "document.getElementById('day-altitude') && document.querySelector('#gear summary')",
		"point":  "document.querySelector('#sky-words p')",
		"photos": fmt.Sprintf("document.querySelectorAll('#shots [data-state=ready]').length === %d && document.querySelector('figure canvas').offsetParent", len(paths)),
		"enough": "document.getElementById('ask-enough')",
		"after":  "document.querySelector('#evenings p')",
		"adjust": "document.body.dataset.seq",
	}
	for _, size := range []string{"small", "phone", "side"} {
		b.do(chromedp.EmulateViewport(sizes[size][0], sizes[size][1]))
		for step, ok := range settled {
			to := link + "#" + step
			if step == "adjust" {
				to = link + step
			}
			b.do(chromedp.Navigate("about:blank"), chromedp.Navigate(to))
			b.until("document.body.dataset.link === 'good' && ("+ok+")", 20*time.Second)
			b.do(chromedp.Sleep(900 * time.Millisecond))
			if moved := js[[]string](b, "moved()"); len(moved) > 0 {
				t.Errorf("%s, %s: moved: %s", step, size, strings.Join(moved, ", "))
			}
			// A tenth is called good (Web Vitals); half of it for an eye in the dark.
			if sum := js[float64](b, "shifts.reduce((s, x) => s + x[0], 0)"); sum > 0.05 {
				t.Errorf("%s, %s: layout shift %.3f: %s", step, size, sum, js[string](b, "JSON.stringify(shifts)"))
			}
		}
	}
	b.keysStay(link)
}

// keysStay tells the page of the adjustment one thing after another: its keys stay.
func (b *tab) keysStay(link string) {
	b.t.Helper()
	b.do(chromedp.Navigate("about:blank"), chromedp.Navigate(link+"adjust"))
	b.until("document.body.dataset.seq", 20*time.Second)
	for _, size := range []string{"small", "phone"} {
		b.do(chromedp.EmulateViewport(sizes[size][0], sizes[size][1]), chromedp.Sleep(300*time.Millisecond))
		if moved := js[string](b, `(() => {
			const keys = () => ["fresh", "less", "more", "sound", "palette"].map((id) => document.getElementById(id).getBoundingClientRect().top).join(" ");
			const far = [{ adjuster: "altitude", direction: "raise", arcmin: 48.5, amount: "48.5", hand: "altitude: raise the axis by 48.5'" }, { adjuster: "azimuth", direction: "clockwise", arcmin: 18.5, amount: "18.5", hand: "azimuth: turn the head 18.5' to the right" }];
			const good = { ...state, offset_arcmin: { alt: -48.5, az_sky: -16, az_knob: -18.5, total: 51.3 }, moves: far, off_by: "51.3'", off_plus: "± 2.5\"", next: "Altitude: raise the axis by 48.5', then wait for a frame." };
			const said = {
				nothing: { ...state, next: "Photograph any patch of clear sky." },
				lost: { ...good, old: true, since: "frame-03.fits", frame: "frame-04.fits", solved: false, brief: "not recognised: cloud, trees or lamps?", reason: "x".repeat(200), next: "Wait for a frame that can be used. Not recognised: cloud, trees or lamps?" },
				done: { ...good, within_tolerance: true, moves: far.map((m) => ({ ...m, amount: "0.10", done: true })), off_by: "0.10'", next: "Done: within the tolerance. Lock both adjusters gently and look at one more frame." },
			};
			take(good);
			const before = keys(), out = [];
			for (const [name, s] of Object.entries(said)) { take(s); if (keys() !== before) out.push(name + ": " + before + " > " + keys()); }
			return out.join("; ");
		})()`); moved != "" {
			b.t.Errorf("%s: the keys move: %s", size, moved)
		}
	}
}

// post has the evening do something.
func post(t *testing.T, link, path, body string) {
	t.Helper()
	u, err := url.Parse(link)
	if err != nil {
		t.Fatal(err)
	}
	r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, link+"api/v1/"+path, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Origin", "http://"+u.Host)
	a, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer a.Body.Close()
	if a.StatusCode != http.StatusOK {
		var said struct{ Error, Hint string }
		_ = json.NewDecoder(a.Body).Decode(&said)
		t.Fatalf("%s: %s %+v", path, a.Status, said)
	}
}

func sayPlace(t *testing.T, link, place string) {
	t.Helper()
	text, err := json.Marshal(map[string]string{"text": place})
	if err != nil {
		t.Fatal(err)
	}
	post(t, link, "place", string(text))
}
