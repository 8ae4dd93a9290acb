// Package solve recognises the stars of a photograph: it proposes where the
// camera pointed from patterns of four stars, tests each proposal against
// chance with all stars, and refines attitude and lens with every match.
package solve

import (
	"context"
	"errors"
	"fmt"
	"math"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"pintle/index"
	"pintle/index/optics"
	"pintle/index/sphere"
	"pintle/index/stars"
	"pintle/solve/detect"
)

// Hint is what is known of a frame beforehand. It only makes solving faster: a
// frame whose hint is wrong is solved without it, but for the last search, a
// sweep, which with the lens of another frame is made for that lens alone.
type Hint struct {
	// Scale is the angle per pixel, 0 when unknown.
	Scale sphere.Angle
	// Near is the solution of a frame by the same camera, wherever that one
	// pointed; its lens is tried first.
	Near *Solution
	// At is where the middle of the frame must be, as a mount says, good to Within.
	// Without it that is where Near pointed, good to half its diagonal. It is of use
	// with Near only.
	At     *sphere.Sky
	Within sphere.Angle
	// Usual is what this camera had on another night, of which the lens and the
	// size count. It orders the search and nothing else: with a wrong one a frame
	// gets the answer that it gets without, a little later.
	Usual *Solution
}

// Effort is how far a search goes. Each includes those before it.
type Effort int

const (
	// Everything is the search without a bound: Everywhere, and at last the long
	// search, the sweep.
	Everything Effort = iota
	// There looks where the hint says that the frame must be, with the lens of
	// Hint.Near.
	There
	// Nearby looks up to some frames away from there, and with that lens, and for a
	// stated scale, in the whole sky for patterns; without the lens of another frame
	// it takes a quick look at all bands.
	Nearby
	// Everywhere looks for patterns of any size in the whole sky.
	Everywhere
)

// Options steer Solve.
type Options struct {
	// Epoch is the Julian year of the frame, for proper motion.
	Epoch float64
	Hint  Hint
	// Effort bounds the search; a frame that needs more is *Unsolved.
	Effort Effort
	// Build allows bands of the index to be built when those at hand do not
	// solve the frame.
	Build bool
	// Hold is asked before every piece of the search, by several goroutines, and may
	// wait until the context ends: meanwhile other work has the machine. It may be nil.
	Hold func(ctx context.Context)
}

// Match is a detected star and the catalogue star it is.
type Match struct {
	Detected int        // place in the list of detected stars
	Star     stars.Star // at the frame's epoch
	DX, DY   float64    // measured minus predicted, px
}

// Solution is a recognised frame.
type Solution struct {
	Lens       optics.Lens
	CamFromSky sphere.Rot
	W, H       int
	Matches    []Match
	// LogOdds is the natural logarithm of the odds against the star places
	// being a chance agreement, after the number of tries is taken off.
	LogOdds float64
	// RMS is the root mean square of the matches' distances from their
	// predicted places, on the sky, after the refinement.
	RMS sphere.Angle
	// Tried counts the patterns looked up before the frame was recognised, and the
	// pairs that a sweep found worth weighing.
	Tried int
}

// Centre returns the direction of the middle of the frame.
func (s *Solution) Centre() sphere.Sky {
	return s.Sky(float64(s.W-1)/2, float64(s.H-1)/2)
}

// Sky returns the ICRS direction of a pixel.
func (s *Solution) Sky(x, y float64) sphere.Sky {
	return sphere.SkyVec(s.CamFromSky.Inv().Apply(s.Lens.Cam(x, y).Vec()))
}

// Listed calls f for every star of a list that falls on the picture, at an epoch (a
// Julian year) and down to a magnitude, with its place in pixels.
func (s *Solution) Listed(list *stars.List, faintest, epoch float64, f func(star stars.Star, x, y float64)) {
	centre, radius := reach(float64(s.W), float64(s.H), s.Sky)
	for _, star := range list.Cone(nil, centre, radius, faintest, epoch) {
		x, y, ok := s.Lens.PixelVec(s.CamFromSky.Apply(star.Pos.Vec()))
		if ok && x >= 0 && y >= 0 && x <= float64(s.W-1) && y <= float64(s.H-1) {
			f(star, x, y)
		}
	}
}

// reach returns the middle of a picture of w x h pixels and how far its corners are.
func reach(w, h float64, sky func(x, y float64) sphere.Sky) (centre sphere.Sky, radius sphere.Angle) {
	centre = sky((w-1)/2, (h-1)/2)
	for _, q := range [4][2]float64{{0, 0}, {w, 0}, {0, h}, {w, h}} {
		radius = max(radius, sky(q[0], q[1]).Sep(centre))
	}
	return centre, radius
}

// UpAngle returns the position angle, from north through east, of the
// direction of decreasing row at the middle of the frame.
func (s *Solution) UpAngle() sphere.Angle {
	return s.Centre().Toward(s.Sky(float64(s.W-1)/2, float64(s.H-1)/2-1))
}

// ScaleAtCentre returns the angle per pixel at the middle of the frame, the
// geometric mean over directions.
func (s *Solution) ScaleAtCentre() sphere.Angle {
	x, y := float64(s.W-1)/2, float64(s.H-1)/2
	a := s.Lens.Cam(x-0.5, y).Sep(s.Lens.Cam(x+0.5, y))
	b := s.Lens.Cam(x, y-0.5).Sep(s.Lens.Cam(x, y+0.5))
	return sphere.Angle(math.Sqrt(float64(a * b)))
}

// Unsolved is the error of a frame that was not recognised.
type Unsolved struct {
	// Reason says why, as far as the frame tells.
	Reason Reason
	// Tried counts the patterns looked up, and the pairs that a sweep found worth
	// weighing.
	Tried int
	// LogOdds is that of the best proposal, as in a Solution; minus infinity
	// when none came so far.
	LogOdds float64
	// Bounded says that the effort was, and that more may find the frame.
	Bounded bool
}

func (u *Unsolved) Error() string { return "not solved: " + u.Reason.String() }

// Limits of what is proposed (no source, chosen on made-up fields, see cmd/proof).
const (
	minDiagonal = 0.35 * sphere.Degree
	// Frames narrower than usualDiagonal have few stars of the embedded list, so
	// that a proposal has little to fail by; unusual is what their odds lose.
	usualDiagonal = 0.55 * sphere.Degree
	unusual       = 3
	maxDiagonal   = 75 * sphere.Degree
	// The same for a deeper list; frames that are known to be smaller than
	// deepFirst are tried with that first.
	minDeep   = 0.12 * sphere.Degree
	maxDeep   = 1.5 * sphere.Degree
	deepFirst = 0.6 * sphere.Degree
	minStars  = 4
)

// Solver recognises frames against one library. It may be used by several
// goroutines.
type Solver struct {
	Library *index.Library
	// Deep is that of a deeper list, for small frames, or nil. Its bands are
	// never built here.
	Deep *index.Library
	// Workers is the number of goroutines for one frame, 0 for all processors.
	Workers int
	// Sweeping is told that a sweep begins, the last search, which takes seconds.
	// It returns what is told the share done, by several goroutines, and 1 at the
	// end. It may be nil.
	Sweeping func() (progress func(share float64))

	bright brightStars
}

// Solve recognises the stars of one frame. The error is *Unsolved when the
// frame is not recognised; other errors are of the index or the context.
func (s *Solver) Solve(ctx context.Context, f *detect.Field, o Options) (*Solution, error) {
	run := s.run(f, o)
	if len(run.cloud.pts) < minStars {
		return nil, &Unsolved{Reason: s.reason(f), LogOdds: math.Inf(-1)}
	}
	bounded := false
	for _, stage := range run.stages() {
		if o.Effort != Everything && (stage.effort == Everything || stage.effort > o.Effort) {
			bounded = true
			continue
		}
		sol, err := run.search(ctx, stage)
		if sol != nil || err != nil {
			return sol, err
		}
	}
	// What is doubtful must have been held against all else.
	if sol := run.contest.winner(); sol != nil && !bounded {
		return sol, nil
	}
	un := &Unsolved{Reason: s.reason(f), Tried: int(run.tried.Load()), LogOdds: run.contest.best(), Bounded: bounded}
	if run.contest.tied() && !bounded {
		un.Reason = reasonTied
	}
	return nil, un
}

// maxPoints is the number of detected stars a proposal is tested with (no source,
// chosen on made-up fields, see cmd/proof).
const maxPoints = 90

// run is the work on one frame.
type run struct {
	solver  *Solver
	field   *detect.Field
	cloud   *cloud
	opt     Options
	tried   atomic.Int64
	contest *contest     // of the proposals that are not certain
	lacked  map[int]bool // bands that were not there when they were asked for
	tablers *tablers
}

func (s *Solver) run(f *detect.Field, o Options) *run {
	r := &run{solver: s, field: f, cloud: makeCloud(f, maxPoints), opt: o, contest: newContest(), lacked: map[int]bool{}, tablers: &tablers{}}
	r.cloud.compare()
	return r
}

// stage is a pass over a set of bands.
type stage struct {
	pass
	library *index.Library
	bands   []index.Band
	build   bool
	absent  bool // of use only when its band was not there
	// range of the frame's diagonal
	min, max sphere.Angle
	// lens is that of another frame by the same camera, or nil.
	lens *optics.Lens
	// usual says that lens is of another night; it is not believed to be the same.
	usual bool
	// A sweep with a place is of the sky within an angle of it.
	place  *sphere.Sky
	within sphere.Angle
	effort Effort // the least that includes the stage
}

// passes go from quick to thorough: patterns of near neighbours among few
// points, then of farther ones, then among many points, each for three
// distortions. An assumed distortion must be within about 0.015 of the true one
// for patterns out of the middle of the picture to keep their shape.
var passes = []pass{
	{points: []int{12, 17, 24, 34}, neighbours: 6, sigma: 3, slack: 0.002, budget: 100e3},
	{points: []int{12, 24}, neighbours: 6, sigma: 3, slack: 0.005, k1: -0.035, budget: 50e3, bite: 64},
	{points: []int{12, 24}, neighbours: 6, sigma: 3, slack: 0.005, k1: 0.035, budget: 50e3, bite: 64},
	{points: []int{16, 24, 34, 48}, neighbours: 10, sigma: 3, slack: 0.003, budget: 100e3, bite: 512},
	{points: []int{16, 24, 34, 48}, neighbours: 10, sigma: 3, slack: 0.005, k1: -0.035, budget: 75e3, bite: 512},
	{points: []int{16, 24, 34, 48}, neighbours: 10, sigma: 3, slack: 0.005, k1: 0.035, budget: 75e3, bite: 512},
	{points: []int{68, 90}, least: 50, neighbours: 6, sigma: 3, slack: 0.003, budget: 75e3, bite: 512},
	{points: []int{68, 90}, least: 50, neighbours: 6, sigma: 3, slack: 0.005, k1: -0.035, budget: 75e3, bite: 512},
	{points: []int{68, 90}, least: 50, neighbours: 6, sigma: 3, slack: 0.005, k1: 0.035, budget: 75e3, bite: 512},
}

// stages lists what to try: first where the frame must be, then the bands that suit
// the hint, then all that are built, then those of a deeper list, then those that
// have to be built, at last a sweep.
func (r *run) stages() []stage {
	out := r.hinted()
	all := r.solver.Library.Bands()
	whole := stage{library: r.solver.Library, bands: all, min: minDiagonal, max: maxDiagonal, effort: Everywhere}
	passes := r.enough(passes)
	for i, p := range passes {
		if i == beforeWide {
			out = append(out, r.wideStages(Everywhere, widePasses...)...)
		}
		whole.pass, whole.effort = p, Everywhere
		if i == 0 && !r.fits(r.opt.Hint.Near) {
			whole.effort = Nearby // the quick look
		}
		out = append(out, whole)
	}
	whole.effort = Everywhere
	if deep := r.solver.Deep; deep != nil {
		for _, p := range passes {
			out = append(out, stage{pass: p, library: deep, bands: deep.Bands(), min: minDeep, max: maxDeep, effort: Everywhere})
		}
	}
	if r.opt.Build {
		out = append(out, r.unbuilt(whole)...)
	}
	loose := crowdedWide
	if len(r.cloud.pts) <= mostToSweep {
		loose = looseWide
	}
	out = append(out, r.wideStages(Everything, loose)...)
	// With the lens of another frame known, the sweep for that lens must do.
	if whole.pass, whole.effort = sweepPass, Everything; r.sweeps() && !slices.ContainsFunc(out, func(s stage) bool { return (s.sweep && s.place == nil || s.wide) && s.lens != nil && !s.usual }) {
		out = append(out, whole)
	}
	return out
}

// unbuilt lists stages for the bands that have to be built, wide ones first.
func (r *run) unbuilt(whole stage) (out []stage) {
	whole.build, whole.absent = true, true
	for _, b := range slices.Backward(r.solver.Library.Bands()) {
		whole.bands = []index.Band{b}
		for _, whole.pass = range passes[:3] {
			out = append(out, whole)
		}
	}
	return out
}

// lacks reports whether a band was not there when it was first asked for. That is put
// off until then, since to open bands takes longer than to search them.
func (r *run) lacks(b index.Band) bool {
	if !r.lacked[b.Number] {
		_, err := r.solver.Library.Ready(b)
		r.lacked[b.Number] = err != nil
	}
	return r.lacked[b.Number]
}

// enough leaves out the passes that ask for more points.
func (r *run) enough(passes []pass) []pass {
	return slices.DeleteFunc(slices.Clone(passes), func(p pass) bool { return len(r.cloud.pts) < p.least })
}

// hinted lists the stages for what is known of the frame.
func (r *run) hinted() (out []stage) {
	if near := r.opt.Hint.Near; r.fits(near) {
		if drawnWide(&near.Lens) {
			return r.wideKnown(&near.Lens, false) // its diagonal is none of the bands'
		}
		out = append(out, r.lensed(near, false)...)
	} else if usual := r.opt.Hint.Usual; r.fits(usual) {
		if drawnWide(&usual.Lens) {
			out = append(out, r.wideKnown(&usual.Lens, true)...)
		} else {
			out = append(out, r.lensed(usual, true)...)
		}
	}
	if h := r.opt.Hint.Scale; h > 0 {
		d := sphere.Angle(2 * math.Atan(math.Hypot(r.cloud.w, r.cloud.h)/2*math.Tan(float64(h))))
		if d > hintedWide {
			out = append(out, r.wideHinted(d)...)
			if d > 1.25*maxDiagonal {
				return out
			}
		}
		for _, st := range r.suited(d, stage{min: d / 1.25, max: d * 1.25, effort: Nearby}) {
			for _, st.pass = range passes[:3] {
				out = append(out, st)
			}
		}
	}
	return out
}

// fits reports whether a solution is of frames as large as this one.
func (r *run) fits(s *Solution) bool {
	return s != nil && s.W == r.field.W && s.H == r.field.H && s.Lens.F > 0
}

// usualBudget is the work that the lens of another night is worth: it is often
// wrong (no source, a fifth of what a lens of the same night is worth).
const usualBudget = 20e3

// lensed lists the stages for the lens of another frame.
func (r *run) lensed(near *Solution, usual bool) (out []stage) {
	d := sphere.Angle(2 * math.Atan(near.Lens.Half/near.Lens.F))
	st := stage{min: d / 1.01, max: d * 1.01, lens: &near.Lens, usual: usual}
	if !usual {
		out = append(out, r.placed(d, st)...)
	}
	st.effort = Nearby
	st.pass = pass{points: []int{12, 24}, neighbours: 8, sigma: 3, slack: 0.001, k1: near.Lens.K1, budget: 100e3}
	if usual {
		st.budget = usualBudget
	}
	out = append(out, r.suited(d, st)...)
	if st.pass, st.effort = sweepPass, Everything; usual || !r.sweeps() {
		return out // the sweep of the whole sky begins with what suits the lens
	}
	return append(out, r.sweepSuited(d, st)...)
}

const (
	// fewestToPlace is the number of points from which on a frame is looked for
	// where it must be.
	fewestToPlace = 6
	// nearby is how far off it is looked for then, in diagonals. (Both: no source.)
	nearby = 2.5
)

// placed lists sweeps of the sky where the frame must be, and around it.
func (r *run) placed(d sphere.Angle, st stage) (out []stage) {
	if len(r.cloud.pts) < fewestToPlace {
		return nil
	}
	middle := r.opt.Hint.Near.Centre()
	st.pass, st.place, st.within, st.effort = sweepPass, &middle, d/2, There
	if h := &r.opt.Hint; h.At != nil {
		st.place, st.within = h.At, min(d, max(h.Within, d/10))
	}
	out = r.sweepSuited(d, st)
	st.within, st.effort = nearby*d, Nearby
	return append(out, r.sweepSuited(d, st)...)
}

// likely returns the diagonal that the hint of a scale or of the usual lens gives, 0
// when there is none.
func (r *run) likely() float64 {
	if h := float64(r.opt.Hint.Scale); h > 0 {
		return 2 * math.Atan(math.Hypot(r.cloud.w, r.cloud.h)/2*math.Tan(h))
	}
	if u := r.opt.Hint.Usual; r.fits(u) {
		return 2 * math.Atan(u.Lens.Half/u.Lens.F)
	}
	return 0
}

// sweepSuited returns sweeps of the bands that suit a diagonal, but for those of
// a deeper list, which has too many stars. For a sweep of a place none is built while
// others are at hand.
func (r *run) sweepSuited(d sphere.Angle, st stage) []stage {
	out := slices.DeleteFunc(r.suited(d, st), func(s stage) bool { return s.library != r.solver.Library })
	if st.place != nil && len(out) > 1 {
		out = out[:1]
	}
	return out
}

// suited returns stages with the bands of each library that suit a diagonal, the
// library to try first first: those at hand together, then one by one those that have
// to be built, the wide ones first, which take the least time.
func (r *run) suited(d sphere.Angle, st stage) (out []stage) {
	add := func(l *index.Library, build bool) {
		st.library, st.build, st.bands = l, false, nil
		var missing []index.Band
		for _, b := range l.Bands() {
			if !b.Suits(d) {
				continue
			}
			if _, err := l.Ready(b); errors.Is(err, index.ErrAbsent) || errors.Is(err, index.ErrUnfit) {
				missing = append(missing, b)
			} else {
				st.bands = append(st.bands, b) // what is wrong with it is told when it is read
			}
		}
		if len(st.bands) > 0 {
			out = append(out, st)
		}
		for st.build = build; build && len(missing) > 0; missing = missing[:len(missing)-1] {
			st.bands = missing[len(missing)-1:]
			out = append(out, st)
		}
	}
	deep := r.solver.Deep
	if deep != nil && d < deepFirst {
		add(deep, false)
	}
	add(r.solver.Library, r.opt.Build)
	if deep != nil && d >= deepFirst {
		add(deep, false)
	}
	return out
}

// readers opens the bands of a stage; those that are not built are left out
// unless the stage allows building.
func (r *run) readers(ctx context.Context, st stage) ([]*index.Reader, error) {
	var out []*index.Reader
	for _, b := range st.bands {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		reader, err := st.library.Ready(b)
		if err != nil && st.build {
			reader, err = st.library.Get(ctx, b)
		}
		if err != nil {
			if st.build || !errors.Is(err, index.ErrAbsent) && !errors.Is(err, index.ErrUnfit) {
				return nil, err
			}
			continue
		}
		out = append(out, reader)
	}
	return out, nil
}

// search goes through one stage with several goroutines. Both results are nil
// when nothing was found.
func (r *run) search(ctx context.Context, st stage) (*Solution, error) {
	if st.absent && !r.lacks(st.bands[0]) {
		return nil, nil
	}
	readers, err := r.readers(ctx, st)
	if err != nil || len(readers) == 0 {
		return nil, err
	}
	if st.wide {
		return r.wide(ctx, st)
	}
	if st.sweep {
		return r.sweep(ctx, st, readers)
	}
	order := r.cloud.ranking(slices.Max(st.points))
	list := st.patterns(r.cloud, order)
	all := bites(len(list), len(readers), max(firstBite, st.bite))
	return r.share(ctx, st, readers, len(order), len(all), func(w *worker, i int) (*Solution, error) {
		b := &all[i]
		for _, s := range list[b.from:b.to] {
			if sol, err := w.pattern(ctx, s, b.band); sol != nil || err != nil {
				return sol, err
			}
		}
		return nil, nil
	})
}

// bite is some patterns of a pass, by their places, that are looked up in one band.
type bite struct{ band, from, to int }

// The first piece of a pass, unless it says otherwise, how many times larger the next
// is, and the largest; and how many patterns a worker takes (all: no source).
const (
	firstBite = 8
	biteStep  = 4
	mostBite  = 4096
	mouthful  = 16
)

// bites cuts a pass over n patterns into pieces of which each is looked up in one band
// after the other: the first ones are small, so that what is found soon is found at
// once, the later ones large, so that a band is read but a few times when there is no
// room for all: its pages are the dearest part of a look-up.
func bites(n, bands, first int) (out []bite) {
	for from, size := 0, first; from < n; from, size = from+size, min(biteStep*size, mostBite) {
		to := min(n, from+size)
		for band := range bands {
			for at := from; at < to; at += mouthful {
				out = append(out, bite{band, at, min(to, at+mouthful)})
			}
		}
	}
	return out
}

// goesOn reports whether the search does, when nothing holds it up any more.
func (r *run) goesOn(ctx context.Context) bool {
	if r.opt.Hold != nil {
		r.opt.Hold(ctx)
	}
	return ctx.Err() == nil
}

// share has workers for n points do the jobs of a stage, until one has found a
// solution.
func (r *run) share(ctx context.Context, st stage, readers []*index.Reader, n, jobs int, do func(w *worker, i int) (*Solution, error)) (*Solution, error) {
	workers := r.solver.Workers
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	var (
		next   atomic.Int64
		done   atomic.Bool
		mu     sync.Mutex
		found  *Solution
		failed error
		wg     sync.WaitGroup
	)
	for range workers {
		wg.Go(func() {
			w := newWorker(r, st, readers, n)
			defer w.end()
			for !done.Load() && r.goesOn(ctx) {
				i := int(next.Add(1)) - 1
				if i >= jobs {
					return
				}
				sol, err := do(w, i)
				if sol == nil && err == nil {
					continue
				}
				done.Store(true)
				mu.Lock()
				if found == nil {
					found, failed = sol, err
				}
				mu.Unlock()
				return
			}
		})
	}
	wg.Wait()
	if found == nil && failed == nil && ctx.Err() != nil {
		return nil, ctx.Err()
	}
	if failed != nil {
		return nil, fmt.Errorf("searching the index: %w", failed)
	}
	return found, nil
}
