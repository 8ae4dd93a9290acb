package detect

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"pintle/solve/frame"
	"pintle/solve/render"
)

const seed = 20261125

// field returns n stars over a w x h frame, ten times as many for every 2.3
// magnitudes, the faintest with least electrons.
func field(n, w, h int, least float64, rng *rand.Rand) []render.Star {
	stars := make([]render.Star, n)
	for i := range stars {
		stars[i] = render.Star{
			X: rng.Float64()*float64(w) - 0.5, Y: rng.Float64()*float64(h) - 0.5,
			Flux: least * math.Pow(1-rng.Float64(), -1/1.1),
		}
	}
	return stars
}

// lattice returns stars of one flux 40 pixels apart, each moved by up to half
// a pixel.
func lattice(w, h int, flux float64, rng *rand.Rand) []render.Star {
	var stars []render.Star
	for y := 30; y < h-30; y += 40 {
		for x := 30; x < w-30; x += 40 {
			stars = append(stars, render.Star{X: float64(x) + rng.Float64() - 0.5, Y: float64(y) + rng.Float64() - 0.5, Flux: flux})
		}
	}
	return stars
}

// slow skips a test in short mode.
func slow(t *testing.T) {
	t.Helper()
	if testing.Short() {
		t.Skip("slow")
	}
}

func find(t testing.TB, im *frame.Image, o Options) *Field {
	t.Helper()
	f, err := Find(im, o)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// pair is a true star and what was found of it.
type pair struct {
	want render.Star
	got  Star
}

func (p pair) dx() float64 { return p.got.X - p.want.X }
func (p pair) dy() float64 { return p.got.Y - p.want.Y }

// match pairs every true star, brightest first, with the nearest found one
// within r pixels, and returns the found ones that are left.
func match(truth []render.Star, f *Field, r float64) (pairs []pair, missed []render.Star, left []Star) {
	used := make([]bool, len(f.Stars))
	order := make([]int, len(truth))
	for i := range order {
		order[i] = i
	}
	for i := range order { // brightest first
		for j := i; j > 0 && truth[order[j]].Flux > truth[order[j-1]].Flux; j-- {
			order[j], order[j-1] = order[j-1], order[j]
		}
	}
	for _, i := range order {
		best, at := r, -1
		for k, g := range f.Stars {
			if d := math.Hypot(g.X-truth[i].X, g.Y-truth[i].Y); d < best && !used[k] {
				best, at = d, k
			}
		}
		if at < 0 {
			missed = append(missed, truth[i])
			continue
		}
		used[at] = true
		pairs = append(pairs, pair{truth[i], f.Stars[at]})
	}
	for k, u := range used {
		if !u {
			left = append(left, f.Stars[k])
		}
	}
	return pairs, missed, left
}

// alone reports whether no other true star disturbs the one at (x, y).
func alone(s render.Star, truth []render.Star, r float64) bool {
	for _, o := range truth {
		if d := math.Hypot(o.X-s.X, o.Y-s.Y); d > 0 && d < r && o.Flux > 0.01*s.Flux {
			return false
		}
	}
	return true
}

// scatter is the statistics of position errors.
type errorSum struct {
	n            int
	xx, pull     float64 // sums of squares, per coordinate
	biasX, biasY float64
}

func (e *errorSum) add(p pair) {
	e.n++
	e.xx += (p.dx()*p.dx() + p.dy()*p.dy()) / 2
	e.pull += (p.dx()*p.dx()/(p.got.ErrX*p.got.ErrX) + p.dy()*p.dy()/(p.got.ErrY*p.got.ErrY)) / 2
	e.biasX += p.dx()
	e.biasY += p.dy()
}

func (e *errorSum) rms() float64   { return math.Sqrt(e.xx / float64(e.n)) }
func (e *errorSum) pulls() float64 { return math.Sqrt(e.pull / float64(e.n)) }
func (e *errorSum) bias() float64 {
	return math.Hypot(e.biasX, e.biasY) / float64(e.n)
}

func (e *errorSum) String() string {
	return fmt.Sprintf("%d stars, rms %.4f px, pull %.2f, bias %.4f px", e.n, e.rms(), e.pulls(), e.bias())
}
