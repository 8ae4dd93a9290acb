package axis

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"pintle/index/sphere"
)

var named = flag.Int("named", 4, "number of nights of each cause and number of frames that TestCausesAreNamed draws")

// mishap is what happens between the frames of a drawn night.
type mishap struct {
	name   string
	wanted []Kind
	draw   func(rng *rand.Rand, frames int, left []float64) cause
}

var mishaps = []mishap{
	{name: "nothing"},
	{"slip", []Kind{DecSlip, OddFrame}, func(_ *rand.Rand, n int, _ []float64) cause {
		return cause{kind: DecSlip, event: event{kind: slipped, frame: (n + 1) / 2}}
	}},
	{"gust", []Kind{OddFrame, DecSlip}, func(rng *rand.Rand, n int, _ []float64) cause {
		return cause{kind: OddFrame, frame: rng.IntN(n)}
	}},
	{"base moved", []Kind{MountMoved}, func(_ *rand.Rand, n int, _ []float64) cause {
		return cause{kind: MountMoved, event: event{kind: moved, frame: (n + 1) / 2}}
	}},
	// Where it passed the meridian meanwhile, that is what a mirror does.
	{"camera moved", []Kind{CameraShifted, Flops}, func(_ *rand.Rand, n int, _ []float64) cause {
		return cause{kind: CameraShifted, event: event{kind: shifted, frame: (n + 1) / 2}}
	}},
	{"sinks", []Kind{Sinks}, func(_ *rand.Rand, _ int, left []float64) cause {
		return cause{kind: Sinks, event: event{kind: sinking, left: left}}
	}},
	{"bends", []Kind{Bends}, func(_ *rand.Rand, _ int, _ []float64) cause {
		return cause{kind: Bends, event: event{kind: bending}}
	}},
}

// tally is what was said of the nights of one sort.
type tally struct {
	right, wrong int
	pull         []float64 // squared error over the stated one
}

// Of what happens between frames of an ordinary mount (scatter 0.7, sag 3 arcsec), in
// any direction, nearly all is named of eight frames at three times the size that harms,
// and hardly anything where nothing happens. With -named 20 -v it prints the table of
// DEVELOPERS.md.
func TestCausesAreNamed(t *testing.T) {
	statistical(t)
	const harm = sphere.Arcminute
	table := *long || *named > 4 // what else is counted is for reading
	for _, h := range mishaps {
		for _, times := range []float64{1, 3} {
			line := ""
			for _, frames := range []int{4, 5, 6, 8} {
				if judged := h.draw == nil || times == 3 && frames == 8; !judged && !table {
					continue
				}
				c := h.measure(t, frames, float64(harm)*times)
				line += fmt.Sprintf("  %d frames: %d right, %d wrong, error over stated %.2f;", frames, c.right, c.wrong, math.Sqrt(mean(c.pull)))
				if h.draw == nil && c.wrong*100 > *named {
					t.Errorf("seed %d, %d frames: something named in %d of %d nights in which nothing happened", seed, frames, c.wrong, *named)
				}
				if h.draw != nil && times == 3 && frames == 8 && float64(c.right+1) < 0.8*float64(*named) {
					t.Errorf("seed %d, %d frames: %s named in %d of %d nights", seed, frames, h.name, c.right, *named)
				}
			}
			t.Logf("seed %d, %s at %g: of %d nights%s", seed, h.name, times, *named, line)
			if h.draw == nil {
				break
			}
		}
	}
}

// measure draws nights on which it happens in some size.
func (h *mishap) measure(t *testing.T, frames int, size float64) (c tally) {
	t.Helper()
	const each = 4 // draws on one geometry
	rng := rand.New(rand.NewPCG(seed, 9870+uint64(frames)))
	for range (*named + each - 1) / each {
		d := narrow(t, rng, frames)
		m, ok := firstMount(d.own.camFromLocal, d.elevated())
		if !ok {
			t.Fatal("no mount")
		}
		span := math.Abs(wrap(m.turn[frames-1] - m.turn[0]))
		for range each {
			columns, sizes := d.own.sag()[:1], []float64{float64(3 * sphere.Arcsecond)}
			if h.draw != nil {
				x := h.draw(rng, frames, d.timeLeft())
				x.odds = 0.5
				turn := x.turns(d.own, m).turn
				along := 2 * math.Pi * rng.Float64()
				s := []float64{size * math.Cos(along), size * math.Sin(along)}
				if len(turn) == 1 {
					s[0] = size
				}
				for i, column := range turn {
					if x.kind == Bends {
						s[i] /= span
					}
					columns, sizes = append(columns, column), append(sizes, s[i])
				}
			}
			c.add(d, h, d.photographed(rng, float64(0.7*sphere.Arcsecond), columns, sizes))
		}
	}
	return c
}

// add looks at a night.
func (c *tally) add(d *taken, h *mishap, a attitudes) {
	f := d.fit
	f.own, f.warnings = a, nil
	f.used = append([]int(nil), d.used...)
	if !f.explain() {
		return
	}
	at := f.sky.near.mountFromLocal.Apply(d.axis)
	x, y := f.sky.best[0]-at.Y, f.sky.best[1]+at.X
	e := f.sky.errors()
	c.pull = append(c.pull, (x*x+y*y)/(e[0]+e[2]))
	right, wrong := false, false
	for _, w := range f.warnings {
		if w.Kind == Disagree {
			continue
		}
		wrong = true
		for _, k := range h.wanted {
			right = right || w.Kind == k
		}
	}
	if right {
		c.right++
	} else if wrong {
		c.wrong++
	}
}
