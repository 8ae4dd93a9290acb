package main

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"io"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"pintle/cmd/night"
	"pintle/cmd/pintle/page"
	"pintle/cmd/pintle/verb"
)

// invented writes the photographs of an invented night and says where it was.
func invented(t *testing.T, seed uint64, south bool) (paths []string, place string) {
	t.Helper()
	n, err := night.New(night.Random(seed, south))
	if err != nil {
		t.Fatal(err)
	}
	if paths, err = n.Write(t.TempDir()); err != nil {
		t.Fatal(err)
	}
	s := n.Spec().Site
	return paths, fmt.Sprintf("%.4f, %.4f", s.Lat.Degrees(), s.Lon.Degrees())
}

// stateOf is the session's state as the stream of events has it.
func stateOf(t *testing.T, link string) (s page.State) {
	t.Helper()
	r, err := http.Get(link + "events")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	sc := bufio.NewScanner(r.Body)
	sc.Buffer(nil, 1<<20)
	for sc.Scan() {
		if data, ok := strings.CutPrefix(sc.Text(), "data: "); ok && strings.Contains(data, `"phase"`) {
			if err := json.Unmarshal([]byte(data), &s); err != nil {
				t.Fatal(err)
			}
			return s
		}
	}
	t.Fatal("the stream says no state")
	return s
}

// sizes are those of the windows that the evening is looked at in.
var sizes = map[string][2]int64{"phone": {390, 844}, "side": {844, 390}, "small": {320, 640}, "desk": {1280, 800}}

// pictures keeps screenshots at one size, on a phone at the smallest, too, at all with
// -long; each must be red and as wide as its window.
func (b *tab) pictures(name string, back string) {
	b.t.Helper()
	for size, v := range sizes {
		if small := back == "phone" && size == "small"; !*long && size != back && !small {
			continue
		}
		name := "evening-" + name + "-" + size
		onlyRed(b.t, name, b.shoot(name, v[0], v[1]))
		if over := js[float64](b, "document.documentElement.scrollWidth - innerWidth"); over > 0 {
			b.t.Errorf("%s: %g px wider than the window", name, over)
		}
	}
	b.do(chromedp.EmulateViewport(sizes[back][0], sizes[back][1]))
	if *long || back == "phone" {
		b.accessible(name)
	}
}

// axeSource is the checker of accessibility, test-only (testdata/axe, MPL-2.0).
var axeSource = sync.OnceValue(func() string {
	f, err := os.Open(filepath.Join("testdata", "axe", "axe.min.js.gz"))
	if err != nil {
		panic(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		panic(err)
	}
	b, err := io.ReadAll(z)
	if err != nil {
		panic(err)
	}
	return string(b)
})

// accessible fails on what axe-core calls serious or critical, by night and by day.
func (b *tab) accessible(name string) {
	b.t.Helper()
	if js[bool](b, "typeof axe === 'undefined'") {
		js[bool](b, axeSource()+";true")
	}
	for _, palette := range []string{"night", "day"} {
		js[bool](b, "document.documentElement.dataset.palette = '"+palette+"'; window.found = null; axe.run({resultTypes: ['violations']}).then((r) => { window.found = JSON.stringify(r.violations.filter((v) => v.impact === 'serious' || v.impact === 'critical').map((v) => [v.id, v.nodes.map((n) => n.html.slice(0, 120) + ' ' + n.failureSummary).slice(0, 3)])); }); true")
		b.until("window.found !== null", 30*time.Second)
		if found := js[string](b, "window.found"); found != "[]" {
			b.t.Errorf("%s, %s colours: %s", name, palette, found)
		}
	}
	js[bool](b, "document.documentElement.dataset.palette = 'night'; true")
}

// pictureFolder is where the README's pictures go.
var pictureFolder = flag.String("pictures", "", "write the pictures of the README into this `folder`, below the repository's")

// readme keeps what a phone shows, in as few bytes as red light takes.
func (b *tab) readme(name string) {
	b.t.Helper()
	if *pictureFolder == "" || !strings.HasSuffix(b.t.Name(), "/south") {
		return
	}
	b.do(chromedp.EmulateViewport(390, 844), chromedp.Sleep(300*time.Millisecond))
	shot, err := png.Decode(bytes.NewReader(value(b, chromedp.CaptureScreenshot())))
	if err != nil {
		b.t.Fatal(err)
	}
	var red color.Palette
	for i := range 16 {
		red = append(red, color.RGBA{R: uint8(i * 17), A: 255})
	}
	small := image.NewPaletted(shot.Bounds(), red)
	draw.Draw(small, small.Bounds(), shot, image.Point{}, draw.Src)
	f, err := os.Create(filepath.Join("..", "..", *pictureFolder, "evening-"+name+".png"))
	if err != nil {
		b.t.Fatal(err)
	}
	err = (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(f, small)
	if err = errors.Join(err, f.Close()); err != nil {
		b.t.Fatal(err)
	}
}

// step goes to a step of the evening by its link.
func (b *tab) step(name string) {
	b.t.Helper()
	b.press("#steps [data-step=" + name + "]")
	if name == "adjust" {
		b.until("location.pathname.endsWith('/adjust') && document.body?.dataset.link === 'good'", 10*time.Second)
		return
	}
	b.until("document.body?.dataset.step === '"+name+"' && document.body.dataset.link === 'good'", 10*time.Second)
}

// fill types into a field.
func (b *tab) fill(sel, text string) {
	b.t.Helper()
	js[bool](b, fmt.Sprintf("(() => { const e = document.querySelector(%q); e.value = %q; return e.dispatchEvent(new Event('input')); })()", sel, text))
}

// TestEveningInBrowser walks the whole evening, from an empty home to a report,
// without a terminal; what it measures is what the verb axis measures, to the last
// digit.
func TestEveningInBrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("starts a browser")
	}
	t.Parallel()
	browser := needBrowser(t)
	for _, c := range []struct {
		name, size, pole string
		seed             uint64
		south            bool
	}{{"south", "phone", "SOUTH", 3, true}, {"north", "desk", "NORTH", 1, false}} {
		t.Run(c.name, func(t *testing.T) {
			if !c.south && !*long {
				t.Skip("the other hemisphere: -long")
			}
			if *long {
				t.Parallel() // a single one would wait until all other tests have begun
			}
			home := t.TempDir()
			paths, place := invented(t, c.seed, c.south)
			p := launchApart(t, home, "evening", "--port", "0", "--no-browser")
			b := openBrowser(t, browser)
			b.do(chromedp.EmulateViewport(sizes[c.size][0], sizes[c.size][1]), chromedp.Navigate(p.link(t)))
			b.evening(c.name, c.size, c.pole, place, home, paths, p)
		})
	}
}

func (b *tab) evening(name, size, pole, place, home string, paths []string, p *program) {
	t := b.t
	link := p.link(t)
	b.step("day")
	b.fill("#place-text", place)
	b.fill("#place-elev", "170 m")
	b.press("#place-say")
	b.until("document.querySelector('#place-back .back')?.textContent.includes('"+pole+"')", 10*time.Second)
	b.until("document.getElementById('day-altitude') !== null", 10*time.Second)
	b.pictures(name+"-1-day", size)
	b.readme("1-day")

	b.step("point")
	b.until("document.querySelector('#sky').height > 0", 10*time.Second)
	b.fill("#step input", "2.1x1.4")
	b.press("#plan-find")
	b.until("document.querySelectorAll('#plan li').length > 0", 20*time.Second)
	b.do(chromedp.Click("#strip"))
	b.press("#blocks-keep")
	b.until("document.querySelector('#blocks-told .good') !== null", 10*time.Second)
	b.pictures(name+"-2-point", size)
	js[bool](b, "scrollTo(0, 0) === undefined")
	b.readme("2-point")

	b.step("photos")
	b.do(chromedp.SetUploadFiles("#files", paths))
	b.until(fmt.Sprintf("document.querySelectorAll('#shots [data-state=ready]').length === %d", len(paths)), 30*time.Second)
	b.pictures(name+"-3-chosen", size)
	b.press("#measure")
	b.until("document.getElementById('next-words')?.textContent.startsWith('Off by')", 4*time.Minute)
	b.until("document.querySelectorAll('#shots [data-state=in]').length === "+fmt.Sprint(len(paths)), time.Minute)
	b.pictures(name+"-3-measured", size)
	b.readme("3-photos")
	b.equalsAxis(link, place, paths)

	b.step("adjust")
	b.until("document.body.dataset.answer === 'now'", 10*time.Second)
	b.pictures(name+"-4-adjust", size)
	b.atTheMount()
	b.do(chromedp.EmulateViewport(sizes[size][0], sizes[size][1]))
	js[bool](b, "scrollTo(0, 0) === undefined")
	b.readme("4-adjust")

	b.step("enough")
	for k, v := range map[string]string{"focal": "400", "pixel": "3.76", "exposure": "180", "width": "6248", "height": "4176", "target": "Canopus"} {
		if name == "north" && k == "target" {
			v = "M31"
		}
		b.fill("#step [name="+k+"]", v)
	}
	b.press("#ask-enough")
	b.until("document.getElementById('effect')?.textContent.includes('the axis is off by')", 20*time.Second)
	b.pictures(name+"-5-enough", size)
	js[bool](b, "document.getElementById('says').scrollIntoView() === undefined")
	b.readme("5-enough")

	b.step("after")
	b.until("document.querySelectorAll('#evenings article').length === 1", 10*time.Second)
	b.pictures(name+"-6-after", size)
	b.readme("6-after")
	js[bool](b, "(fetch(document.querySelector('a.report').href).then((r) => r.text()).then((s) => { document.body.dataset.report = s; }), true)")
	b.until("document.body.dataset.report?.includes('<svg') && document.body.dataset.report.includes('Evening of')", 10*time.Second)

	// The program goes and comes back: the evening is where it was.
	before := stateOf(t, link)
	p.end(t)
	b.until("document.body.dataset.link === 'lost'", 5*time.Second)
	port := strings.Split(strings.Split(link, ":")[2], "/")[0]
	again := launchApart(t, home, "evening", "--port", port, "--no-browser")
	if l := again.link(t); l != link {
		t.Fatalf("the address changed from %s to %s", link, l)
	}
	b.until("document.body.dataset.link === 'good'", 10*time.Second)
	if after := stateOf(t, link); after.Offset == nil || !same(*after.Offset, *before.Offset) {
		t.Errorf("after a restart the offset is %v, before %v", after.Offset, before.Offset)
	}
	b.step("photos")
	b.until(fmt.Sprintf("document.querySelectorAll('#shots [data-state=in]').length === %d", len(paths)), 10*time.Second)
}

// atTheMount looks at the page of the adjustment as who turns the bolts does.
func (b *tab) atTheMount() {
	t := b.t
	t.Helper()
	// Whatever the size of the phone: both adjusters and every key are seen, and can
	// be touched, without scrolling.
	for _, size := range []string{"phone", "side", "small"} {
		b.do(chromedp.EmulateViewport(sizes[size][0], sizes[size][1]), chromedp.Sleep(200*time.Millisecond))
		if hidden := js[string](b, `(scrollTo(0, 0), [...document.querySelectorAll(".bolt, #verdict, #reach button")].filter((e) => !e.hidden && ((r) => r.top < 0 || r.left < 0 ||
			r.right > innerWidth || !e.contains(document.elementFromPoint(r.left + r.width / 2, r.bottom - 6)))(e.getBoundingClientRect())).map((e) => e.id).join(" "))`); hidden != "" {
			t.Errorf("%s: out of reach without scrolling: %s", size, hidden)
		}
	}
	// Arrows fade with the age of their figures.
	opacity := func(seconds int) float64 {
		return js[float64](b, fmt.Sprintf("(state.age_ms = %d, got = performance.now(), render(), Number(getComputedStyle(document.getElementById('altitude-wedge').parentNode).opacity))", seconds*1000))
	}
	if now, later, old := opacity(0), opacity(30), opacity(120); !(now == 1 && later < 0.9 && old < later && old > 0.05) {
		t.Errorf("an arrow is drawn with %g, after 30 s with %g, after 120 s with %g", now, later, old)
	}
	// Over plain http a film made here keeps the screen awake, from the first touch on.
	js[bool](b, "delete Navigator.prototype.wakeLock && (keepAwake((s) => { document.body.dataset.awake = s; }), true)")
	b.until("document.body.dataset.awake.startsWith('Touch')", time.Second)
	b.press("#verdict")
	b.until("document.body.dataset.awake.startsWith('A silent film') && document.querySelector('video.awake').currentTime > 0.2 && !document.querySelector('video.awake').paused", 10*time.Second)
}

// equalsAxis holds the page's answer against that of the verb axis.
func (b *tab) equalsAxis(link, place string, paths []string) {
	b.t.Helper()
	lat, lon, _ := strings.Cut(place, ", ")
	var out, errs bytes.Buffer
	args := append([]string{"axis", "--json", "--no-journal", "--lat", lat, "--lon", lon, "--elev", "170m"}, paths...)
	if status := verb.Run(b.t.Context(), args, &out, &errs); status != 0 {
		b.t.Fatalf("axis: status %d, %s", status, errs.String())
	}
	var want struct {
		Offset page.Parts `json:"offset_arcmin"`
		Sigma  page.Parts `json:"sigma_arcmin"`
	}
	if err := json.Unmarshal(out.Bytes(), &want); err != nil {
		b.t.Fatal(err)
	}
	got := stateOf(b.t, link)
	if got.Offset == nil || !same(*got.Offset, want.Offset) || !same(*got.Sigma, want.Sigma) || want.Offset.Total == 0 {
		b.t.Errorf("offset %+v ± %+v, the verb axis says %+v ± %+v", got.Offset, got.Sigma, want.Offset, want.Sigma)
	}
}

// same compares to the last digit that means something: the verb axis itself gives
// others beyond the twelfth from run to run, as its sums go over several threads.
func same(a, b page.Parts) bool {
	near := func(x, y float64) bool { return math.Abs(x-y) <= 1e-9 }
	return near(a.Alt, b.Alt) && near(a.AzKnob, b.AzKnob) && near(a.AzSky, b.AzSky) && near(a.Total, b.Total)
}

// TestEveningFolder: the folder holds what was handed over, and nothing is written
// elsewhere.
func TestEveningFolder(t *testing.T) {
	home := t.TempDir()
	t.Setenv("XDG_DATA_HOME", home)
	t.Setenv("XDG_CONFIG_HOME", home)
	dir := filepath.Join(home, "tonight")
	p := launch(t, "evening", "--port", "0", "--no-browser", "--folder", dir)
	link := p.link(t)
	// A second start finds the first and gives its address.
	second := launch(t, "evening", "--port", "0", "--no-browser", "--folder", dir)
	if l := second.link(t); l != link {
		t.Errorf("a second start says %s, the first %s", l, link)
	}
	if _, err := os.Stat(filepath.Join(dir, "page.address")); err != nil {
		t.Error(err)
	}
	p.end(t)
	if _, err := os.Stat(filepath.Join(dir, "page.address")); err == nil {
		t.Error("the address is still there after the end")
	}
}
