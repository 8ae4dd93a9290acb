package night_test

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"pintle/cmd/night"
	"pintle/cmd/pintle/series"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/shelf"
	"pintle/index"
	"pintle/index/sphere"
	"pintle/index/stars"
	"pintle/solve"
	"pintle/solve/detect"
	"pintle/solve/frame"
	"pintle/solve/render"
)

var spoiled = flag.Int("spoiled", 1, "number of rendered nights of each family that TestStarsTell measures")

// rendered is a camera that photographs a night without files: the path of a frame is
// its number.
type rendered struct {
	night  *night.Night
	change func(i int, s *render.Scene)
	solver *solve.Solver
}

func (c *rendered) Read(_ context.Context, path string) (*session.Frame, error) {
	var i int
	if _, err := fmt.Sscan(path, &i); err != nil {
		return nil, err
	}
	t, spec := c.night.Truth(i), c.night.Spec()
	im := c.night.RenderWith(i, func(s *render.Scene) { c.change(i, s) })
	field, err := detect.Find(im, detect.Options{})
	if err != nil {
		return nil, err
	}
	return &session.Frame{Path: path, Name: path, Field: field, Read: &frame.Frame{Name: path, Format: "rendered", Hash: uint64(i) + 1, Exposure: spec.Camera.Exposure,
		Time: frame.Time{Mid: t.Mid, Source: "the spec"}, Site: &frame.Site{Lat: spec.Site.Lat, Lon: spec.Site.Lon, Elev: spec.Site.Elev}}}, nil
}

func (c *rendered) Recognise(ctx context.Context, f *session.Frame) error {
	sol, err := c.solver.Solve(ctx, f.Field, solve.Options{Epoch: stars.JulianYear(f.Time()), Effort: solve.Everywhere, Hint: solve.Hint{Scale: c.night.Truth(0).Lens.Scale()}})
	var un *solve.Unsolved
	if errors.As(err, &un) {
		f.Miss = &session.Miss{Kind: session.Unsolved, Err: err}
		return nil
	}
	f.Solution = sol
	return err
}

// spoiler spoils a night at a size, 1 being what harms: it may change the spec, and
// returns what it does to the picture of each frame.
type spoiler struct {
	name string
	kind series.Kind // that names it; -1 for none
	harm string      // what size 1 is
	by   func(rng *rand.Rand, s *night.Spec, size float64) func(i int, s *render.Scene)
}

func unchanged(int, *render.Scene) {}

// fading dims the stars of frame i by so many magnitudes, and adds so much sky, in
// units of the clear one, for a magnitude.
func fading(s *render.Scene, dim func(x, y int) float64, glow float64) {
	before, level := s.Block, s.Sky.Level
	s.Block = func(x, y int) (pass, own float32) {
		p, o := float32(1), float32(0)
		if before != nil {
			p, o = before(x, y)
		}
		d := dim(x, y)
		left := math.Pow(10, -0.4*d)
		return p * float32(left), o + p*float32(level*(1-left+glow*d))
	}
}

// swung lets the camera swing while frame i is exposed, by so many px, in a direction
// from that of RA's turn.
func swung(s *night.Spec, i int, px float64, from sphere.Angle) {
	scale := sphere.Angle(math.Atan(s.Camera.Pixel * 1e-3 / s.Camera.Focal))
	f := &s.Frames[i]
	f.Motion.Turn = sphere.Angle(px*from.Cos()) * scale / sphere.Angle(max(s.Setup.Dec.Cos(), 0.1))
	f.Motion.Dec = sphere.Angle(px*from.Sin()) * scale
	f.Turn -= f.Motion.Turn / 2
	f.Dec -= f.Motion.Dec / 2
}

const none = series.Kind(-1)

var spoilers = []spoiler{
	{"clean", none, "", func(*rand.Rand, *night.Spec, float64) func(int, *render.Scene) { return unchanged }},
	{"scatter 0.7, sag 3", none, "", func(_ *rand.Rand, s *night.Spec, _ float64) func(int, *render.Scene) {
		night.Unsettle(s)
		return unchanged
	}},
	{"dew", series.Dew, "half of the light lost", func(rng *rand.Rand, s *night.Spec, size float64) func(int, *render.Scene) {
		last := len(s.Frames) - 1
		wider := 1 + 0.15*size*rng.Float64()
		return func(i int, sc *render.Scene) {
			share := s.Frames[i].At.Seconds() / s.Frames[last].At.Seconds()
			fading(sc, func(int, int) float64 { return 0.75 * size * share }, 0)
			sc.PSF.FWHM *= 1 + (wider-1)*share
		}
	}},
	{"clouds", series.Clouds, "half of the light lost in half of the frames", func(rng *rand.Rand, s *night.Spec, size float64) func(int, *render.Scene) {
		n := len(s.Frames)
		covered := rng.Perm(n)[:max(1, n/2)]
		glow, seed, even := 0.5*rng.Float64(), rng.Uint64(), rng.IntN(2) == 0
		return func(i int, sc *render.Scene) {
			for _, k := range covered {
				if k != i {
					continue
				}
				const step = 16
				patches := render.Cloud(sc.W/step+1, sc.H/step+1, 0.7, 1, seed+uint64(i))
				fading(sc, func(x, y int) float64 {
					if even {
						return 0.75 * size
					}
					_, t := patches(x/step, y/step)
					return 1.1 * size * float64(t)
				}, glow)
			}
		}
	}},
	{"focus", series.Focus, "stars 1.5 times as wide", func(rng *rand.Rand, s *night.Spec, size float64) func(int, *render.Scene) {
		from := 1 + rng.IntN(len(s.Frames)-1)
		return func(i int, sc *render.Scene) {
			if i >= from {
				grow := 1 + 0.5*size
				sc.PSF.Defocus = 1.4 * sc.PSF.FWHM * math.Sqrt(grow*grow-1) // a disc has the rms width of a Gaussian of 0.59 of its diameter
			}
		}
	}},
	{"wind", series.Shaken, "trails as long as stars are wide", func(rng *rand.Rand, s *night.Spec, size float64) func(int, *render.Scene) {
		for i := range s.Frames {
			swung(s, i, size*s.Camera.PSF.FWHM*(0.8+0.4*rng.Float64()), sphere.Angle(math.Pi*rng.Float64()))
		}
		return unchanged
	}},
	{"RA turning", series.Turned, "trails as long as stars are wide", func(rng *rand.Rand, s *night.Spec, size float64) func(int, *render.Scene) {
		for _, i := range rng.Perm(len(s.Frames))[:1+rng.IntN(2)] {
			swung(s, i, size*s.Camera.PSF.FWHM*(0.8+0.4*rng.Float64()), 0)
			s.Frames[i].Motion.From = 0.3 * rng.Float64()
		}
		return unchanged
	}},
	{"drive off", series.Standing, "trails as long as stars are wide", func(_ *rand.Rand, s *night.Spec, size float64) func(int, *render.Scene) {
		s.Setup.Tracking = false
		scale := math.Atan(s.Camera.Pixel*1e-3/s.Camera.Focal) / math.Max(s.Setup.Dec.Cos(), 0.1)
		s.Camera.Exposure = time.Duration(size * s.Camera.PSF.FWHM * scale / 7.2921e-5 * float64(time.Second))
		return unchanged
	}},
}

// TestStarsTell renders nights that something spoils and counts what the look of their
// stars is said to tell. With -spoiled 40 -v it prints the table of DEVELOPERS.md.
func TestStarsTell(t *testing.T) {
	if testing.Short() {
		t.Skip("slow")
	}
	solver, done := newSolver(t)
	defer done()
	t.Logf("seed %d, %d nights of each family and size", seedOfSpoiled, *spoiled)
	for _, s := range spoilers {
		t.Run(s.name, func(t *testing.T) {
			for _, size := range []float64{1, 3} {
				if size == 1 && *spoiled < 20 && s.kind != none || size == 3 && s.kind == none {
					continue
				}
				s.measure(t, solver, size)
			}
		})
	}
}

const seedOfSpoiled = 20261128

func (s *spoiler) measure(t *testing.T, solver *solve.Solver, size float64) {
	t.Helper()
	var counts [6]int
	right, wrong, answers, lost, frames := 0, 0, 0, 0, 0
	for i := range *spoiled {
		rng := rand.New(rand.NewPCG(seedOfSpoiled, uint64(i)))
		spec := night.SmallSpec(rng, 4+i%3)
		change := s.by(rng, &spec, size)
		n, err := night.New(spec)
		if err != nil {
			t.Fatal(err)
		}
		st, err := look(n, change, solver)
		if err != nil {
			t.Fatal(err)
		}
		frames += len(st.Frames)
		for _, f := range st.Frames {
			if f.Solution == nil {
				lost++
			}
		}
		if st.Answer != nil {
			answers++
		}
		named, off := false, false
		for _, f := range told(&st) {
			counts[f.Kind]++
			named = named || f.Kind == s.kind
			off = off || f.Kind != s.kind
			t.Logf("night %d: %v %v %.2f, %.2f, chance %.2f", i, f.Kind, f.Names, f.Much, f.Share, f.Chance)
		}
		if named {
			right++
		}
		if off {
			wrong++
		}
	}
	if s.kind == none && 10*wrong > *spoiled || size >= 3 && 10*right < 8**spoiled {
		t.Errorf("seed %d, %s, %g times what harms: named in %d of %d nights, something else in %d", seedOfSpoiled, s.name, size, right, *spoiled, wrong)
	}
	var said []string
	for k, n := range counts {
		if n > 0 {
			said = append(said, fmt.Sprintf("%v %d", series.Kind(k), n))
		}
	}
	t.Logf("%s, %g times what harms (%s): %d of %d nights named, something else in %d (%s); %d of %d frames lost, %d answers",
		s.name, size, s.harm, right, *spoiled, wrong, strings.Join(said, ", "), lost, frames, answers)
}

// trails is how a night's frames are trailed: all of them, by RA that turns while the
// shutter is open.
type trails struct {
	px     float64
	hooked bool
	aside  bool // it swings the other way, too
}

func (k trails) spoil(rng *rand.Rand, s *night.Spec) {
	for i := range s.Frames {
		from := sphere.Angle(0)
		if k.aside {
			from = sphere.Angle(math.Pi * rng.Float64())
		}
		swung(s, i, k.px*(0.9+0.2*rng.Float64()), from)
		if k.hooked {
			f := &s.Frames[i]
			f.Motion.From = 0.5
			f.Dec += f.Motion.Dec / 4 // its mean place, not its middle, is where it belongs
		}
	}
}

// TestTrailedNights renders nights whose stars are trailed in every frame, straight or
// hooked, and measures them: the axis is right to its error. With -long it goes to 60 px,
// with -spoiled 8 -v it prints the table of DEVELOPERS.md.
func TestTrailedNights(t *testing.T) {
	if testing.Short() {
		t.Skip("slow")
	}
	solver, done := newSolver(t)
	defer done()
	list := []trails{{px: 15}, {px: 30, hooked: true}}
	if night.Long() {
		list = []trails{{}, {px: 15}, {px: 15, hooked: true}, {px: 30}, {px: 30, hooked: true}, {px: 30, aside: true}, {px: 60}, {px: 60, hooked: true}}
	}
	t.Logf("seed %d, %d nights of four frames each", seedOfSpoiled, *spoiled)
	for _, k := range list {
		t.Run(fmt.Sprintf("%+v", k), func(t *testing.T) { k.measure(t, solver) })
	}
}

func (k trails) measure(t *testing.T, solver *solve.Solver) {
	t.Helper()
	frames, found, answers, named := 0, 0, 0, 0
	var errs, pulls []float64
	for i := range *spoiled {
		rng := rand.New(rand.NewPCG(seedOfSpoiled, 500+uint64(i)))
		spec := night.SmallSpec(rng, 4)
		k.spoil(rng, &spec)
		n, err := night.New(spec)
		if err != nil {
			t.Fatal(err)
		}
		st, err := look(n, unchanged, solver)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range st.Frames {
			frames++
			if f.In() {
				found++
			}
		}
		if len(told(&st)) > 0 {
			named++
		}
		a := st.Answer
		if a == nil {
			continue
		}
		answers++
		off := a.Axis.Sep(n.Truth(n.Len() - 1).Axis)
		pull := float64(off) / math.Sqrt(a.Cov[0][0]+a.Cov[1][1])
		errs, pulls = append(errs, off.Arcseconds()), append(pulls, pull)
		if pull > 4 {
			t.Errorf("seed %d, night %d: axis %.1f arcsec off, %.1f of the stated error, by %d frames", seedOfSpoiled, i, off.Arcseconds(), pull, len(a.Sightings))
		}
	}
	slices.Sort(errs)
	if len(errs) == 0 {
		errs = []float64{math.NaN()}
	}
	t.Logf("%g px, hooked %v, aside %v: %d of %d frames recognised, %d of %d nights answered, error median %.2f, largest %.2f arcsec, over stated rms %.2f; said in %d",
		k.px, k.hooked, k.aside, found, frames, answers, *spoiled, errs[len(errs)/2], errs[len(errs)-1], rms(pulls), named)
	if k.px <= 30 && found*10 < frames*7 {
		t.Errorf("seed %d, trails of %g px: %d of %d frames recognised, want seven in ten", seedOfSpoiled, k.px, found, frames)
	}
}

// newSolver opens the index of the user's cache folder.
func newSolver(t *testing.T) (s *solve.Solver, done func() error) {
	t.Helper()
	dir, err := shelf.Folder()
	if err != nil {
		t.Fatal(err)
	}
	lib := &index.Library{Dir: dir, List: stars.Embedded(), Now: time.Now}
	return &solve.Solver{Library: lib}, lib.Close
}

// told are what the look of the stars is said to tell.
func told(st *session.State) (out []*series.Finding) {
	for _, n := range append(st.Doubts, st.Notes...) {
		if n.Kind == session.StarsShow {
			out = append(out, n.Finding)
		}
	}
	return out
}

// look measures a night and returns the state.
func look(n *night.Night, change func(int, *render.Scene), solver *solve.Solver) (session.State, error) {
	m, err := session.New(session.Config{Now: time.Now, Camera: &rendered{n, change, solver}})
	if err != nil {
		return session.State{}, err
	}
	var paths []string
	for k := range n.Len() {
		paths = append(paths, fmt.Sprint(k))
	}
	err = m.Measure(context.Background(), paths)
	return m.State(), err
}
