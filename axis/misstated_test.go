package axis

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pintle/index/sphere"
)

var misstated = flag.Int("misstated", 0, "number of nights of each mishap, size and number of frames of which TestMisstatedErrors tells how far errors exceed what is stated; 0 for a few of four frames")

// statement is what was stated of a night: error and stated error of the axis, radians,
// and what was said beside.
type statement struct {
	err, stated float64
	named       bool // some cause
	disagree    bool // only that the frames do not turn about one axis
}

func (s *statement) ratio() float64 { return s.err / s.stated }

// state looks at a night.
func (d *taken) state(a attitudes) (s statement, ok bool) {
	f := d.fit
	f.own, f.warnings = a, nil
	f.used = append([]int(nil), d.used...)
	if !f.explain() || f.sky.sigma() > float64(largestSigma) {
		return s, false
	}
	at := f.sky.near.mountFromLocal.Apply(d.axis)
	e := f.sky.errors()
	s.err, s.stated = math.Hypot(f.sky.best[0]-at.Y, f.sky.best[1]+at.X), math.Sqrt(e[0]+e[2])
	for _, w := range f.warnings {
		s.named = s.named || w.Kind != Disagree
		s.disagree = s.disagree || w.Kind == Disagree
	}
	return s, true
}

// A stated error that is far too small is the worst that is said of a night. How often
// error over stated error is above 3, 5 and 10 is printed for every mishap, with -misstated
// 60 -v, for three to eight frames, at one and three times what harms.
func TestMisstatedErrors(t *testing.T) {
	statistical(t)
	nights, numbers := *misstated, []int{3, 4, 5, 6, 8}
	if nights == 0 {
		nights, numbers = 8, []int{4}
	}
	t.Logf("seed %d, %d nights of each mishap, size and number of frames", seed+*unseen, nights)
	for _, frames := range numbers {
		t.Run(fmt.Sprintf("%d frames", frames), func(t *testing.T) {
			for _, times := range []float64{1, 3} {
				for i, all := range states(t, frames, nights, times*float64(sphere.Arcminute)) {
					t.Logf("%d frames, %s at %g: %s", frames, mishaps[i].name, times, summary(all))
				}
			}
		})
	}
}

// states draws nights of each mishap in some size; of nothing at size 1 alone.
func states(t *testing.T, frames, nights int, size float64) [][]statement {
	t.Helper()
	const each = 4 // draws on one geometry
	all := make([][]statement, len(mishaps))
	rng := rand.New(rand.NewPCG(seed+*unseen, 9890+uint64(frames)))
	for range (nights + each - 1) / each {
		one := narrow(t, rng, frames)
		across := narrowly(t, rng, backAndForth(rng, random(rng, frames)))
		for i := range mishaps {
			h, d := &mishaps[i], one
			if h.wanted != nil && h.wanted[0] == Flops {
				d = across
			}
			m, ok := firstMount(d.own.camFromLocal, d.elevated())
			if !ok {
				t.Fatal("no mount")
			}
			for range each {
				a := h.night(rng, d, m, size)
				if a.camFromLocal == nil {
					continue
				}
				if s, ok := d.state(a); ok {
					all[i] = append(all[i], s)
				}
			}
		}
	}
	return all
}

// summary tells of how many nights the error is how many times the stated one, and how
// many of these had no warning that names a cause.
func summary(all []statement) string {
	if len(all) == 0 {
		return "no nights"
	}
	const arcsec = float64(sphere.Arcsecond)
	var errs, stated []float64
	worst := statement{stated: 1}
	sum := 0.0
	for _, s := range all {
		errs, stated = append(errs, s.err/arcsec), append(stated, s.stated/arcsec)
		sum += s.ratio() * s.ratio()
		if s.ratio() > worst.ratio() {
			worst = s
		}
	}
	out := fmt.Sprintf("%d nights, above", len(all))
	for _, most := range []float64{3, 5, 10} {
		n, mute, silent := 0, 0, 0
		for _, s := range all {
			if s.ratio() > most {
				n++
				if !s.named {
					mute++
					if !s.disagree {
						silent++
					}
				}
			}
		}
		out += fmt.Sprintf(" %g: %d (%d not named, %d silent)", most, n, mute, silent)
	}
	named := 0
	for _, s := range all {
		if s.named {
			named++
		}
	}
	slices.Sort(errs)
	slices.Sort(stated)
	return out + fmt.Sprintf("; rms %.2f, worst %.1f (%.0f of %.1f arcsec); named %d; error median %.1f, stated %.1f, 90 %% %.1f", math.Sqrt(sum/float64(len(all))), worst.ratio(), worst.err/arcsec, worst.stated/arcsec, named, errs[len(errs)/2], stated[len(stated)/2], stated[len(stated)*9/10])
}
