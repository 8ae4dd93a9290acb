package session

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"pintle/cmd/night/posed"
	"pintle/cmd/pintle/watch"
	"pintle/solve"
)

// weather is a posed camera under a sky with clouds: where a frame must be a cloudy
// one is lost, and elsewhere it is looked for until the search is stopped.
type weather struct {
	posedCamera
	mu      sync.Mutex
	looks   []string      // name and effort of each search
	stopped []string      // frames of which the search was stopped
	hold    chan struct{} // first looks wait for it, when it is not nil
	end     bool          // looking everywhere comes to an end, and finds the frame
	never   bool          // looking everywhere comes to an end, and finds nothing
	clock   *workClock    // nil: the real one
	reads   chan struct{} // what is no photograph waits for it twice, when it is not nil
	far     *Frame        // the last one that was looked for elsewhere
}

// workClock is a clock that work moves on, and nothing else; to be asked takes it a
// nanosecond, so that what waits for files to settle comes to an end.
type workClock struct {
	mu sync.Mutex
	t  time.Time
}

func (c *workClock) now() time.Time { return c.pass(1) }

func (c *workClock) pass(d time.Duration) time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.t = c.t.Add(d)
	return c.t
}

// What the work takes by the workClock.
const (
	readTakes = 50 * time.Millisecond
	nearTakes = 100 * time.Millisecond
)

// work moves the clock on.
func (w *weather) work(d time.Duration) {
	if w.clock != nil {
		w.clock.pass(d)
	}
}

func (w *weather) Read(ctx context.Context, path string) (*Frame, error) {
	w.work(readTakes)
	f, err := w.posedCamera.Read(ctx, path)
	if err == nil && filepath.Ext(path) == ".txt" {
		if w.reads != nil {
			w.reads <- struct{}{}
			<-w.reads
		}
		f.miss(Miss{Kind: NoPicture})
	}
	return f, err
}

func (w *weather) Recognise(ctx context.Context, f *Frame) error {
	w.mu.Lock()
	w.looks = append(w.looks, fmt.Sprintf("%s %d", f.Name, f.Look.Effort))
	hold, end := w.hold, w.end
	near := f.Look.Effort == solve.Nearby
	if !near {
		w.far = f
	}
	w.mu.Unlock()
	if near && hold != nil {
		<-hold
	}
	if near {
		w.work(nearTakes)
	}
	pose := *f
	if err := w.posedCamera.Recognise(ctx, &pose); err != nil {
		return err
	}
	switch {
	case pose.Miss == nil || !near && end:
		if pose.Miss != nil {
			return w.sight(f)
		}
		*f = pose
	case near:
		f.miss(Miss{Kind: Unsolved, Err: &solve.Unsolved{Bounded: true}})
	case w.never:
		f.miss(Miss{Kind: Unsolved, Err: &solve.Unsolved{}})
	default:
		<-ctx.Done()
		w.mu.Lock()
		defer w.mu.Unlock()
		w.stopped = append(w.stopped, f.Name)
		return ctx.Err()
	}
	return nil
}

// sight recognises a frame whatever the weather.
func (w *weather) sight(f *Frame) error {
	s, err := w.Sighting(posed.Pose{At: f.Time().Sub(w.Night.Spec().Start).Seconds()})
	f.Solution = &solve.Solution{Lens: s.Lens, CamFromSky: s.SkyFromCam.Inv(), W: s.W, H: s.H}
	return err
}

func (w *weather) hasStopped(name string) func() bool {
	return func() bool {
		w.mu.Lock()
		defer w.mu.Unlock()
		return slices.Contains(w.stopped, name)
	}
}

func (w *weather) looked() []string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return slices.Clone(w.looks)
}

// under runs on frames taken under a sky with clouds. shoot writes one.
func under(t *testing.T, w *weather) (eye *witness, shoot func(name string, p posed.Pose), r *Run) {
	t.Helper()
	dir, eye := t.TempDir(), &witness{}
	ctx, cancel := context.WithCancel(context.Background())
	s := newSessionFor(t, w.posedCamera, func(c *Config) { c.Camera = w })
	o := watch.Options{Since: time.Now().Add(-time.Hour), Now: time.Now}
	if w.clock != nil {
		o.Now, o.Settle, o.Look = w.clock.now, 1, 1
	}
	r = &Run{Session: s, Now: o.Now, Views: []View{eye}, Actions: make(chan Action, 8), Watch: watch.New(dir, o)}
	watched, done := make(chan error, 1), make(chan error, 1)
	go func() { watched <- r.Watch.Run(ctx) }()
	go func() { done <- r.Until(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := errors.Join(<-done, <-watched); err != nil {
			t.Error(err)
		}
	})
	begin, n := time.Now().Add(-time.Minute), 0
	return eye, func(name string, p posed.Pose) {
		path := filepath.Join(t.TempDir(), name)
		p.Save(t, path)
		n++
		mod := begin.Add(time.Duration(n) * time.Second)
		if err := errors.Join(os.Chtimes(path, mod, mod), os.Rename(path, filepath.Join(dir, name))); err != nil {
			t.Fatal(err)
		}
	}, r
}

// adjusting takes the frames of a measurement, until an adjuster was turned.
func adjusting(t *testing.T, w *weather, eye *witness, shoot func(string, posed.Pose)) (last posed.Pose, n int) {
	t.Helper()
	for i, p := range posed.Course(w.Camera)[:6] {
		shoot(fmt.Sprintf("m%d.json", i), p)
		eye.frameNumber(t, i+1)
		last = p
	}
	if s := eye.frameNumber(t, 6); s.Phase != Adjusting || !s.Last.In() {
		t.Fatalf("after the measurement: %s, %+v", s.Phase, s.Last.Miss)
	}
	return last, 6
}

func (w *witness) names() (out []string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, s := range w.frames {
		out = append(out, s.Last.Name)
	}
	return out
}

// Good, cloudy, good: the cloudy frame is told to be lost at once, its search gives
// way to the good one, which is answered with one look and says who was passed over.
func TestCloudGivesWay(t *testing.T) {
	w := &weather{posedCamera: newPosed(t)}
	eye, shoot, _ := under(t, w)
	p, n := adjusting(t, w, eye, shoot)
	for round := range 3 {
		cloud, clear := fmt.Sprintf("cloud%d.json", round), fmt.Sprintf("clear%d.json", round)
		p.At, p.Lost = p.At+1, true
		shoot(cloud, p)
		if s := eye.frameNumber(t, n+1); s.Last.Name != cloud || s.Last.Miss == nil || !s.Old {
			t.Fatalf("after %s: %s, %+v, old %v", cloud, s.Last.Name, s.Last.Miss, s.Old)
		}
		eye.noted(t, LooksFar)
		p.At, p.Lost = p.At+1, false
		shoot(clear, p)
		s := eye.frameNumber(t, n+2)
		if s.Last.Name != clear || !s.Last.In() || s.Old || !slices.Equal(s.Passed, []string{cloud}) {
			t.Errorf("after %s: %s, %+v, passed over %q", clear, s.Last.Name, s.Last.Miss, s.Passed)
		}
		until := w.hasStopped(cloud)
		eye.until(t, "the end of the search", until)
		n += 2
	}
	want := []string{}
	for i := range 3 {
		want = append(want, fmt.Sprintf("cloud%d.json %d", i, solve.Nearby), fmt.Sprintf("cloud%d.json %d", i, solve.Everything), fmt.Sprintf("clear%d.json %d", i, solve.Nearby))
	}
	if got := w.looked()[6:]; !slices.Equal(got, want) {
		t.Errorf("searches %q, want %q", got, want)
	}
}

// Good and cloudy frames, one a second, and the search for the cloudy ones never ends:
// each is answered in its turn, when it has been read and looked for where it must be,
// by a clock that only work moves. After twenty cloudy ones the good one is as soon.
func TestOrderAndAgeUnderClouds(t *testing.T) {
	w := &weather{posedCamera: newPosed(t), clock: &workClock{t: time.Unix(1e9, 0)}}
	eye, shoot, _ := under(t, w)
	p, n := adjusting(t, w, eye, shoot)
	weather := "good cloudy good cloudy cloudy good" + strings.Repeat(" cloudy", 20) + " good"
	var want, passed []string
	for i, kind := range strings.Fields(weather) {
		name := fmt.Sprintf("%s%02d.json", kind, i)
		want = append(want, name)
		w.clock.pass(time.Second)
		p.At, p.Lost = p.At+1, kind == "cloudy"
		shoot(name, p)
		s := eye.frameNumber(t, n+i+1)
		if age := s.Last.Elapsed; age < readTakes+nearTakes || age > readTakes+nearTakes+time.Millisecond {
			t.Errorf("%s was answered after %v, want what reading it and looking for it take, %v", name, age, readTakes+nearTakes)
		}
		if s.Last.In() == p.Lost || !slices.Equal(s.Passed, passed) {
			t.Errorf("%s: %+v, passed over %q, want %q", name, s.Last.Miss, s.Passed, passed)
		}
		passed = nil
		if p.Lost {
			passed = []string{name}
			far := fmt.Sprintf("%s %d", name, solve.Everything)
			eye.until(t, "the search for "+name, func() bool { return slices.Contains(w.looked(), far) })
		}
	}
	if got := eye.names()[n:]; !slices.Equal(got, want) {
		t.Errorf("answers %q, want %q", got, want)
	}
}

// While bolts are turned only the newest of the frames that wait is looked at, and
// what is no photograph does not take its place.
func TestNewestFrameFirst(t *testing.T) {
	w := &weather{posedCamera: newPosed(t)}
	eye, shoot, r := under(t, w)
	p, n := adjusting(t, w, eye, shoot)
	w.mu.Lock()
	w.hold = make(chan struct{})
	w.mu.Unlock()
	take := func(name string, lost bool) {
		p.At, p.Lost = p.At+1, lost
		shoot(name, p)
	}
	take("b0.json", true)
	eye.until(t, "the first look", func() bool { return slices.Contains(w.looked(), fmt.Sprintf("b0.json %d", solve.Nearby)) })
	var bad []string
	for i := range 20 {
		bad = append(bad, fmt.Sprintf("b%02d.json", i+1))
		take(bad[i], true)
	}
	take("good.json", false)
	shoot("good.txt", posed.Pose{})
	eye.until(t, "all files to be seen", func() bool { return r.Watch.Waiting() == 22 })
	close(w.hold)
	s := eye.frameNumber(t, n+2)
	if s.Last.Name != "good.json" || !s.Last.In() || !slices.Equal(s.Passed, bad) {
		t.Errorf("after the lost one: %s, %+v, passed over %q, want good.json and %q", s.Last.Name, s.Last.Miss, s.Passed, bad)
	}
	if got, want := eye.names()[n:], []string{"b0.json", "good.json"}; !slices.Equal(got, want) {
		t.Errorf("answers %q, want %q", got, want)
	}
	if got := w.looked()[6:]; len(got) != 2 {
		t.Errorf("searches %q, want two", got)
	}
}

// A cloudy frame that is found nowhere is told to be lost for good when the search in
// the whole sky ends, without being counted twice.
func TestStaysLost(t *testing.T) {
	w := &weather{posedCamera: newPosed(t), never: true}
	eye, shoot, _ := under(t, w)
	p, n := adjusting(t, w, eye, shoot)
	p.At, p.Lost = p.At+1, true
	shoot("cloud.json", p)
	if s := eye.frameNumber(t, n+1); !s.Last.mayBeFar() {
		t.Fatalf("%+v at once, want a frame that may be elsewhere", s.Last.Miss)
	}
	var s State
	eye.until(t, "the end of the search", func() bool {
		s = eye.last
		return s.Last.Miss != nil && !s.Last.mayBeFar()
	})
	if s.Last.Name != "cloud.json" || s.Count != n+1 || len(eye.names()) != n+1 {
		t.Errorf("%s, %d frames counted, %d told, want cloud.json and %d", s.Last.Name, s.Count, len(eye.names()), n+1)
	}
}

// While the axis is measured every frame counts, and a lost one is looked for further
// when no other waits; before any was recognised its search is not stopped by lost
// ones.
func TestFirstFramesAreLookedForFar(t *testing.T) {
	w := &weather{posedCamera: newPosed(t), end: true}
	eye, shoot, _ := under(t, w)
	shoot("a.json", posed.Pose{Lost: true})
	s := eye.frameNumber(t, 2)
	if s.Last.Name != "a.json" || s.Last.Solution == nil || s.Count != 1 {
		t.Errorf("the lost frame was not found: %+v of %d", s.Last, s.Count)
	}
	want := []string{fmt.Sprintf("a.json %d", solve.Nearby), fmt.Sprintf("a.json %d", solve.Everywhere)}
	if got := w.looked(); !slices.Equal(got, want) {
		t.Errorf("searches %q, want %q", got, want)
	}
}

// While a newer file is read the search for a lost frame stands still, and goes on when
// that is no photograph.
func TestSearchStandsStillWhileBusy(t *testing.T) {
	w := &weather{posedCamera: newPosed(t), reads: make(chan struct{})}
	eye, shoot, _ := under(t, w)
	p, n := adjusting(t, w, eye, shoot)
	p.At, p.Lost = p.At+1, true
	shoot("cloud.json", p)
	eye.frameNumber(t, n+1)
	far := fmt.Sprintf("cloud.json %d", solve.Everything)
	eye.until(t, "the search", func() bool { return slices.Contains(w.looked(), far) })
	w.mu.Lock()
	hold := w.far.Look.Hold
	w.mu.Unlock()
	hold(t.Context()) // nothing else is done
	shoot("note.txt", posed.Pose{})
	<-w.reads
	order := make(chan string, 2)
	go func() {
		hold(t.Context())
		order <- "the search goes on"
	}()
	order <- "the file is read"
	w.reads <- struct{}{}
	if got := []string{<-order, <-order}; got[0] != "the file is read" {
		t.Errorf("%q", got)
	}
	if w.hasStopped("cloud.json")() {
		t.Error("what is no photograph stopped the search")
	}
}
