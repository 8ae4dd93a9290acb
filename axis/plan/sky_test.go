package plan

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pintle/axis/place"
	"pintle/index/sphere"
	"pintle/index/stars"
	"pintle/solve/detect"
	"pintle/solve/render"
)

const deg = sphere.Degree

func skyAt(t testing.TB, lat, lon float64, at time.Time) *Sky {
	t.Helper()
	p, err := place.At(at, place.Site{Lat: sphere.Angle(lat) * deg, Lon: sphere.Angle(lon) * deg}, place.StandardAir(0))
	if err != nil {
		t.Fatal(err)
	}
	s, err := At(p)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// even is a sky with the same number of stars everywhere.
func even(perSquareDegree float64) *Density {
	d := &Density{}
	for range int(180 / cellSize) {
		d.rows = append(d.rows, []float64{perSquareDegree, perSquareDegree, perSquareDegree})
	}
	return d
}

// The full Moon of 24 November 2026, 14:54 UTC (common almanac, from memory)
// takes stars away, most near it; below the horizon, or new, it takes none.
func TestMoonlight(t *testing.T) {
	c := NewCamera(3*deg, 2*deg, sphere.Arcsecond, 0)
	full := skyAt(t, -33, 18, time.Date(2026, 11, 24, 22, 0, 0, 0, time.UTC))
	full.Stars = even(20) // 120 in the frame
	if full.Moon.Lit < 0.98 || full.MoonAlt < 20*deg {
		t.Fatalf("the test is wrong: Moon %.2f lit at altitude %.1f", full.Moon.Lit, full.MoonAlt.Degrees())
	}
	n := full.Night(c)
	az, alt := full.Moon.Seen.AzAlt()
	off := func(d float64) sphere.Local { return sphere.LocalAt(az, alt+sphere.Angle(d)*deg) }
	if got := n.Stars(off(5)); got != 0 {
		t.Errorf("%g stars 5 degrees from the full Moon, want none", got)
	}
	last := 0.0
	for _, d := range []float64{15, 30, 60, 90} {
		got := n.Stars(off(d))
		if !(got > last && got < 110) {
			t.Errorf("%g stars at %g degrees from the full Moon, %g nearer: they must grow and stay below the 120 of a dark sky", got, d, last)
		}
		last = got
	}
	set := skyAt(t, -33, 18+180, full.Place.Time())
	set.Stars = even(20)
	if got := set.Night(c).Stars(sphere.LocalAt(0, 60*deg)); set.MoonAlt > 0 || math.Abs(got-120) > 0.1 {
		t.Errorf("Moon at %.1f degrees: %g stars, want 120", set.MoonAlt.Degrees(), got)
	}
	// More than detection lists are not counted on.
	set.Stars = even(2000)
	if got := set.Night(c).Stars(sphere.LocalAt(0, 60*deg)); got != 300 {
		t.Errorf("%g of 12000 stars are counted on, want 300", got)
	}
	// New Moon of 9 November 2026, 7:02 UTC (common almanac, from memory).
	gone := skyAt(t, -33, 18, time.Date(2026, 11, 9, 10, 0, 0, 0, time.UTC))
	gone.Stars = even(20)
	if got := gone.Night(c).Stars(sphere.LocalAt(90*deg, 20*deg)); gone.Moon.Lit > 0.02 || math.Abs(got-120) > 3 {
		t.Errorf("Moon %.3f lit: %g stars, want about 120", gone.Moon.Lit, got)
	}
}

// A fisheye, which shows the horizon wherever it points, is planned with the sky
// around the middle of its frames; a field that fits into the sky keeps to it whole.
func TestSuggestWideFields(t *testing.T) {
	s := skyAt(t, 50, 10, time.Date(2026, 11, 9, 20, 0, 0, 0, time.UTC))
	s.Stars, s.MinAlt = even(0.1), 25*deg
	for _, c := range []Camera{
		NewCamera(180*deg, 120*deg, 2*sphere.Arcminute, sphere.Arcsecond),
		NewCamera(104*deg, 81*deg, sphere.Arcminute, sphere.Arcsecond),
		NewCamera(40*deg, 30*deg, sphere.Arcminute, sphere.Arcsecond),
	} {
		got := s.Night(c).Suggest(c, Wish{Frames: 3, MaxSpan: 60 * deg}, 3)
		if len(got) == 0 {
			t.Errorf("%g x %g degrees: nothing suggested", c.Width.Degrees(), c.Height.Degrees())
		}
		for _, g := range got {
			if least := lowestEdge + min(ground, sphere.Angle(math.Hypot(float64(c.Width), float64(c.Height)))/2); g.Lowest < least-1e-9 {
				t.Errorf("%g x %g degrees: a frame %.0f degrees up", c.Width.Degrees(), c.Height.Degrees(), g.Lowest.Degrees())
			}
		}
	}
}

// What is suggested keeps away from the full Moon, and from the Moon alone.
func TestSuggestKeepsFromTheMoon(t *testing.T) {
	s := skyAt(t, -33, 18, time.Date(2026, 11, 24, 22, 0, 0, 0, time.UTC))
	s.Stars, s.MinAlt = even(20), 25*deg
	c := NewCamera(3*deg, 2*deg, 3*sphere.Arcsecond, sphere.Arcsecond)
	found := s.Night(c).Suggest(c, Wish{Frames: 3, MaxSpan: 90 * deg, OneSide: true}, 3)
	if len(found) == 0 {
		t.Fatal("nothing suggested")
	}
	for _, g := range found {
		for _, f := range g.Frames {
			if d := f.Dir.Sep(s.Moon.Seen); d < 10*deg {
				t.Errorf("a frame %.1f degrees from the full Moon", d.Degrees())
			}
		}
	}
}

// A frame is clear when all of it is: nothing sticks into its corners.
func TestClear(t *testing.T) {
	s := &Sky{MinAlt: 25 * deg, Skyline: Skyline{{From: 80 * deg, To: 140 * deg, Alt: 40 * deg}}}
	c := NewCamera(6*deg, 8*deg, sphere.Arcsecond, 0) // corners 5 degrees from the middle
	for _, x := range []struct {
		az, alt float64
		want    bool
		why     string
	}{
		{200, 40, true, "free"}, {200, 24, false, "below what was asked for"}, {200, 86, false, "at the zenith"},
		{110, 35, false, "behind the house"}, {110, 44, false, "its lower edge behind the house"}, {110, 46, true, "above the house"},
		{144, 33, false, "its side behind the house"}, {150, 33, true, "beside the house"},
	} {
		if got := s.clear(c, sphere.LocalAt(sphere.Angle(x.az)*deg, sphere.Angle(x.alt)*deg)); got != x.want {
			t.Errorf("azimuth %g, altitude %g, %s: clear is %v", x.az, x.alt, x.why, got)
		}
	}
	s = &Sky{MinAlt: 5 * deg}
	if s.clear(c, sphere.LocalAt(0, 9*deg)) || !s.clear(c, sphere.LocalAt(0, 11*deg)) {
		t.Error("an edge below 5 degrees counts as clear, or one above it does not")
	}
}

// Civil twilight ends at 6 degrees.
func TestTooBright(t *testing.T) {
	for alt, want := range map[sphere.Angle]bool{30 * deg: true, -5.9 * deg: true, -6.1 * deg: false, -40 * deg: false} {
		if got := (&Sky{SunAlt: alt}).TooBright(); got != want {
			t.Errorf("Sun at %.1f degrees: too bright is %v", alt.Degrees(), got)
		}
	}
}

// The density against a count of the stars themselves, around directions from
// the galactic plane to both poles.
func TestDensity(t *testing.T) {
	const epoch, faintest = 2026.9, 8.5
	d := CountStars(stars.Embedded(), faintest, epoch)
	whole, total := 0.0, 0
	for i, row := range d.rows {
		for _, x := range row {
			whole += x * d.area(i)
		}
	}
	stars.Embedded().Each(faintest, epoch, func(stars.Star) bool { total++; return true })
	if math.Abs(whole-float64(total)) > 1e-6*whole {
		t.Errorf("the cells hold %.3f stars, the list %d", whole, total)
	}
	rng := rand.New(rand.NewPCG(seed, 61))
	const radius = 8 // degrees; a cell has 2.5
	area := 2 * math.Pi * (1 - math.Cos(radius*math.Pi/180)) * math.Pow(180/math.Pi, 2)
	for _, at := range []sphere.Sky{sphere.SkyAt(0, -90*deg), sphere.SkyAt(1, 89.9*deg), sphere.SkyAt(266*deg, -29*deg), sphere.SkyAt(193*deg, 27*deg), sphere.SkyAt(359.9*deg, 0)} {
		mean, n := 0.0, 2000
		for range n {
			turn, r := 2*math.Pi*rng.Float64(), math.Acos(1-rng.Float64()*(1-math.Cos(radius*math.Pi/180)))
			v := sphere.Turn(at.Vec(), sphere.Angle(turn)).Apply(off(at, sphere.Angle(r)))
			mean += d.At(sphere.SkyVec(v)) / float64(n)
		}
		count := float64(len(stars.Embedded().Cone(nil, at, radius*deg, faintest, epoch))) / area
		if math.Abs(mean/count-1) > 0.15 {
			ra, dec := at.RADec()
			t.Errorf("seed %d: around %.0f, %.0f: %.3f stars a square degree, counted %.3f", seed, ra.Degrees(), dec.Degrees(), mean, count)
		}
	}
}

// The error that is planned with is that of stars as frames mostly have them,
// 8 to 40 times as bright as their noise, found in a rendered picture: to a
// factor of three either way, real pictures being worse than rendered ones.
func TestCentroidAsDetected(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 62))
	const fwhm, level, read = 3.0, 100.0, 3.0
	s := render.Scene{W: 640, H: 440, Seed: seed, PSF: render.PSF{FWHM: fwhm}, Sky: render.Sky{Level: level}, Sensor: render.Sensor{Read: read, Bias: 300}}
	noise := math.Sqrt((level + read*read) * math.Pi * fwhm * fwhm) // of the pixels that a star covers, roughly
	var truth []render.Star
	for i := range 15 * 10 {
		truth = append(truth, render.Star{X: 40*float64(i%15) + 40 + rng.Float64(), Y: 40*float64(i/15) + 40 + rng.Float64(),
			Flux: noise * 8 * math.Pow(5, rng.Float64())})
	}
	f, err := detect.Find(s.Render(truth), detect.Options{})
	if err != nil {
		t.Fatal(err)
	}
	sum, n := 0.0, 0
	for _, found := range f.Stars {
		for _, st := range truth {
			if dx, dy := found.X-st.X, found.Y-st.Y; math.Hypot(dx, dy) < 2 {
				sum, n = sum+dx*dx+dy*dy, n+2
			}
		}
	}
	if n < 200 {
		t.Fatalf("%d stars found of %d", n/2, len(truth))
	}
	rms := math.Sqrt(sum / float64(n))
	planned := float64(NewCamera(1, 1, sphere.Arcsecond, 0).StarErr / sphere.Arcsecond)
	if planned < rms/3 || planned > 3*rms {
		t.Errorf("seed %d: planned with %.3f px, %d stars are off by %.3f", seed, planned, n/2, rms)
	}
}
