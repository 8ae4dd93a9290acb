package alpaca

import (
	"context"
	"errors"
	"flag"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"pintle/axis"
	"pintle/cmd/night"
	"pintle/cmd/pintle/device"
	"pintle/cmd/pintle/device/fake"
	"pintle/cmd/pintle/device/shoot"
	"pintle/index/sphere"
)

var (
	evenings = flag.Int("evenings", 3, "number of invented evenings")
	long     = flag.Bool("long", false, "run the tests that take minutes, too: 20 evenings")
)

// evening is a fake server with everything that talks to it.
type evening struct {
	t      *testing.T
	fake   *fake.Server
	host   string
	clock  *fake.Clock
	mount  *Mount
	cam    *Camera
	turner *device.Turner
	folder *shoot.Folder
	spec   night.Spec
}

func newEvening(t *testing.T, spec night.Spec, change func(*fake.Server)) *evening {
	t.Helper()
	n, err := night.New(spec)
	if err != nil {
		t.Fatal(err)
	}
	e := &evening{t: t, spec: spec, clock: fake.NewClock(spec.Start), folder: &shoot.Folder{Dir: t.TempDir()}}
	e.fake = &fake.Server{Night: n, Now: e.clock.Now, Idle: e.clock.Pass}
	if change != nil {
		change(e.fake)
	}
	server := httptest.NewServer(e.fake)
	t.Cleanup(server.Close)
	t.Cleanup(e.checkCalls)
	e.host = strings.TrimPrefix(server.URL, "http://")
	ctx := context.Background()
	if e.mount, err = OpenMount(ctx, e.host, 0, e.clock.Now); err != nil {
		t.Fatal(err)
	}
	if e.cam, err = OpenCamera(ctx, e.host, 0, e.clock.Now); err != nil {
		t.Fatal(err)
	}
	e.turner = &device.Turner{Mount: e.mount, Clock: e.clock, Limits: device.Usual, Agree: func(context.Context, device.Question) error { return nil }}
	return e
}

// checkCalls holds every call against the official document, and against the
// list of what must never be called.
func (e *evening) checkCalls() {
	o := readOfficial(e.t)
	calls := e.fake.Calls()
	if len(calls) == 0 {
		e.t.Error("no calls")
	}
	for _, c := range calls {
		if err := o.check(c); err != nil {
			e.t.Error(err)
		}
		if c.HTTP == "PUT" && !slices.Contains(changing, c.Name) || never(c.Name) {
			e.t.Errorf("%s was called", c.Name)
		}
	}
}

func never(name string) bool {
	for _, w := range []string{"slewto", "sync", "park", "site", "utcdate", "home", "target", "pulse"} {
		if strings.Contains(name, w) && name != "unpark" && name != "atpark" && name != "utcdate" {
			return true
		}
	}
	return false
}

func TestNothingForbiddenIsCallable(t *testing.T) {
	for _, name := range changing {
		if never(name) || name == "utcdate" || name == "park" {
			t.Errorf("%s is callable", name)
		}
	}
}

func (e *evening) take() string {
	e.t.Helper()
	f, err := e.folder.Take(context.Background(), e.cam, device.Exposure{Time: e.spec.Camera.Exposure})
	if err != nil {
		e.t.Fatal(err)
	}
	return f.Path
}

func (e *evening) look() axis.Sighting {
	e.t.Helper()
	s, p, err := fake.Recognise(e.take(), e.spec.Site, e.spec.Air)
	if err != nil {
		e.t.Fatal(err)
	}
	if err := e.turner.Seen(context.Background(), p); err != nil {
		e.t.Fatal(err)
	}
	return s
}

// invented returns a night whose turns stay within the limits.
func invented(seed uint64) night.Spec {
	s := night.Random(seed, seed%2 == 0)
	s.Frames = s.Frames[:1]
	for s.Camera.W*s.Camera.H > 1_200_000 { // the same field on fewer pixels
		s.Camera.W, s.Camera.H, s.Camera.Pixel = s.Camera.W/2, s.Camera.H/2, s.Camera.Pixel*2
	}
	return s
}

// Invented evenings through the fake server: the axis comes out where it is.
func TestEvenings(t *testing.T) {
	if testing.Short() {
		*evenings = 1
	}
	if *long {
		*evenings = max(*evenings, 20)
	}
	done := 0
	for seed := uint64(1); done < *evenings && seed < 200; seed++ {
		e := newEvening(t, invented(seed), func(f *fake.Server) { f.Reversed = seed%3 == 0 })
		list, err := e.three()
		if k := device.KindOf(err); k == device.Low || k == device.Meridian || k == device.NearPole {
			continue // the night's camera looks where nothing may be turned
		}
		if err != nil {
			t.Errorf("seed %d: %v", seed, err)
			continue
		}
		done++
		r, err := axis.Fit(list)
		if err != nil {
			t.Errorf("seed %d: %v", seed, err)
			continue
		}
		truth, err := e.fake.Mount().Truth(e.clock.Now())
		if err != nil {
			t.Fatal(err)
		}
		miss, stated := r.Axis.Sep(truth.Axis), sphere.Angle(math.Sqrt(r.Cov[0][0]+r.Cov[1][1]))
		t.Logf("seed %d: off by %.2f\", stated %.2f\"", seed, miss.Arcseconds(), stated.Arcseconds())
		if miss > max(3*stated, 0.1*sphere.Arcminute) {
			t.Errorf("seed %d: the axis is off by %.1f\", stated %.1f\"", seed, miss.Arcseconds(), stated.Arcseconds())
		}
	}
	if done < *evenings {
		t.Errorf("only %d evenings", done)
	}
}

// three takes three photographs with RA turned between them.
func (e *evening) three() ([]axis.Sighting, error) {
	list := []axis.Sighting{e.look()}
	for range 2 {
		was := e.fake.Mount().Pose().Turn
		got, err := e.turner.Turn(context.Background(), device.Request{Angle: 20 * sphere.Degree})
		if err != nil {
			return nil, err
		}
		if d := (e.fake.Mount().Pose().Turn - was).Abs() - got.Reported; d.Abs() > 0.1*sphere.Degree || got.StoppedBy != device.ByAngle {
			e.t.Errorf("turned %v more than reported, stopped by %s", d, got.StoppedBy)
		}
		if e.fake.Moving() != 0 {
			e.t.Error("the mount still moves")
		}
		list = append(list, e.look())
	}
	return list, nil
}

// An evening that is known to be within the limits, for the failures.
func turnable(t *testing.T, change func(*fake.Server)) *evening {
	t.Helper()
	s := invented(1)
	for seed := uint64(1); seed < 50; seed++ {
		s = invented(seed)
		ha := s.Frames[0].Turn.Degrees()
		if dec := s.Setup.Dec.Abs().Degrees(); dec > 10 && dec < 60 && math.Abs(ha) < 40 && math.Abs(ha) > 10 && float64(s.Setup.Dec)*float64(s.Site.Lat) > 0 {
			break
		}
	}
	return newEvening(t, s, change)
}

func TestParkedMount(t *testing.T) {
	e := turnable(t, func(f *fake.Server) { f.Parked = true })
	e.look()
	_, err := e.turner.Turn(context.Background(), device.Request{Angle: 20 * sphere.Degree})
	if device.KindOf(err) != device.Parked {
		t.Fatal(err)
	}
	e.turner.Unpark = true
	if _, err := e.turner.Turn(context.Background(), device.Request{Angle: 20 * sphere.Degree}); err != nil {
		t.Fatal(err)
	}
}

// The link is cut in mid-turn for 5 s of the night.
func TestLinkCutInMidTurn(t *testing.T) {
	var e *evening
	var from time.Time
	e = turnable(t, func(f *fake.Server) {
		f.Fail = func(method string) bool {
			if e == nil || e.fake == nil || e.fake.Moving() == 0 && from.IsZero() {
				return false
			}
			if from.IsZero() {
				from = e.clock.Now().Add(2 * time.Second)
			}
			d := e.clock.Now().Sub(from)
			return d >= 0 && d < 5*time.Second
		}
	})
	e.look()
	got, err := e.turner.Turn(context.Background(), device.Request{Angle: 20 * sphere.Degree})
	if device.KindOf(err) != device.LinkLost || got.StoppedBy != device.ByFault {
		t.Fatalf("%v, stopped by %q", err, got.StoppedBy)
	}
	if e.fake.Moving() != 0 {
		t.Error("the mount still moves")
	}
	if d := e.clock.Now().Sub(from.Add(5 * time.Second)); d > 3*time.Second {
		t.Errorf("it stands %v after the link was back", d)
	}
}

func TestCameraGone(t *testing.T) {
	exposing := false
	e := turnable(t, func(f *fake.Server) {
		f.Fail = func(method string) bool {
			exposing = exposing || method == "startexposure"
			return exposing && method != "startexposure"
		}
	})
	_, err := e.folder.Take(context.Background(), e.cam, device.Exposure{Time: time.Second})
	if device.KindOf(err) != device.Gone {
		t.Fatal(err)
	}
	if left, _ := os.ReadDir(e.folder.Dir); len(left) != 0 {
		t.Errorf("%v is left in the folder", left)
	}
}

// The JSON array holds the same picture.
func TestPictureAsJSON(t *testing.T) {
	spec := invented(1)
	spec.Camera.W, spec.Camera.H = 320, 200
	a := newEvening(t, spec, nil)
	b := newEvening(t, a.spec, func(f *fake.Server) { f.JSONOnly = true })
	x, err1 := os.ReadFile(a.take())
	y, err2 := os.ReadFile(b.take())
	if err1 != nil || err2 != nil || len(x) < 10000 || string(x) != string(y) {
		t.Errorf("pictures of %d and %d bytes differ (%v, %v)", len(x), len(y), err1, err2)
	}
}

// HTTP 200 may carry an error, and other statuses a text.
func TestErrors(t *testing.T) {
	for _, c := range []struct {
		status int
		body   string
		want   string
	}{
		{200, `{"Value":1.5,"ErrorNumber":1031,"ErrorMessage":"no\u001b[31m link"}`, "not connected: no?[31m link"},
		{400, "what?", "status 400"},
		{200, "<html>", "no valid answer"},
		{200, `{"Value":"east","ErrorNumber":0}`, "no valid answer"},
		{200, `{"ErrorNumber":0}`, "no valid answer"},
		{302, "", "status 302"},
	} {
		s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			if c.status == 302 {
				w.Header().Set("Location", "http://192.0.2.1/")
			}
			w.WriteHeader(c.status)
			w.Write([]byte(c.body))
		}))
		e := newEndpoint(strings.TrimPrefix(s.URL, "http://"), "telescope", 0, time.Now)
		var v float64
		err := e.get(context.Background(), "rightascension", nil, &v)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%d %q: %v, want %q", c.status, c.body, err, c.want)
		}
		s.Close()
	}
	e := newEndpoint("127.0.0.1:1", "telescope", 0, time.Now)
	if err := e.get(context.Background(), "name", nil, nil); device.KindOf(err) != device.LinkLost {
		t.Error(err)
	}
	if e := (&Error{Number: notConnected}); !errors.As(error(e), new(*Error)) || e.Error() != "not connected" {
		t.Error(e)
	}
}
