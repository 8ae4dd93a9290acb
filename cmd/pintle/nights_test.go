package main

import (
	"context"
	"flag"
	"math"
	"math/rand/v2"
	"path/filepath"
	"sort"
	"strconv"
	"testing"

	"pintle/axis"
	"pintle/cmd/pintle/night"
	"pintle/index"
	"pintle/index/stars"
	"pintle/solve"
)

var nights = flag.Int("nights", 4, "number of random nights that TestRandomNights renders and measures")

// TestRandomNights renders nights of every kind of camera, site and weather and
// measures them as the axis verb does. With -nights 200 -v it prints the figures
// of DEVELOPERS.md.
func TestRandomNights(t *testing.T) {
	if testing.Short() {
		t.Skip("slow")
	}
	const seed = 20261125
	t.Logf("seed %d, %d nights", seed, *nights)
	dir, err := (&indexFlags{}).folder()
	if err != nil {
		t.Fatal(err)
	}
	a := newApp(t.Output(), t.Output())
	lib := &index.Library{Dir: dir, List: stars.Embedded(), Now: a.now}
	defer lib.Close()
	solver := &solve.Solver{Library: lib}
	frames, unsolved, wrong := 0, 0, 0
	var pulls, errs []float64
	for i := range *nights {
		spec := night.RandomSpec(rand.New(rand.NewPCG(seed, uint64(i))))
		n, err := night.New(spec)
		if err != nil {
			t.Fatalf("night %d: %v", i, err)
		}
		paths, err := n.Write(filepath.Join(t.TempDir(), strconv.Itoa(i)))
		if err != nil {
			t.Fatal(err)
		}
		m := &measurement{pole: axis.Refracted, site: spec.Site, air: spec.Air, tolerance: 1}
		opt, _ := (&frameFlags{}).options()
		if err := a.readAll(m, paths, opt); err != nil {
			t.Fatalf("night %d: %v", i, err)
		}
		if err := m.solveAll(context.Background(), a, solver); err != nil {
			t.Fatalf("night %d: %v", i, err)
		}
		var last night.Truth
		for j, s := range m.shots {
			frames++
			last = n.Truth(j)
			switch {
			case s.sol == nil:
				unsolved++
				t.Logf("night %d frame %d: %s; %d stars, %.2f deg, FWHM %.1f px", i, j, s.why, len(s.field.Stars), diagonal(&spec), s.field.FWHM)
			case float64(s.sol.Centre().Sep(last.Centre))*s.sol.Lens.F > 5:
				wrong++
				t.Errorf("night %d frame %d: solved %v from the truth", i, j, s.sol.Centre().Sep(last.Centre))
			}
		}
		if err := m.fit(); err != nil {
			t.Fatalf("night %d: %v", i, err)
		}
		if m.result == nil {
			t.Logf("night %d: no answer: %s", i, m.reason)
			continue
		}
		alt, az := components(m, &last)
		sa, sz := math.Sqrt(m.result.Cov[0][0]), math.Sqrt(m.result.Cov[1][1])
		pulls = append(pulls, alt/sa, az/sz)
		d := m.result.Axis.Sep(last.Axis).Arcseconds()
		errs = append(errs, d)
		if p := max(math.Abs(alt/sa), math.Abs(az/sz)); p > 4 {
			t.Logf("night %d: axis off by %.2f arcsec, %.1f sigma; diagonal %.2f deg, warnings %v", i, d, p, diagonal(&spec), m.result.Warnings)
			if p > 8 {
				t.Errorf("night %d: %.1f sigma", i, p)
			}
		}
	}
	sort.Float64s(errs)
	sum := 0.0
	for _, p := range pulls {
		sum += p * p
	}
	t.Logf("%d frames, %d not solved, %d solved wrongly", frames, unsolved, wrong)
	if len(errs) > 0 {
		t.Logf("axis error: median %.2f, 90th percentile %.2f, largest %.2f arcsec; error over standard error: rms %.2f", errs[len(errs)/2], errs[len(errs)*9/10], errs[len(errs)-1], math.Sqrt(sum/float64(len(pulls))))
	}
	if unsolved*20 > frames {
		t.Errorf("%d of %d frames not solved", unsolved, frames)
	}
}

// components returns measured minus true axis: altitude, and azimuth on the sky.
func components(m *measurement, t *night.Truth) (alt, az float64) {
	a1, h1 := m.result.Axis.AzAlt()
	a2, h2 := t.Axis.AzAlt()
	return float64(h1 - h2), float64((a1 - a2).Wrap()) * h2.Cos()
}

func diagonal(s *night.Spec) float64 {
	c := s.Camera
	return 2 * math.Atan(math.Hypot(float64(c.W), float64(c.H))*c.Pixel/2000/c.Focal) * 180 / math.Pi
}
