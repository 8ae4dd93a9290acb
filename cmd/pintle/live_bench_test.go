package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pintle/cmd/night"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/watch"
	"pintle/index/sphere"
	"pintle/solve/render"
)

// aligning is an invented evening in front of a `live` that runs: its camera of 1280 x
// 960 pixels has seen the axis measured and a bolt turned, so lens and mount are known.
type aligning struct {
	b      *testing.B
	night  *night.Night
	spec   night.Spec
	next   int // frame of the night
	rng    *rand.Rand
	dir    string
	beside string // where files are written before they are put into dir
	told   chan session.State
}

// The poses of the evening: three of RA, a bolt turned twice, and from there on the
// camera stays. After bumped frames someone has walked into the mount.
const (
	aligned = 5
	bumped  = 60
)

// newAligning begins the evening with a lens of so many mm, pixels of 3.76 um.
func newAligning(b *testing.B, focal float64) *aligning {
	b.Helper()
	spec := night.Random(1, false)
	spec.Camera.W, spec.Camera.H = 1280, 960
	spec.Camera.Pixel, spec.Camera.Focal, spec.Camera.Nominal = 3.76, focal, 0
	spec.Setup.Dec, spec.Frames = 20*sphere.Degree, nil
	for i := range 2 * bumped {
		p := night.Pose{Turn: sphere.Angle(20*min(i, 2)) * sphere.Degree, Alt: sphere.Angle(6*max(0, min(i, aligned-1)-2)) * sphere.Arcminute}
		if i >= bumped {
			p.Turn, p.Dec = p.Turn-70*sphere.Degree, 35*sphere.Degree
		}
		spec.Frames = append(spec.Frames, night.Frame{At: time.Duration(i) * 5 * time.Second, Pose: p})
	}
	n, err := night.New(spec)
	if err != nil {
		b.Fatal(err)
	}
	a := &aligning{b: b, night: n, spec: spec, rng: rand.New(rand.NewPCG(1, 14)), dir: b.TempDir(), beside: b.TempDir(), told: make(chan session.State, 64)}
	a.run()
	for i := range aligned {
		if st, _ := a.answer(a.shoot("aligned", -1)); !st.Last.In() {
			b.Fatalf("frame %d of the measurement: %+v", i, st.Last.Miss)
		}
	}
	return a
}

// Frame tells of a frame; it is a [session.View].
func (a *aligning) Frame(s session.State) { a.told <- s }

// Show is of no interest.
func (*aligning) Show(session.State) {}

// run has live run until the benchmark ends.
func (a *aligning) run() {
	s, err := session.New(session.Config{Camera: &session.Photographs{Solver: solver(a.b), Now: time.Now}, Now: time.Now})
	if err != nil {
		a.b.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	r := &session.Run{Session: s, Now: time.Now, Views: []session.View{a}, Actions: make(chan session.Action), Watch: watch.New(a.dir, watch.Options{})}
	done := make(chan error, 2)
	go func() { done <- r.Watch.Run(ctx) }()
	go func() { done <- r.Until(ctx) }()
	a.b.Cleanup(func() {
		cancel()
		if err := errors.Join(<-done, <-done); err != nil {
			a.b.Error(err)
		}
	})
}

// shoot takes the next photograph: of the sky, or of so many random spots when that is
// not negative. It is complete, and not yet where it is looked for.
func (a *aligning) shoot(name string, spots int) (path string) {
	shot := a.night.Shoot(a.next)
	c := &a.spec.Camera
	if spots >= 0 {
		s := render.Scene{W: c.W, H: c.H, Seed: a.rng.Uint64(), PSF: c.PSF, Sensor: c.Sensor, Sky: render.Sky{Level: 300}}
		var list []render.Star
		for range spots { // some 15 to 150 times the noise of what is as wide as a star
			flux := 15 * math.Pow(10, a.rng.Float64()) * 3 * c.PSF.FWHM * math.Sqrt(300)
			list = append(list, render.Star{X: a.rng.Float64() * float64(c.W), Y: a.rng.Float64() * float64(c.H), Flux: flux})
		}
		shot.Image = s.Render(list)
	}
	a.next++
	path = filepath.Join(a.beside, fmt.Sprintf("%s-%03d.fits", name, a.next))
	if err := shot.Save(path); err != nil {
		a.b.Fatal(err)
	}
	return path
}

// hand puts a photograph where it is looked for.
func (a *aligning) hand(path string) {
	now := time.Now()
	if err := errors.Join(os.Chtimes(path, now, now), os.Rename(path, filepath.Join(a.dir, filepath.Base(path)))); err != nil {
		a.b.Fatal(err)
	}
}

// answer hands a photograph over and waits for what is said of it.
func (a *aligning) answer(path string) (session.State, took) {
	begun := now()
	a.hand(path)
	for st := range a.told {
		if st.Last.Name == filepath.Base(path) {
			return st, begun.since()
		}
	}
	panic("unreachable: told is never closed")
}

// took is how long something took, and the processor time of the process meanwhile,
// which other work on the machine changes little.
type took struct{ wall, cpu time.Duration }

// moment is when something began.
type moment struct {
	wall time.Time
	cpu  time.Duration
}

func now() moment            { return moment{time.Now(), cpu()} }
func (m moment) since() took { return took{time.Since(m.wall), cpu() - m.cpu} }

// times are how long answers took.
type times map[string][]took

// report tells median and the longest, and the median of the processor time, ms.
func (ts times) report(b *testing.B) {
	ms := func(d time.Duration) float64 { return float64(d.Microseconds()) / 1e3 }
	for name, list := range ts {
		slices.SortFunc(list, func(a, b took) int { return cmp.Compare(a.cpu, b.cpu) })
		b.ReportMetric(ms(list[len(list)/2].cpu), name+"-cpu-ms")
		slices.SortFunc(list, func(a, b took) int { return cmp.Compare(a.wall, b.wall) })
		b.ReportMetric(ms(list[len(list)/2].wall), name+"-ms")
		b.ReportMetric(ms(list[len(list)-1].wall), name+"-most-ms")
	}
	b.ReportMetric(0, "ns/op") // it is mostly waiting for the next second
}

var benchLenses = []float64{400, 135, 50, 16, 6}

// How long a good frame, and frames of random spots, wait for their answer, from the
// complete file on, one a second. The search for the frame before is going on.
func BenchmarkLive(b *testing.B) {
	for _, focal := range benchLenses {
		b.Run(fmt.Sprintf("%gmm", focal), func(b *testing.B) {
			ts := times{}
			for b.Loop() {
				a := newAligning(b, focal)
				for _, spots := range []int{0, -1, 8, -1, 15, -1, 40, -1, 150, -1, 400, -1} {
					name := "good"
					if spots >= 0 {
						name = fmt.Sprint(spots)
					}
					path := a.shoot(name, spots)
					second := time.After(time.Second)
					st, took := a.answer(path)
					if st.Last.In() != (spots < 0) {
						b.Fatalf("%s: %+v", name, st.Last.Miss)
					}
					ts[name] = append(ts[name], took)
					<-second
				}
			}
			ts.report(b)
		})
	}
}

// How long the first good frame after twenty bad ones, one a second, waits for its
// answer.
func BenchmarkLiveAfterCloud(b *testing.B) {
	for _, focal := range benchLenses {
		b.Run(fmt.Sprintf("%gmm", focal), func(b *testing.B) {
			ts := times{}
			for b.Loop() {
				a := newAligning(b, focal)
				var bad []string
				for i := range 20 {
					bad = append(bad, a.shoot("bad", []int{0, 8, 15, 40, 150, 400}[i%6]))
				}
				good := a.shoot("good", -1)
				for _, path := range bad {
					a.hand(path)
					time.Sleep(time.Second)
				}
				st, took := a.answer(good)
				if !st.Last.In() {
					b.Fatalf("%+v", st.Last.Miss)
				}
				ts["good"] = append(ts["good"], took)
			}
			ts.report(b)
		})
	}
}

// How long it takes, with nothing newer waiting, until a frame is found of a mount that
// was bumped, so that it looks where no frame of it did.
func BenchmarkLiveBumped(b *testing.B) {
	for _, focal := range benchLenses {
		b.Run(fmt.Sprintf("%gmm", focal), func(b *testing.B) {
			ts := times{}
			for b.Loop() {
				a := newAligning(b, focal)
				a.next = bumped
				path := a.shoot("bumped", -1)
				begun := now()
				st, took := a.answer(path)
				ts["first"] = append(ts["first"], took)
				for st.Last.Solution == nil {
					if st = <-a.told; !strings.HasPrefix(st.Last.Name, "bumped") {
						b.Fatalf("%s comes after it", st.Last.Name)
					}
				}
				ts["found"] = append(ts["found"], begun.since())
			}
			ts.report(b)
		})
	}
}
