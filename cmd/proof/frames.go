package main

import (
	"bytes"
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
	"sync/atomic"
	"time"

	"pintle/cmd/night"
	"pintle/solve"
	"pintle/solve/detect"
	"pintle/solve/frame"
	"pintle/solve/render"
)

// photo is a rendered frame on its way through detection and solving.
type photo struct {
	number   int
	spec     night.Spec
	spoilers []spoiler
	by       float64 // size of the picture over that of the exposure
	image    *frame.Image
	stars    []night.Star // that were drawn, places in the picture, brightest first

	field  *detect.Field
	seen   tally
	solved bool
	wrong  bool
	reason string
	apart  float64 // of the diagonal
	tried  int
	took   time.Duration // detection and solving
}

// frames renders, detects and solves n random frames from number first on; it
// begins no more of them when the time is up.
func (t *trial) frames(first, n int, within time.Duration, verbose bool, keep string) error {
	all := make([]*photo, n)
	var failed atomic.Value
	start := time.Now()
	parallel(n, func(i int) {
		if within > 0 && time.Since(start) > within {
			return
		}
		p, err := t.photo(first + i)
		if err == nil && keep != "" && !p.solved {
			err = p.keep(keep)
		}
		if err != nil {
			failed.Store(err)
			return
		}
		p.image, p.stars = nil, nil
		all[i] = p
		if verbose && (!p.solved || n == 1) {
			fmt.Println(p)
		}
	})
	if err := failed.Load(); err != nil {
		return err.(error)
	}
	all = slices.DeleteFunc(all, func(p *photo) bool { return p == nil })
	fmt.Printf("\n%d frames in %v\n", len(all), time.Since(start).Round(time.Second))
	photoTable("diagonal, degrees", all, []float64{0, 1, 2, 4, 8, 16, 32, 90}, func(p *photo) float64 { return p.diagonal() })
	photoTable("listed stars detected", all, []float64{0, 4, 6, 8, 10, 15, 25, 50, 100, 1e9}, func(p *photo) float64 { return float64(p.seen.listed) })
	photoTable("megapixels", all, []float64{0, 0.5, 1, 2, 4, 8, 50}, func(p *photo) float64 { return float64(p.field.W*p.field.H) / 1e6 })
	photoTable("star width, pixels", all, []float64{0, 1.5, 2, 3, 4, 6, 10, 50}, func(p *photo) float64 { return p.field.FWHM })
	fmt.Println("\nwhat befell the frame")
	for _, s := range append([]spoiler{{name: "nothing"}}, spoilers...) {
		photoLine(s.name, all, func(p *photo) bool { return p.has(s.name) })
	}
	causes := map[string]int{}
	for _, p := range all {
		if !p.solved {
			causes[p.cause()]++
		}
	}
	if len(causes) > 0 {
		fmt.Println("\ncauses of failure")
	}
	for c, k := range causes {
		fmt.Printf("  %4d %s\n", k, c)
	}
	return nil
}

// photo makes frame number and judges what becomes of it.
func (t *trial) photo(number int) (*photo, error) {
	rng := t.rng(number, 3)
	p := &photo{number: number, by: 1}
	for _, i := range rng.Perm(len(spoilers))[:rng.IntN(4)] {
		p.spoilers = append(p.spoilers, spoilers[i])
	}
	p.spec = night.RandomFrame(rng, func(s *night.Spec) {
		for _, k := range p.spoilers {
			if k.spec != nil {
				k.spec(rng, s)
			}
		}
	})
	n, err := night.New(p.spec)
	if err != nil {
		return nil, fmt.Errorf("frame %d: %w", number, err)
	}
	p.expose(n, rng)
	start := time.Now()
	if p.field, err = detect.Find(p.image, detect.Options{Workers: 1}); err != nil {
		return nil, fmt.Errorf("frame %d: %w", number, err)
	}
	p.seen = p.count()
	sol, err := t.solver.Solve(context.Background(), p.field, solve.Options{Epoch: 2026.9})
	p.took = time.Since(start)
	var un *solve.Unsolved
	switch {
	case errors.As(err, &un):
		p.reason, p.tried = un.Reason.String(), un.Tried
	case err != nil:
		return nil, fmt.Errorf("frame %d: %w", number, err)
	default:
		p.tried = sol.Tried
		p.judge(n, sol)
	}
	return p, nil
}

// expose renders the picture and notes where the stars are on it.
func (p *photo) expose(n *night.Night, rng *rand.Rand) {
	p.image = n.RenderWith(0, func(sc *render.Scene) {
		for _, k := range p.spoilers {
			if k.scene != nil {
				k.scene(rng, sc, &p.spec)
			}
		}
		simplify(&sc.PSF)
	})
	for _, k := range p.spoilers {
		if k.picture != nil {
			var by float64
			p.image, by = k.picture(rng, p.image, &p.spec)
			p.by *= by
		}
	}
	p.stars = n.Stars(0)
	for i := range p.stars {
		s := &p.stars[i]
		s.X, s.Y = p.by*(s.X+0.5)-0.5, p.by*(s.Y+0.5)-0.5
	}
	slices.SortFunc(p.stars, func(a, b night.Star) int { return cmp.Compare(b.Flux, a.Flux) })
}

// simplify leaves one cause of spread images and no wings on them: the points
// that make up a star are many as it is.
func simplify(f *render.PSF) {
	switch {
	case f.Defocus > 0:
		f.Trail, f.Corner, f.Coma = 0, 0, 0
	case f.Trail > 0:
		f.Corner, f.Coma = 0, 0
	}
	if f.Defocus+f.Trail+f.Coma+f.Corner > 0 {
		f.Beta = 0
	}
}

// judge compares a solution with the truth, in the middle and in a corner.
func (p *photo) judge(n *night.Night, sol *solve.Solution) {
	t := n.Truth(0)
	for _, at := range [][2]float64{{0.5, 0.5}, {0.15, 0.15}} {
		x, y := at[0]*float64(p.image.W), at[1]*float64(p.image.H)
		d := t.Sky((x+0.5)/p.by-0.5, (y+0.5)/p.by-0.5).Sep(sol.Sky(x, y))
		p.apart = max(p.apart, d.Degrees()/p.diagonal())
	}
	p.solved = p.apart < 0.01
	p.wrong = !p.solved
}

// tally says what became of the stars in detection.
type tally struct {
	listed, unlisted, none int // detections that are listed stars, invented ones, no star at all
	top                    int // listed ones among the 34 brightest detections
	topNone                int // no star among them
	missed                 int // of the 20 brightest listed stars on the frame
	lost                   []night.Star
}

func (p *photo) count() (c tally) {
	near := func(x, y, tx, ty float64) bool {
		return math.Hypot(x-tx, y-ty) < max(1.5, 0.5*p.field.FWHM)
	}
	found := map[int]bool{}
	for i, d := range p.field.Stars {
		k := slices.IndexFunc(p.stars, func(s night.Star) bool { return near(s.X, s.Y, d.X, d.Y) })
		switch {
		case k < 0:
			c.none++
			if i < 34 {
				c.topNone++
			}
		case p.stars[k].Listed:
			c.listed++
			if i < 34 {
				c.top++
			}
			found[k] = true
		default:
			c.unlisted++
		}
	}
	bright := 0
	for k, s := range p.stars {
		if bright == 20 {
			break
		}
		if s.Listed && s.X > 0 && s.Y > 0 && s.X < float64(p.image.W) && s.Y < float64(p.image.H) {
			bright++
			if !found[k] {
				c.missed++
				c.lost = append(c.lost, s)
			}
		}
	}
	return c
}

// cause names the class of a failure.
func (p *photo) cause() string {
	c := p.seen
	switch {
	case p.wrong:
		return "WRONG solution"
	case c.listed < 4:
		return "nothing to match: fewer than 4 listed stars detected"
	case c.top < 8 && c.topNone > 17:
		return "detection: false spots outnumber the stars among the brightest 34"
	case c.listed < 10:
		return "few: fewer than 10 listed stars detected"
	case c.top < 8:
		return "few listed stars among the brightest 34"
	}
	return "matching: 10 listed stars or more, 8 of them among the brightest 34"
}

func (p *photo) diagonal() float64 {
	c := &p.spec.Camera
	return 2 * math.Atan(math.Hypot(float64(c.W), float64(c.H))*c.Pixel/2000/c.Focal) * 180 / math.Pi
}

func (p *photo) has(name string) bool {
	return name == "nothing" && len(p.spoilers) == 0 || slices.ContainsFunc(p.spoilers, func(s spoiler) bool { return s.name == name })
}

func (p *photo) String() string {
	c, s := &p.spec.Camera, p.seen
	var names []string
	for _, k := range p.spoilers {
		names = append(names, k.name)
	}
	out := fmt.Sprintf("frame %d: %d x %d, %.2f deg, star width %.1f (drawn %.1f) px, %d bits, mosaic %q, exposure %v, K1 %+.3f, mirrored %v, sky %.1f; %s\n",
		p.number, p.field.W, p.field.H, p.diagonal(), p.field.FWHM, c.PSF.FWHM, c.Sensor.Bits, c.Sensor.Mosaic, c.Exposure, c.K1, c.Mirrored, p.spec.Sky.Brightness, strings.Join(names, ", "))
	out += fmt.Sprintf("  detected %d: %d listed, %d not listed, %d no stars; of the brightest 34: %d listed, %d no stars; %d of the 20 brightest missed\n",
		len(p.field.Stars), s.listed, s.unlisted, s.none, s.top, s.topNone, s.missed)
	for _, l := range s.lost[:min(4, len(s.lost))] {
		out += fmt.Sprintf("  missed V %.1f, %.0f electrons, at %.1f, %.1f\n", l.V, l.Flux, l.X, l.Y)
	}
	verdict := "solved"
	if !p.solved {
		verdict = p.cause()
	}
	return out + fmt.Sprintf("  %s; %d tried, %.4f of the diagonal apart; %s", verdict, p.tried, p.apart, p.reason)
}

// keep writes the picture as FITS.
func (p *photo) keep(dir string) error {
	var b bytes.Buffer
	if err := render.WriteFITS(&b, p.image, nil); err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(dir, fmt.Sprintf("frame%05d.fits", p.number)), b.Bytes(), 0o644)
}

// photoTable prints how many frames were solved, by the value that of returns.
func photoTable(title string, all []*photo, edges []float64, of func(*photo) float64) {
	fmt.Printf("\n%s\n", title)
	for i := range len(edges) - 1 {
		photoLine(fmt.Sprintf("%6g up to %-6g", edges[i], edges[i+1]), all, func(p *photo) bool { v := of(p); return v >= edges[i] && v < edges[i+1] })
	}
	photoLine("together", all, func(*photo) bool { return true })
}

func photoLine(name string, all []*photo, in func(*photo) bool) {
	n, solved, wrong := 0, 0, 0
	for _, p := range all {
		if in(p) {
			n++
			if p.solved {
				solved++
			}
			if p.wrong {
				wrong++
			}
		}
	}
	if n > 0 {
		fmt.Printf("  %-24s %5d frames %5d solved %4d not solved %3d wrong  %6.2f %%\n", name, n, solved, n-solved-wrong, wrong, 100*float64(solved)/float64(n))
	}
}
