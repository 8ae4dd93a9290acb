package evening

import (
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pintle/cmd/night"
	"pintle/cmd/pintle/device/fake"
	"pintle/cmd/pintle/session"
	"pintle/index/sphere"
)

// wide photographs a southern night with a wide lens, and hides what is below a
// skyline, in degrees by azimuth in degrees: there is ground there, as noisy as the sky
// but darker, with lights on it.
func wide(t *testing.T, skyline func(az float64) float64) (path string, spec night.Spec) {
	t.Helper()
	spec = night.Random(3, true)
	c := &spec.Camera
	*c = night.Camera{W: 1600, H: 1066, Pixel: 22.5, Focal: 24, Aperture: 12, Exposure: c.Exposure, PSF: c.PSF, Sensor: c.Sensor, Vignette: 0.3}
	spec.Sky.Cloud, spec.Sky.Brightness, spec.Sky.Extinction = 0, 20, 0.3
	spec.Setup.Dec, spec.Frames = -50*sphere.Degree, []night.Frame{{Pose: night.Pose{Turn: -65 * sphere.Degree}}}
	n, err := night.New(spec)
	if err != nil {
		t.Fatal(err)
	}
	shot := n.Shoot(0)
	im, truth := shot.Image, shot.Truth
	rng := rand.New(rand.NewPCG(20261128, 5))
	low, high := 90.0, 0.0
	for y := range im.H {
		for x := range im.W {
			az, alt := truth.Local(float64(x), float64(y)).AzAlt()
			low, high = min(low, alt.Degrees()), max(high, alt.Degrees())
			if alt.Degrees() >= skyline(az.Turn().Degrees()) || im.U16 == nil {
				continue
			}
			level := 700 + 15*rng.NormFloat64()
			if rng.IntN(9000) == 0 {
				level = 6000
			}
			im.U16[y*im.W+x] = uint16(level)
		}
	}
	az, alt := truth.Local(800, 533).AzAlt()
	t.Logf("middle at azimuth %.0f, altitude %.0f; altitudes %.0f to %.0f; 16 bit %v", az.Turn().Degrees(), alt.Degrees(), low, high, im.U16 != nil)
	path = filepath.Join(t.TempDir(), "wide.fits")
	if err := shot.Save(path); err != nil {
		t.Fatal(err)
	}
	return path, spec
}

// What blocks the sky is seen on a wide photograph, by which stars it does not show, and
// offered; it counts once it is taken over. On an open sky nothing is seen.
func TestLearntFromAPhotograph(t *testing.T) {
	if testing.Short() {
		t.Skip("slow, and nothing runs beside it")
	}
	houses := func(az float64) float64 {
		switch {
		case az > 120 && az < 150:
			return 30
		case az >= 90 && az <= 120:
			return 19
		}
		return 0
	}
	for name, skyline := range map[string]func(float64) float64{"houses": houses, "open": func(float64) float64 { return 0 }} {
		path, spec := wide(t, skyline)
		e := begun(t, func(c *Config) { c.Photos = &session.Photographs{Solver: fake.Solver(), Now: c.Now} })
		if err := e.setPlace(placeOf(spec.Site, "the test")); err != nil {
			t.Fatal(err)
		}
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if err := e.Follow(true); err != nil {
			t.Fatal(err)
		}
		add(t, e, "wide.fits", string(b))
		settle(e)
		p := e.Summary().Photographs[0]
		if p.State != In {
			t.Fatalf("%s: %+v", name, p)
		}
		l := e.Summary().Learnt
		if name == "open" {
			if l != nil {
				t.Errorf("on an open sky: %+v", l)
			}
			continue
		}
		if l == nil || !strings.Contains(l.Words, "wide.fits") {
			t.Fatalf("%s: nothing is learnt: %+v", name, p.Blocked)
		}
		t.Log(l.Words)
		seen := map[float64]float64{}
		for _, s := range l.Stretches {
			seen[s.From] = s.Alt
		}
		for az := 0.0; az < 360; az += 5 {
			want := houses(az + 2.5)
			if want != houses(az-2.5) || want != houses(az+7.5) {
				continue // at an edge
			}
			if got := seen[az]; math.Abs(got-want) > 4 {
				t.Errorf("azimuth %g: blocked up to %g, learnt %g", az, want, got)
			}
		}
		// Offered, not imposed.
		if s := e.Summary(); s.Blocks != "" {
			t.Errorf("imposed: %s", s.Blocks)
		}
		if err := e.Draw([][2]float64{{0, 0}, {20, 0}, {21, 50}, {40, 50}, {41, 0}, {359, 0}}); err != nil {
			t.Fatal(err)
		}
		if err := e.TakeBlocked("wide.fits", true); err != nil {
			t.Fatal(err)
		}
		now, err := e.skyline()
		if err != nil || now.Lowest(deg(30)) != deg(50) || math.Abs(now.Lowest(deg(137)).Degrees()-30) > 4 || now.Lowest(deg(250)) != 0 {
			t.Errorf("taken over: %v, %v", now, err)
		}
		if s := e.Summary(); s.Learnt != nil {
			t.Errorf("offered again: %+v", s.Learnt)
		}
		if err := e.TakeBlocked("none.fits", true); err == nil {
			t.Error("taken over from a photograph that is not there")
		}
		if err := e.TypePlace("10, 20", ""); err != nil || len(e.kept.Photographs[0].Blocked) != 0 {
			t.Errorf("the skyline moved with the mount: %v", err)
		}
	}
}
