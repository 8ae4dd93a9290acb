// Command proof measures the solver on made-up star lists: how often it
// recognises a field, and whether it ever recognises one that is not there; and
// on rendered frames, through detection, with all that spoils real ones.
//
//	go run ./cmd/proof -n 10000
//	go run ./cmd/proof -frames 500 -v
//
// How the cost grows with the size of the frame, the stars in it and the depth of
// the catalogue, as tables and a picture:
//
//	go run ./cmd/proof -cost testdata/cost.svg
//
// It also invents star catalogues and measures how they are read:
//
//	go run ./cmd/proof -catalogue stars.csv -n 5000000
//	go run ./cmd/proof -list stars.list stars.csv
//
// Every number it prints follows from the seed.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"runtime/pprof"
	"slices"
	"sort"
	"sync"
	"sync/atomic"
	"time"

	"pintle/index"
	"pintle/index/stars"
	"pintle/solve"
	"pintle/solve/detect"
)

const defaultSeed = 20261125

func main() {
	n := flag.Int("n", 1000, "number of fields")
	lists := flag.Int("lists", -1, "number of lists without a pattern, of each of two kinds (default: as many as fields)")
	most := flag.Int("most", 400, "the largest number of points, at least 8, of a list without a pattern")
	seed := flag.Uint64("seed", defaultSeed, "seed of the random numbers")
	dir := flag.String("index", "", "folder of the star index (default: pintle/index in the user's cache folder)")
	frames := flag.Int("frames", 0, "render, detect and solve so many random frames instead")
	from := flag.Int("from", 0, "number of the first field, frame or list without a pattern")
	within := flag.Duration("within", 0, "begin no more frames after this time")
	keep := flag.String("keep", "", "folder for frames that failed, as FITS")
	only := flag.Int("only", -1, "run only this field and say more")
	lens := flag.String("lens", "", "draw fields of this kind of wide lens: rectilinear (60 to 120 degrees) or fisheye (90 to 180)")
	profile := flag.String("profile", "", "write a profile of the processor time to this file")
	verbose := flag.Bool("v", false, "name each field that failed")
	catalogue := flag.String("catalogue", "", "write a catalogue of n invented stars to this file (.csv, .fits, .vot, .bvot, .b2vot) and end")
	list := flag.String("list", "", "pack the catalogue files named behind the flags into this star list and end")
	cost := flag.String("cost", "", "measure how the processor time grows instead and draw it into this file (.svg, .png)")
	flag.Parse()
	if *profile != "" {
		f, err := os.Create(*profile)
		if err == nil {
			err = pprof.StartCPUProfile(f)
		}
		if err != nil {
			fmt.Fprintln(os.Stderr, "proof:", err)
			os.Exit(1)
		}
		defer pprof.StopCPUProfile()
	}
	var err error
	switch {
	case *catalogue != "":
		err = invent(*catalogue, *seed, *n)
	case *list != "":
		err = importCatalogues(*list, flag.Args())
	default:
		err = run(job{*n, *lists, *most, *frames, *from, *only, *seed, *dir, *keep, *cost, *within, *verbose, *lens})
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "proof:", err)
		os.Exit(1)
	}
}

// job is what the command line asks for.
type job struct {
	n, lists, most, frames, from, only int
	seed                               uint64
	dir, keep, cost                    string
	within                             time.Duration
	verbose                            bool
	lens                               string
}

// openIndex opens the star index in a folder, by default that of the program,
// and builds what is missing.
func openIndex(dir string) (*index.Library, error) {
	if dir == "" {
		cache, err := os.UserCacheDir()
		if err != nil {
			return nil, err
		}
		dir = filepath.Join(cache, "pintle", "index")
	}
	lib := &index.Library{Dir: dir, List: stars.Embedded(), Now: time.Now, Room: 1 << 30}
	for _, b := range lib.Bands() {
		if _, err := lib.Get(context.Background(), b); err != nil {
			lib.Close()
			return nil, err
		}
	}
	return lib, nil
}

func run(j job) error {
	n, lists, seed, only, verbose := j.n, j.lists, j.seed, j.only, j.verbose
	if err := checkLens(j.lens); err != nil {
		return err
	}
	lib, err := openIndex(j.dir)
	if err != nil {
		return err
	}
	defer lib.Close()
	t := trial{solver: &solve.Solver{Library: lib, Workers: 1}, seed: seed, lens: j.lens}
	if j.cost != "" {
		return t.cost(j.cost)
	}
	if j.frames > 0 {
		fmt.Printf("seed %d, frames %d to %d\n", seed, j.from, j.from+j.frames-1)
		return t.frames(j.from, j.frames, j.within, verbose, j.keep)
	}
	if lists < 0 {
		lists = n
	}
	fmt.Printf("seed %d, %d fields and %d lists without a pattern\n", seed, n, 2*lists)
	if only >= 0 {
		return t.one(only)
	}
	if n > 0 {
		t.fields(j.from, n, verbose)
	}
	if lists > 0 {
		t.chance(j.from, lists, max(8, j.most))
	}
	return nil
}

// trial runs many lists through one solver.
type trial struct {
	solver *solve.Solver
	seed   uint64
	lens   string // kind of the fields, see lensKinds
}

// outcome of one field.
type outcome struct {
	number         int
	field          field
	solved, wrong  bool
	took           time.Duration
	logOdds, apart float64
	tried          int
}

func (t *trial) rng(number int, kind uint64) *rand.Rand {
	return rand.New(rand.NewPCG(t.seed, kind<<32+uint64(number)))
}

// solve runs one list; sol is nil when it was not solved.
func (t *trial) solve(f *detect.Field) (sol *solve.Solution, took time.Duration, tried int, odds float64) {
	start := time.Now()
	sol, err := t.solver.Solve(context.Background(), f, solve.Options{Epoch: 2026.9})
	took = time.Since(start)
	var un *solve.Unsolved
	if errors.As(err, &un) {
		return nil, took, un.Tried, un.LogOdds
	}
	if err != nil {
		panic(err)
	}
	return sol, took, sol.Tried, sol.LogOdds
}

// try makes a field and judges the answer against the truth.
func (t *trial) try(number int) outcome {
	f := t.field(t.rng(number, 1))
	o := outcome{number: number, field: f}
	var sol *solve.Solution
	sol, o.took, o.tried, o.logOdds = t.solve(f.list)
	if sol == nil {
		return o
	}
	// True when the middle and a corner of the frame are where they belong, to
	// a hundredth of the frame.
	o.apart = max(f.apart(sol, 0.5, 0.5), f.apart(sol, 0.15, 0.15))
	o.solved = o.apart < 0.01*f.diagonal
	o.wrong = !o.solved
	return o
}

// field draws a field of the kind that is measured.
func (t *trial) field(rng *rand.Rand) field {
	if t.lens != "" {
		return makeWideField(rng, t.solver.Library.List, t.lens)
	}
	return makeField(rng, t.solver.Library.List)
}

// parallel calls f for 0 to n-1 on all processors.
func parallel(n int, f func(i int)) {
	var next atomic.Int64
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				f(i)
			}
		})
	}
	wg.Wait()
}

// fields runs n fields from the given number on.
func (t *trial) fields(from, n int, verbose bool) {
	all := make([]outcome, n)
	parallel(n, func(i int) { all[i] = t.try(from + i) })
	wrong, times := 0, []float64{}
	for _, o := range all {
		if o.wrong {
			wrong++
		}
		if o.solved {
			times = append(times, o.took.Seconds()*1000)
		}
		if verbose && !o.solved && o.field.truly >= 6 {
			fmt.Printf("field %d: diagonal %.2f deg, %d of %d stars true, %d missing, noise %.2f px, distortion %+.3f, law %.2f, wrong %v, %d tried, best log odds %.1f, %v\n",
				o.number, o.field.diagonal*180/math.Pi, o.field.truly, len(o.field.list.Stars), o.field.missing, o.field.noise, o.field.k1, o.field.law, o.wrong, o.tried, o.logOdds, o.took.Round(time.Millisecond))
		}
	}
	table("true stars in the list", all, []float64{4, 5, 6, 7, 8, 10, 15, 25, 50, 100, 1e9}, func(o outcome) float64 { return float64(o.field.truly) })
	ten := all[:0:0]
	for _, o := range all {
		if o.field.truly >= 10 {
			ten = append(ten, o)
		}
	}
	table("diagonal, degrees (10 true stars or more)", ten, []float64{0.6, 1, 2, 4, 8, 16, 32, 60, 75, 90, 105, 120, 140, 160, 181}, func(o outcome) float64 { return o.field.diagonal * 180 / math.Pi })
	sort.Float64s(times)
	if len(times) > 0 {
		fmt.Printf("time of a solved field: median %.1f ms, 95th percentile %.1f ms, longest %.1f ms\n", times[len(times)/2], times[len(times)*95/100], times[len(times)-1])
	}
	fmt.Printf("wrong solutions: %d of %d\n", wrong, n)
}

// table prints the share of solved fields by the value that of returns.
func table(title string, all []outcome, edges []float64, of func(outcome) float64) {
	fmt.Printf("\n%s\n", title)
	total, solved := 0, 0
	for i := range len(edges) - 1 {
		n, s := 0, 0
		for _, o := range all {
			if v := of(o); v >= edges[i] && v < edges[i+1] {
				n++
				if o.solved {
					s++
				}
			}
		}
		if n > 0 {
			fmt.Printf("  %6g up to %-6g  %6d of %6d solved  %7.2f %%\n", edges[i], edges[i+1], s, n, 100*float64(s)/float64(n))
		}
		total += n
		solved += s
	}
	if total > 0 {
		fmt.Printf("  together           %6d of %6d solved  %7.2f %%\n", solved, total, 100*float64(solved)/float64(total))
	}
}

// chance runs n lists of each of two kinds that hold no pattern of the sky, from
// the given number on, of no more than most points.
func (t *trial) chance(from, n, most int) {
	false1, false2 := make([]bool, n), make([]bool, n)
	var spent [2]atomic.Int64
	odds := make([]float64, 2*n)
	parallel(n, func(i int) {
		rng := t.rng(from+i, 2)
		sol, took, _, best := t.solve(randomList(rng, most))
		odds[2*i] = best
		false1[i] = sol != nil
		spent[0].Add(int64(took))
		f := t.field(rng)
		f.list.Stars = f.list.Stars[:min(most, len(f.list.Stars))]
		scramble(rng, f.list)
		sol, took, _, best = t.solve(f.list)
		odds[2*i+1] = best
		false2[i] = sol != nil
		spent[1].Add(int64(took))
	})
	fmt.Printf("\nrandom points: %d of %d solved, mean %.0f ms\n", count(false1), n, float64(spent[0].Load())/float64(n)/1e6)
	fmt.Printf("real fields with positions scrambled: %d of %d solved, mean %.0f ms\n", count(false2), n, float64(spent[1].Load())/float64(n)/1e6)
	all := len(odds)
	odds = slices.DeleteFunc(odds, func(x float64) bool { return math.IsInf(x, -1) })
	slices.Sort(odds)
	if k := len(odds); k > 0 {
		fmt.Printf("log odds of the best proposal of a list, where there is one (%d of %d): median %.1f, 99 %% below %.1f, largest %.1f\n", k, all, odds[k/2], odds[k*99/100], odds[k-1])
	}
}

func count(b []bool) (k int) {
	for _, x := range b {
		if x {
			k++
		}
	}
	return k
}

// one runs one field and prints what there is to see.
func (t *trial) one(number int) error {
	o := t.try(number)
	fmt.Printf("diagonal %.3f deg, %d of %d stars true, %d missing, noise %.2f px, distortion %+.3f, mirrored %v\n",
		o.field.diagonal*180/math.Pi, o.field.truly, len(o.field.list.Stars), o.field.missing, o.field.noise, o.field.k1, o.field.lens.Mirrored)
	fmt.Printf("solved %v, wrong %v, %d tried, log odds %.1f, %.3f of the frame apart, %v\n", o.solved, o.wrong, o.tried, o.logOdds, o.apart/o.field.diagonal, o.took)
	return nil
}
