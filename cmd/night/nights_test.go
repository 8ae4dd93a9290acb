package night_test

import (
	"cmp"
	"context"
	"flag"
	"math"
	"math/rand/v2"
	"path/filepath"
	"sort"
	"strconv"
	"testing"
	"time"

	"pintle/axis"
	"pintle/cmd/night"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/shelf"
	"pintle/cmd/pintle/words"
	"pintle/index"
	"pintle/index/stars"
	"pintle/solve"
)

var wideNights = flag.Int("wide", 1, "number of random nights with wide lenses that TestWideNights renders and measures; 4 at least with -long")

// TestWideNights does the same with rectilinear lenses of 60 to 118 degrees and
// fisheyes.
func TestWideNights(t *testing.T) { measureNights(t, *wideNights, 4, night.WideSpec) }

var (
	nights    = flag.Int("nights", 1, "number of random nights that TestRandomNights renders and measures; 8 at least with -long")
	unsettled = flag.Bool("unsettled", false, "let their frames scatter and their cameras sag")
)

// TestRandomNights renders nights of every kind of camera, site and weather and
// measures them as the axis verb does. With -nights 200 -v it prints the figures
// of DEVELOPERS.md, with -unsettled those of ordinary mounts.
func TestRandomNights(t *testing.T) { measureNights(t, *nights, 8, night.RandomSpec) }

func measureNights(t *testing.T, nights, whenLong int, draw func(*rand.Rand) night.Spec) {
	if testing.Short() {
		t.Skip("slow")
	}
	if night.Long() {
		nights = max(nights, whenLong)
	}
	const seed = 20261125
	t.Logf("seed %d, %d nights", seed, nights)
	dir, err := shelf.Folder()
	if err != nil {
		t.Fatal(err)
	}
	lib := &index.Library{Dir: dir, List: stars.Embedded(), Now: time.Now}
	defer lib.Close()
	solver := &solve.Solver{Library: lib}
	frames, unsolved, wrong := 0, 0, 0
	var pulls, errs []float64
	var all []record
	for i := range nights {
		spec := draw(rand.New(rand.NewPCG(seed, uint64(i))))
		if *unsettled {
			night.Unsettle(&spec)
		}
		n, err := night.New(spec)
		if err != nil {
			t.Fatalf("night %d: %v", i, err)
		}
		paths, err := n.Write(filepath.Join(t.TempDir(), strconv.Itoa(i)))
		if err != nil {
			t.Fatal(err)
		}
		rh := spec.Air.Humidity
		s, err := session.New(session.Config{Now: time.Now, Camera: &session.Photographs{Solver: solver, Now: time.Now},
			Told: session.Told{Site: &spec.Site, Pressure: &spec.Air.Pressure, Temp: &spec.Air.Temp, Humidity: &rh}})
		if err != nil {
			t.Fatalf("night %d: %v", i, err)
		}
		if err := s.Measure(context.Background(), paths); err != nil {
			t.Fatalf("night %d: %v", i, words.PlainError(err))
		}
		m := s.State()
		var last night.Truth
		for j, f := range m.Frames {
			frames++
			last = n.Truth(j)
			switch sol := f.Solution; {
			case sol == nil:
				unsolved++
				t.Logf("night %d frame %d: %s; %d stars, %.2f deg, FWHM %.1f px", i, j, words.Miss(f), len(f.Field.Stars), diagonal(&spec), f.Field.FWHM)
			case float64(sol.Centre().Sep(last.Centre))*sol.Lens.F > 5:
				wrong++
				t.Errorf("night %d frame %d: solved %v from the truth", i, j, sol.Centre().Sep(last.Centre))
			}
		}
		if m.Answer == nil {
			t.Logf("night %d: no answer: %s", i, words.Refusal(m.Refusal))
			continue
		}
		result := m.Answer.Result
		if len(m.Doubts) > 0 {
			t.Logf("night %d: doubts %q", i, words.Notes(m.Doubts))
		}
		alt, az := components(result, &last)
		sa, sz := math.Sqrt(result.Cov[0][0]), math.Sqrt(result.Cov[1][1])
		d := result.Axis.Sep(last.Axis).Arcseconds()
		pulls = append(pulls, alt/sa, az/sz)
		if best := ideal(t, n, &m, rand.New(rand.NewPCG(seed, uint64(i)<<32))); best != nil {
			b := [2]float64{alt / math.Sqrt(best.Cov[0][0]), az / math.Sqrt(best.Cov[1][1])}
			all = append(all, record{diagonal(&spec), d, best.Axis.Sep(last.Axis).Arcseconds(), b})
			if worst := max(math.Abs(b[0]), math.Abs(b[1])); worst > 6 {
				t.Logf("night %d: axis off by %.2f arcsec, %.0f times the error at the bound, %.1f of the stated one; diagonal %.2f deg, scatter of its %d frames %.2f arcsec", i, d, worst, max(math.Abs(alt/sa), math.Abs(az/sz)), diagonal(&spec), len(paths), result.Tilt.Arcseconds())
			}
		}
		errs = append(errs, d)
		if p := max(math.Abs(alt/sa), math.Abs(az/sz)); p > 4 {
			t.Logf("night %d: axis off by %.2f arcsec, %.1f sigma; diagonal %.2f deg, warnings %v", i, d, p, diagonal(&spec), result.Warnings)
			if p > 8 {
				t.Errorf("night %d: %.1f sigma", i, p)
			}
		}
	}
	sort.Float64s(errs)
	t.Logf("%d frames, %d not solved, %d solved wrongly", frames, unsolved, wrong)
	if k := len(errs); k > 0 {
		t.Logf("axis error: median %.2f, 90th percentile %.2f, largest %.2f arcsec; error over standard error: rms %.2f", errs[k/2], errs[k*9/10], errs[k-1], rms(pulls))
	}
	for _, r := range [][2]float64{{0, 2}, {2, 6}, {6, 20}, {20, 60}, {60, 120}, {120, 180}, {0, 180}} {
		tabulate(t, all, r[0], r[1])
	}
	if unsolved*20 > frames {
		t.Errorf("%d of %d frames not solved", unsolved, frames)
	}
}

// record is what a night showed: its frames' diagonal in degrees, the error of the
// axis in arcseconds, that of the ideal measurement, and the first one's two
// components over the standard errors of the second.
type record struct {
	diagonal, measured, ideal float64
	overBound                 [2]float64
}

// tabulate prints a line of the table for the nights with diagonals in a range.
func tabulate(t *testing.T, all []record, from, to float64) {
	var measured, ideal, over, size []float64
	for _, r := range all {
		if r.diagonal >= from && r.diagonal < to {
			measured, ideal = append(measured, r.measured), append(ideal, r.ideal)
			for _, x := range r.overBound {
				over, size = append(over, x), append(size, math.Abs(x))
			}
		}
	}
	k := len(measured)
	if k == 0 {
		return
	}
	sort.Float64s(measured)
	sort.Float64s(ideal)
	sort.Float64s(size)
	t.Logf("%2.0f to %2.0f degrees: %3d nights, median error %.2f arcsec, ideal %.2f; error over that at the bound: rms %.2f, from its median %.2f", from, to, k, measured[k/2], ideal[k/2], rms(over), size[len(size)/2]/0.6745)
}

func rms(list []float64) float64 {
	sum := 0.0
	for _, x := range list {
		sum += x * x
	}
	return math.Sqrt(sum / float64(len(list)))
}

// ideal fits the same frames as if the places of the stars had been measured as
// well as their photons allow: each at its true pixel, with a Gaussian error at
// the Cramer-Rao bound. The errors of the star list are the night's own.
func ideal(t *testing.T, n *night.Night, m *session.State, rng *rand.Rand) *axis.Result {
	var list []axis.Sighting
	gain := cmp.Or(n.Spec().Camera.Sensor.Gain, 1)
	least := makeBound(n)
	for i, f := range m.Frames {
		if !f.In() {
			continue
		}
		drawn := map[uint32]night.Star{}
		for _, s := range n.Stars(i) {
			if s.Listed {
				drawn[s.ID] = s
			}
		}
		s := *f.Sighting
		var matches []axis.Match
		for j, match := range s.Matches {
			star, ok := drawn[f.Solution.Matches[j].Star.ID]
			if !ok {
				continue
			}
			measured := f.Field.Stars[f.Solution.Matches[j].Detected].Flux * gain
			match.Err = least.of(min(star.Flux, measured))
			match.X, match.Y = star.X+match.Err*rng.NormFloat64(), star.Y+match.Err*rng.NormFloat64()
			matches = append(matches, match)
		}
		s.Matches = matches
		list = append(list, s)
	}
	r, err := axis.Fit(list)
	if err != nil {
		t.Logf("ideal fit: %v", err)
		return nil
	}
	return r
}

// bound gives the Cramer-Rao bound of a coordinate of a star from its electrons.
type bound struct {
	profile, slope []float64 // of the star of one electron, over its pixels
	noise          float64   // variance of a pixel without the star
	most           float64   // electrons that fill a pixel
}

// makeBound prepares the bound for a night's frames: the star's own profile,
// flat sky, read and rounding noise. A full pixel tells no more, which bounds the
// electrons. Clouds, neighbours and the colour filters are not in it, but for
// what the star loses to them. (Fisher information of independent pixels, as in
// Winick 1986, J. Opt. Soc. Am. A 3, 1809.)
func makeBound(n *night.Night) *bound {
	c := n.Spec().Camera
	gain := cmp.Or(c.Sensor.Gain, 1)
	b := &bound{noise: n.Level() + c.Sensor.Read*c.Sensor.Read + gain*gain/12, most: math.Inf(1)}
	const half = 25
	shape := func(x, y float64) float64 {
		if beta := c.PSF.Beta; beta > 0 {
			a2 := c.PSF.FWHM * c.PSF.FWHM / (4 * (math.Pow(2, 1/beta) - 1))
			return math.Pow(1+(x*x+y*y)/a2, -beta)
		}
		return math.Exp(-4 * math.Ln2 * (x*x + y*y) / (c.PSF.FWHM * c.PSF.FWHM))
	}
	sum := 0.0
	for y := -half; y <= half; y++ {
		for x := -half; x <= half; x++ {
			const d = 0.01
			u, v := float64(x), float64(y)
			b.profile = append(b.profile, shape(u, v))
			b.slope = append(b.slope, (shape(u+d, v)-shape(u-d, v))/(2*d))
			sum += shape(u, v)
		}
	}
	for i := range b.profile {
		b.profile[i] /= sum
		b.slope[i] /= sum
	}
	if full := c.Sensor.FullWell; full > 0 {
		b.most = full * sum
	}
	return b
}

// of returns the bound, pixels, for a star of so many electrons.
func (b *bound) of(electrons float64) float64 {
	e := max(1, min(electrons, b.most))
	information := 0.0
	for i, p := range b.profile {
		information += e * e * b.slope[i] * b.slope[i] / (e*p + b.noise)
	}
	return 1 / math.Sqrt(information)
}

// components returns measured minus true axis: altitude, and azimuth on the sky.
func components(r *axis.Result, t *night.Truth) (alt, az float64) {
	a1, h1 := r.Axis.AzAlt()
	a2, h2 := t.Axis.AzAlt()
	return float64(h1 - h2), float64((a1 - a2).Wrap()) * h2.Cos()
}

func diagonal(s *night.Spec) float64 {
	c := s.Camera
	return 2 * c.Law.Angle(math.Hypot(float64(c.W), float64(c.H))*c.Pixel/2000/c.Focal).Degrees()
}
