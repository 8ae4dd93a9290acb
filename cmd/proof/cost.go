package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"time"

	"gonum.org/v1/plot/plotter"

	"pintle/cmd/night"
	"pintle/index/sphere"
	"pintle/index/stars"
	"pintle/solve/detect"
	"pintle/solve/frame"
)

// A panel of the picture is a quantity that drives the cost, and curves of
// processor time over it, all at the same places.
type panel struct {
	title, x, y string
	unit        string  // of the times in the table
	perSecond   float64 // so many of them
	curves      []curve
}

type curve struct {
	name   string
	points plotter.XYs
}

func (c *curve) add(x, y float64) { c.points = append(c.points, plotter.XY{X: x, Y: y}) }

// cost measures how the processor time grows, prints tables and draws them.
func (t *trial) cost(path string) error {
	runtime.GOMAXPROCS(1)
	fmt.Printf("seed %d, processor time of one thread\n", t.seed)
	var panels []*panel
	for _, measure := range []func() (*panel, error){t.costOfPixels, t.costOfDepth, t.costOfStars} {
		p, err := measure()
		if err != nil {
			return err
		}
		p.print()
		panels = append(panels, p)
	}
	return draw(path, panels)
}

// median returns the median processor time, seconds, of n calls of f.
func median(n int, f func(i int)) float64 {
	took := make([]time.Duration, n)
	for i := range took {
		start := cpuTime()
		f(i)
		took[i] = cpuTime() - start
	}
	slices.Sort(took)
	return max(took[n/2], time.Microsecond).Seconds()
}

// costOfPixels cuts frames of 0.5 to 60 megapixels from the middle of a
// rendered one, so that all have the same stars to the square degree.
func (t *trial) costOfPixels() (*panel, error) {
	spec := night.RandomFrame(t.rng(0, 4), func(s *night.Spec) {
		c := &s.Camera
		c.W, c.H, c.Pixel, c.Focal, c.Nominal, c.Aperture = 9504, 6336, 3.76, 135, 135, 48
		c.K1, c.K2, c.OffX, c.OffY = 0.005, 0, 0, 0
		c.PSF.FWHM = 2.5
		s.Sky.Brightness = 20
	})
	spec.Camera.Exposure = 4 * time.Second
	n, err := night.New(spec)
	if err != nil {
		return nil, err
	}
	whole := n.Render(0)
	find, recognise := curve{name: "detection"}, curve{name: "solving"}
	for _, megapixels := range []float64{0.5, 1, 2, 4, 8, 16, 30, 60} {
		im, err := cut(whole, math.Sqrt(megapixels*1e6/float64(whole.W*whole.H)))
		if err != nil {
			return nil, err
		}
		var seen *detect.Field
		found := median(3, func(int) { seen, err = detect.Find(im, detect.Options{Workers: 1}) })
		if err != nil {
			return nil, err
		}
		unsolved := false
		solved := median(9, func(int) { sol, _, _, _ := t.solve(seen); unsolved = sol == nil })
		if unsolved {
			return nil, fmt.Errorf("the frame of %d x %d pixels was not solved", im.W, im.H)
		}
		fmt.Printf("%d x %d px: %d stars detected\n", im.W, im.H, len(seen.Stars))
		find.add(float64(im.W*im.H)/1e6, found)
		recognise.add(float64(im.W*im.H)/1e6, solved)
	}
	return &panel{"Size of the frame", "megapixels", "processor time", "ms", 1e3, []curve{find, recognise}}, nil
}

// cut returns the middle of a picture; by is the share of each side that stays.
func cut(im *frame.Image, by float64) (*frame.Image, error) {
	if im.U16 == nil {
		return nil, fmt.Errorf("the rendered frame has not 16 bits")
	}
	by = min(by, 1)
	out := &frame.Image{W: 2 * int(by*float64(im.W)/2), H: 2 * int(by*float64(im.H)/2), Mosaic: im.Mosaic, Saturation: im.Saturation}
	left, top := (im.W-out.W)/4*2, (im.H-out.H)/4*2 // even, which keeps the mosaic
	for y := range out.H {
		from := (top+y)*im.W + left
		out.U16 = append(out.U16, im.U16[from:from+out.W]...)
	}
	return out, nil
}

// costOfStars solves lists of the brightest stars of fields of 20 degrees, a
// fifth of them missing, and has as many random points refused.
func (t *trial) costOfStars() (*panel, error) {
	const fields, refusals = 9, 3 // lists of each length
	solved, refused := curve{name: "stars, solved"}, curve{name: "random points, refused"}
	for _, n := range []int{10, 20, 50, 150, 500, 1500} {
		lists := make([]*detect.Field, fields)
		for i := range lists {
			lists[i] = brightest(t.rng(n+i, 5), t.solver.Library.List, n)
		}
		wrong := [fields]bool{}
		solved.add(float64(n), median(fields, func(i int) { sol, _, _, _ := t.solve(lists[i]); wrong[i] = sol == nil }))
		fmt.Printf("%d stars: %d of %d lists solved\n", n, fields-count(wrong[:]), fields)
		found := [refusals]bool{}
		for i := range found {
			scramble(t.rng(n+i, 6), lists[i])
		}
		refused.add(float64(n), median(refusals, func(i int) { sol, _, _, _ := t.solve(lists[i]); found[i] = sol != nil }))
		if k := count(found[:]); k > 0 {
			return nil, fmt.Errorf("%d of %d lists of %d random points were recognised as stars", k, refusals, n)
		}
	}
	return &panel{"Length of the star list", "stars in the list", "processor time", "ms", 1e3, []curve{solved, refused}}, nil
}

// brightest returns a list of n stars of a field of 20 degrees at random.
func brightest(rng *rand.Rand, list *stars.List, n int) *detect.Field {
	f := field{diagonal: (20 * sphere.Degree).Radians(), noise: 0.3}
	for _, s := range f.aim(rng, list) {
		if len(f.list.Stars) == n {
			break
		}
		if rng.Float64() > 0.2 {
			f.add(s.x+f.noise*rng.NormFloat64(), s.y+f.noise*rng.NormFloat64(), s.mag+0.3*rng.NormFloat64())
		}
	}
	f.sort()
	return f.list
}

// costOfDepth times cone searches in the star list to several magnitudes.
func (t *trial) costOfDepth() (*panel, error) {
	p := &panel{title: "Depth of the catalogue", x: "faintest V magnitude", y: "processor time of a search", unit: "us", perSecond: 1e6}
	for _, degrees := range []float64{1, 10} {
		cones := int(2000 / degrees)
		c := curve{name: fmt.Sprintf("radius %g deg", degrees)}
		for _, v := range []float64{8, 9, 10, 11, 12} {
			var seen []stars.Star
			total := 0
			took := median(5, func(int) {
				rng := t.rng(0, 7)
				total = 0
				for range cones {
					seen = t.solver.Library.List.Cone(seen[:0], sphere.SkyVec(randomDirection(rng)), sphere.Angle(degrees)*sphere.Degree, v, 2026.9)
					total += len(seen)
				}
			})
			fmt.Printf("cones of %g degrees to V %g: %.1f stars\n", degrees, v, float64(total)/float64(cones))
			c.add(v, took/float64(cones))
		}
		p.curves = append(p.curves, c)
	}
	return p, nil
}
