//go:build unix

package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"net/http/httptest"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"pintle/cmd/night"
	"pintle/cmd/pintle/device/fake"
	"pintle/index/sphere"
)

// stage is a pretended mount and camera, by Alpaca, in a night that is now.
type stage struct {
	*fake.Server
	host string
	args []string // that lead to it
}

func newStage(t *testing.T) *stage {
	t.Helper()
	spec := fake.Tonight(time.Now(), 1, false)
	spec.Camera.Exposure, spec.Camera.Aperture = 500*time.Millisecond, 2*spec.Camera.Aperture
	n, err := night.New(spec)
	if err != nil {
		t.Fatal(err)
	}
	s := &stage{Server: &fake.Server{Night: n, Now: time.Now}}
	server := httptest.NewServer(s)
	t.Cleanup(server.Close)
	t.Cleanup(func() { s.check(t) })
	s.host = strings.TrimPrefix(server.URL, "http://")
	deg := func(a sphere.Angle) string { return fmt.Sprint(a.Degrees()) }
	s.args = []string{"--camera", "alpaca://" + s.host + "/camera/0", "--mount", "alpaca://" + s.host + "/telescope/0", "--exposure", "0.5", "--fixed",
		"--lat", deg(spec.Site.Lat), "--lon", deg(spec.Site.Lon), "--elev", fmt.Sprint(spec.Site.Elev), "--no-journal"}
	return s
}

// check makes sure that the mount stands and that no place, site or time was ever
// sent to it.
func (s *stage) check(t *testing.T) {
	for _, name := range s.Forbidden() {
		t.Errorf("%s was called", name)
	}
	for _, c := range s.Calls() {
		for _, v := range c.Values["Rate"] {
			if rate, err := strconv.ParseFloat(v, 64); err != nil || math.Abs(rate) > 3 {
				t.Errorf("%s at a rate of %q, 3 degrees a second is the limit", c.Name, v)
			}
		}
	}
	if s.Moving() != 0 {
		t.Error("the mount still moves")
	}
}

// programPath is the program: this test binary under its name, which is then main, with
// its signals and its brake.
func programPath(t *testing.T) string {
	t.Helper()
	exe, err := os.Executable()
	path := filepath.Join(t.TempDir(), "pintle")
	if err == nil {
		err = os.Symlink(exe, path)
	}
	if err != nil {
		t.Fatal(err)
	}
	return path
}

func command(t *testing.T, args ...string) (c *exec.Cmd, out, said *bytes.Buffer) {
	t.Helper()
	c, out, said = exec.Command(programPath(t), args...), &bytes.Buffer{}, &bytes.Buffer{}
	c.Dir, c.Stdout, c.Stderr = t.TempDir(), out, said
	home := t.TempDir()
	c.Env = append(os.Environ(), "XDG_CONFIG_HOME="+home, "XDG_DATA_HOME="+home)
	return c, out, said
}

// handsAnswer is what a reader of "axis --json" would declare.
type handsAnswer struct {
	Axis struct {
		Az  float64 `json:"az_deg"`
		Alt float64 `json:"alt_deg"`
	}
	Sigma  struct{ Total float64 } `json:"sigma_arcmin"`
	Frames []struct {
		TakenBy string `json:"taken_by"`
		Used    bool
	}
	Turns []struct {
		Asked     float64  `json:"asked_deg"`
		Reported  float64  `json:"reported_deg"`
		Measured  *float64 `json:"measured_deg"`
		Rate      float64  `json:"rate_deg_s"`
		Seconds   float64
		StoppedBy string `json:"stopped_by"`
	}
}

// One command photographs, turns and measures.
func TestAxisByHands(t *testing.T) {
	t.Parallel()
	s := newStage(t)
	c, out, said := command(t, append([]string{"axis", "kept", "--turn", "8", "--yes", "--json"}, s.args...)...)
	if err := c.Run(); err != nil {
		t.Fatalf("%v: %s", err, said)
	}
	var a handsAnswer
	if err := json.Unmarshal(out.Bytes(), &a); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	truth, err := s.Mount().Truth(time.Now())
	if err != nil {
		t.Fatal(err)
	}
	got := sphere.LocalAt(sphere.Angle(a.Axis.Az)*sphere.Degree, sphere.Angle(a.Axis.Alt)*sphere.Degree)
	miss := got.Sep(truth.Axis).Arcminutes()
	t.Logf("off by %.3f', stated %.3f'", miss, a.Sigma.Total)
	if miss > max(0.1, 3*a.Sigma.Total) {
		t.Errorf("the axis is off by %.2f'", miss)
	}
	if len(a.Frames) != 3 || len(a.Turns) != 2 {
		t.Fatalf("%s", out)
	}
	for _, f := range a.Frames {
		if f.TakenBy != "Invented camera" || !f.Used {
			t.Errorf("%+v", f)
		}
	}
	// How well it stops depends on how busy the machine is; package device is held to it.
	for _, x := range a.Turns {
		if x.Asked != 8 || math.Abs(x.Reported-8) > 6 || x.Measured == nil || math.Abs(*x.Measured-x.Reported) > 0.3 || x.Rate < 1 || x.Rate > 6 || x.Seconds < 1 || x.StoppedBy != "angle" {
			t.Errorf("%+v", x)
		}
	}
	if kept, _ := filepath.Glob(filepath.Join(c.Dir, "kept", "frame-*.fits")); len(kept) != 3 {
		t.Errorf("kept %v", kept)
	}
}

// Without --turn the person turns RA, and is asked to. Nobody there: the photograph
// is kept, and that is said.
func TestAxisByHandAlone(t *testing.T) {
	if testing.Short() {
		t.Skip("starts a process")
	}
	t.Parallel()
	s := newStage(t)
	c, _, said := command(t, append([]string{"axis", "kept", "--frames", "2"}, s.args...)...)
	if err := c.Run(); err == nil {
		t.Error("no error")
	}
	for _, w := range []string{"kept/frame-0001.fits, 0.5 s", "Turn RA by 20", "press Enter", "nobody answers: the input has ended"} {
		if !strings.Contains(said.String(), w) {
			t.Errorf("no %q in %s", w, said)
		}
	}
	if _, err := os.Stat(filepath.Join(c.Dir, "kept", "frame-0001.fits")); err != nil {
		t.Error(err)
	}
}

// However the program ends in mid-turn, the mount stands soon.
func TestMountStandsHoweverTheProgramEnds(t *testing.T) {
	if testing.Short() {
		t.Skip("starts many processes")
	}
	t.Parallel()
	for _, c := range []struct {
		signal syscall.Signal
		within time.Duration
		says   string
	}{
		{syscall.SIGINT, time.Second, "stopped by you; nothing moves"}, {syscall.SIGTERM, time.Second, "stopped by you"}, {syscall.SIGHUP, time.Second, "stopped by you"},
		{syscall.SIGKILL, 2 * time.Second, "the mount was stopped"},
	} {
		t.Run(c.signal.String(), func(t *testing.T) {
			if (c.signal == syscall.SIGTERM || c.signal == syscall.SIGHUP) && !*long {
				t.Skip("as SIGINT: -long")
			}
			if signal.Ignored(c.signal) {
				t.Skip("the tests, and so the program, were told to ignore it, as nohup does")
			}
			if *long {
				t.Parallel() // a few would wait until all other tests have begun
			}
			s := newStage(t)
			p, _, said := command(t, append([]string{"axis", "--turn", "40", "--yes"}, s.args...)...)
			if err := p.Start(); err != nil {
				t.Fatal(err)
			}
			eventually(t, 30*time.Second, func() bool { return math.Abs(s.Moving()) > 2 })
			time.Sleep(500 * time.Millisecond)
			if err := p.Process.Signal(c.signal); err != nil {
				t.Fatal(err)
			}
			begun := time.Now()
			eventually(t, 10*time.Second, func() bool { return s.Moving() == 0 })
			if took := time.Since(begun); took > c.within {
				t.Errorf("the mount stood %v after %v; %v are allowed", took, c.signal, c.within)
			}
			_ = p.Wait() // also for the brake, which holds the same stderr
			if !strings.Contains(said.String(), c.says) {
				t.Errorf("said %s", said)
			}
		})
	}
}

func eventually(t *testing.T, most time.Duration, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(most); !ok(); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("waited for %v", most)
		}
	}
}

// The page asks before a turn, shows the turn, and stops it.
func TestPageAsksAndStops(t *testing.T) {
	if !*long {
		t.Skip("takes long: -long")
	}
	if testing.Short() {
		t.Skip("starts a browser")
	}
	t.Parallel()
	browser := needBrowser(t)
	s := newStage(t)
	p, _, _ := command(t, append([]string{"live", "tonight", "--json", "--port", "0", "--turn", "40"}, s.args...)...)
	said := &tail{}
	p.Stderr = said
	if err := p.Start(); err != nil {
		t.Fatal(err)
	}
	b := openBrowser(t, browser)
	b.do(chromedp.EmulateViewport(360, 740), chromedp.Navigate((&program{stderr: said}).link(t)))
	b.until("state !== null && state.hands && state.hands.ask > 0", 60*time.Second)
	says := js[string](b, "document.getElementById('hands-says').innerText")
	for _, w := range []string{"40°", "west", "3° a second", "s?", "Stay beside the mount", "cables and camera clear of the tripod"} {
		if !strings.Contains(says, w) {
			t.Errorf("the question %q does not tell %q", says, w)
		}
	}
	onlyRed(t, "hands-asks", b.shoot("hands-asks", 360, 740))
	if s.Moving() != 0 {
		t.Error("it moves before it was agreed to")
	}
	b.do(chromedp.EmulateViewport(360, 740))
	js[bool](b, "document.getElementById('hands-yes').click(), true")
	eventually(t, 20*time.Second, func() bool { return math.Abs(s.Moving()) > 2 })
	b.until("document.body.dataset.hands === 'turning'", 5*time.Second)
	// Wherever the page is scrolled to, Stop is on the screen and large.
	if !js[bool](b, "window.scrollTo(0, 1e6), (r => r.top >= 0 && r.bottom <= innerHeight + 1 && r.height >= 70 && r.width >= innerWidth - 2 && document.elementFromPoint(r.left + r.width / 2, r.top + r.height / 2).id === 'stop')(document.getElementById('stop').getBoundingClientRect())") {
		t.Error("Stop is not in reach")
	}
	js[bool](b, "document.getElementById('stop').click(), true")
	begun := time.Now()
	eventually(t, 5*time.Second, func() bool { return s.Moving() == 0 })
	if took := time.Since(begun); took > time.Second {
		t.Errorf("the mount stood after %v", took)
	}
	b.until("document.body.dataset.hands === 'halted' && state.hands.last.includes('stopped by you')", 10*time.Second)
	onlyRed(t, "hands-halted", b.shoot("hands-halted", 360, 740))
	js[bool](b, "document.getElementById('hands-go').click(), true")
	b.until("state.hands.ask > 1", 30*time.Second)
	js[bool](b, "document.getElementById('hands-no').click(), true")
	b.until("state.hands.trouble.includes('left to you')", 10*time.Second)
	if err := p.Process.Signal(syscall.SIGINT); err != nil {
		t.Fatal(err)
	}
	if err := p.Wait(); err != nil {
		t.Errorf("%v: %s", err, said)
	}
}

// In an evening the camera of the gear file photographs; while no turn is asked for the
// mount is not even asked anything.
func TestEveningPhotographs(t *testing.T) {
	if !*long {
		t.Skip("takes long: -long")
	}
	if testing.Short() {
		t.Skip("starts a browser")
	}
	browser := needBrowser(t)
	s := newStage(t)
	home := t.TempDir()
	t.Setenv("XDG_DATA_HOME", home)
	t.Setenv("XDG_CONFIG_HOME", home)
	p := launch(t, "evening", "--port", "0", "--no-browser")
	b := openBrowser(t, browser)
	link := p.link(t)
	b.do(chromedp.EmulateViewport(390, 844), chromedp.Navigate(link+"#photos"))
	b.until("document.body?.dataset.step === 'photos' && document.body.dataset.link === 'good'", 10*time.Second)
	if js[bool](b, "document.getElementById('shoot-once').offsetParent !== null") {
		t.Error("a camera that nobody named can be asked to photograph")
	}
	post := func(path, body string) {
		t.Helper()
		js[bool](b, fmt.Sprintf("(window.posted = 0, fetch('api/v1/%s', {method: 'POST', body: %q}).then((r) => { window.posted = r.status; }), true)", path, body))
		b.until("window.posted > 0", 10*time.Second)
		if code := js[float64](b, "window.posted"); code != 200 {
			t.Fatalf("%s: status %g", path, code)
		}
	}
	site := s.Night.Spec().Site
	post("place", fmt.Sprintf(`{"lat_deg":%.5f,"lon_deg":%.5f,"elev_m":%.0f}`, site.Lat.Degrees(), site.Lon.Degrees(), site.Elev))
	post("gear", fmt.Sprintf(`{"kind":"camera","name":"finder","values":{"at":"alpaca://%s/camera/0"},"replace":false}`, s.host))
	post("use", `{"camera":"finder"}`)
	b.until("document.getElementById('shoot-once').offsetParent !== null", 10*time.Second)
	b.press("#shoot-once")
	b.until("document.querySelectorAll('#shots [data-state=ready]').length === 1", 30*time.Second)
	b.pictures("camera", "phone")
	b.press("#follow")
	b.press("#shoot-many")
	b.until("document.querySelectorAll('#shots [data-state=in]').length > 1", 60*time.Second)
	b.step("adjust")
	b.until("document.getElementById('shots-here')?.textContent.includes('finder photographs')", 20*time.Second)
	b.press("#shots-here button")
	b.step("photos")
	b.until("document.getElementById('shoot-stop').offsetParent === null && document.getElementById('shot').textContent.includes('finder waits')", 10*time.Second)
	for _, c := range s.Calls() {
		if strings.Contains(c.Device, "telescope") {
			t.Errorf("the mount was asked for %s", c.Name)
		}
	}
}

// stopsInReach makes sure that on every step of the evening Stop is large and on the
// screen, at every size and wherever the page is scrolled to.
func (b *tab) stopsInReach() {
	b.t.Helper()
	for _, step := range []string{"day", "point", "photos", "enough", "after", "adjust"} {
		b.step(step)
		b.until("document.getElementById('stop').offsetParent !== null || getComputedStyle(document.getElementById('stop')).position === 'fixed' && !document.getElementById('stop').hidden", 10*time.Second)
		for size, v := range sizes {
			b.do(chromedp.EmulateViewport(v[0], v[1]))
			if where := js[string](b, "(scrollTo(0, 1e6), (r => r.top >= 0 && r.left >= 0 && r.right <= innerWidth + 1 && r.bottom <= innerHeight + 1 && r.height >= 60 && r.width >= 90 && document.elementFromPoint(r.left + r.width / 2, r.top + r.height / 2).id === 'stop' ? '' : JSON.stringify(r))(document.getElementById('stop').getBoundingClientRect()))"); where != "" {
				b.t.Errorf("%s, %s: Stop is not in reach: %s", step, size, where)
			}
			if over := js[float64](b, "document.documentElement.scrollWidth - innerWidth"); over > 0 {
				b.t.Errorf("%s, %s: %g px wider than the window", step, size, over)
			}
			if *long {
				js[bool](b, "scrollTo(0, 0) === undefined")
				name := "evening-asks-" + step + "-" + size
				onlyRed(b.t, name, b.shoot(name, v[0], v[1]))
			}
		}
	}
	b.do(chromedp.EmulateViewport(sizes["phone"][0], sizes["phone"][1]))
}

// The evening photographs and turns: it asks on every step, the blank and Escape stop a
// mount that turns wherever the focus is, and a killed program turns nothing when it is
// started again.
func TestEveningTurns(t *testing.T) {
	if testing.Short() {
		t.Skip("starts a browser")
	}
	t.Parallel()
	browser := needBrowser(t)
	s := newStage(t)
	home, site := t.TempDir(), s.Night.Spec().Site
	gear := fmt.Sprintf("[default]\ncamera = \"finder\"\nmount = \"fork\"\nsite = \"here\"\n[site.here]\nlat = %.5f\nlon = %.5f\nelev = %.0f\n[camera.finder]\nat = \"alpaca://%s/camera/0\"\n[mount.fork]\nat = \"alpaca://%s/telescope/0\"\n",
		site.Lat.Degrees(), site.Lon.Degrees(), site.Elev, s.host, s.host)
	if err := os.MkdirAll(filepath.Join(home, "pintle"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(home, "pintle", "gear.toml"), []byte(gear), 0o644); err != nil {
		t.Fatal(err)
	}
	port := "0"
	start := func() (link string, kill func()) {
		t.Helper()
		return beginEvening(t, home, filepath.Join(home, "evening"), port)
	}
	link, kill := start()
	port = strings.Split(strings.Split(link, ":")[2], "/")[0]
	b := openBrowser(t, browser)
	b.do(chromedp.EmulateViewport(390, 844), chromedp.Navigate(link+"#photos"))
	b.until("!!document.getElementById('shoot-turn')?.offsetParent", 20*time.Second)
	b.fill("#turn-degrees", "30")
	js[bool](b, "document.querySelector('#step [inputmode=decimal]').value = '0.5', true")
	b.pictures("turn", "phone")
	b.press("#shoot-turn")
	b.until("!document.getElementById('hands-ask').hidden", 60*time.Second)
	for _, c := range s.Calls() {
		if c.Name == "moveaxis" {
			t.Fatal("the mount moves before anybody has agreed")
		}
	}
	if says := js[string](b, "document.getElementById('hands-says').textContent"); !strings.Contains(says, "by 30° to the west, at 3° a second, for 10 s?") {
		t.Errorf("it asks %q", says)
	}
	b.stopsInReach()
	b.pictures("asked", "phone")
	halts := func(step, key, focus string) {
		t.Helper()
		b.step(step)
		b.until("!document.getElementById('hands-ask').hidden", 60*time.Second)
		js[bool](b, "document.getElementById('hands-yes').click(), true")
		eventually(t, 20*time.Second, func() bool { return math.Abs(s.Moving()) > 2 })
		b.until("document.body.dataset.hands === 'turning'", 5*time.Second)
		if focus != "" {
			js[bool](b, "document.querySelector('"+focus+"').focus() === undefined")
		}
		b.do(chromedp.KeyEvent(key))
		eventually(t, 2*time.Second, func() bool { return s.Moving() == 0 })
		b.until("document.body.dataset.hands === 'halted' && document.getElementById('hands-last').textContent.includes('stopped by you')", 10*time.Second)
	}
	halts("day", " ", "#place-text")
	js[bool](b, "document.getElementById('hands-go').click(), true")
	halts("adjust", kb.Escape, "")
	b.pictures("halted", "phone")
	js[bool](b, "document.getElementById('hands-go').click(), true")
	b.until("!document.getElementById('hands-ask').hidden", 60*time.Second)
	kill()
	calls := len(s.Calls())
	start()
	b.until("document.getElementById('undone')?.textContent.includes('Nothing turns by itself')", 20*time.Second)
	b.step("photos")
	b.pictures("undone", "phone")
	if n := len(s.Calls()); n != calls {
		t.Errorf("%d calls by a program that was started again", n-calls)
	}
	b.press("#undone button")
	b.until("document.getElementById('undone').textContent === ''", 10*time.Second)
}
