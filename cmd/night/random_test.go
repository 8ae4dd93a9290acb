package night

import (
	"math"
	"math/rand/v2"
	"testing"

	"pintle/axis/place"
	"pintle/index/sphere"
	"pintle/solve/frame"
	"pintle/solve/render"
)

// plausible checks what every invented night promises.
func plausible(t *testing.T, name string, s Spec, low sphere.Angle, enough int) *Night {
	t.Helper()
	s.Sky.Faint = false // listed stars are counted
	n := build(t, s)
	if s.Name == "" || len(s.Frames) < 3 {
		t.Errorf("%s: name %q, %d frames", name, s.Name, len(s.Frames))
	}
	for i := range n.Len() {
		tr := n.Truth(i)
		if tr.Altitude < low {
			t.Errorf("%s: frame %d at altitude %v", name, i+1, tr.Altitude)
		}
		if _, alt := tr.Place.Unrefracted(sun(tr.Mid)).AzAlt(); alt > -12*sphere.Degree {
			t.Errorf("%s: frame %d with the Sun at altitude %v", name, i+1, alt)
		}
		if i > 0 && n.Truth(i-1).Start.Add(s.Camera.Exposure).After(tr.Start) {
			t.Errorf("%s: frame %d starts before the one before is done", name, i+1)
		}
		seen := 0
		for _, st := range n.Stars(i) {
			if st.Listed && st.X > 0 && st.Y > 0 && st.X < float64(s.Camera.W) && st.Y < float64(s.Camera.H) {
				seen++
			}
		}
		if seen < enough {
			t.Errorf("%s: frame %d with %d stars", name, i+1, seen)
		}
	}
	return n
}

func TestRandom(t *testing.T) {
	nights := uint64(4)
	if *long {
		nights = 10
	}
	for seed := range nights {
		for _, south := range []bool{false, true} {
			s := Random(seed, south)
			n := plausible(t, s.Name, s, 25*sphere.Degree, 25)
			if south != (s.Site.Lat < 0) || len(s.Frames) != 3 || s.Air != place.StandardAir(s.Site.Elev) {
				t.Errorf("seed %d, south %v: latitude %v, %d frames, %+v", seed, south, s.Site.Lat, len(s.Frames), s.Air)
			}
			if total := n.Truth(0).Offset.Total; total > 2*sphere.Degree {
				t.Errorf("seed %d: axis %v from the pole", seed, total)
			}
		}
	}
}

func TestRandomSpec(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 9))
	least, most, south, tracked := math.Inf(1), 0.0, 0, 0
	nights := 6
	if *long {
		nights = 40
	}
	for range nights {
		s := RandomSpec(rng)
		plausible(t, s.Name, s, 20*sphere.Degree, 12)
		c := &s.Camera
		l := c.lens()
		d := l.Cam(0, 0).Sep(l.Cam(float64(c.W-1), float64(c.H-1))).Degrees()
		least, most = min(least, d), max(most, d)
		if s.Site.Lat < 0 {
			south++
		}
		if s.Setup.Tracking {
			tracked++
		}
	}
	if !*long {
		return
	}
	if least > 1 || least < 0.5 || most < 40 || most > 66 {
		t.Errorf("seed %d: diagonals %.2f to %.2f deg", seed, least, most)
	}
	if south < nights/4 || south > nights*3/4 || tracked == nights || tracked < nights/2 {
		t.Errorf("seed %d: %d of %d in the south, %d tracked", seed, south, nights, tracked)
	}
}

// The Sun at the equinoxes and solstices of 2027 (20 March 20:25, 21 June 14:11,
// 23 September 06:02, 22 December 02:42 UTC; from memory).
func TestSun(t *testing.T) {
	for when, want := range map[string][2]float64{
		"2027-03-20T20:25:00": {0, 0}, "2027-06-21T14:11:00": {90, 23.44}, "2027-09-23T06:02:00": {180, 0}, "2027-12-22T02:42:00": {270, -23.44},
	} {
		got := sun(instant(t, when))
		w := sphere.SkyAt(sphere.Angle(want[0])*sphere.Degree, sphere.Angle(want[1])*sphere.Degree)
		near(t, "Sun of "+when, got.Sep(w), 0, 90)
	}
}

// A random frame is what its comment says, and the picture follows changes.
func TestRandomFrame(t *testing.T) {
	const seed = 5
	for i := range uint64(8) {
		s := RandomFrame(rand.New(rand.NewPCG(seed, i)), func(s *Spec) { s.Camera.PSF.Defocus = 3 })
		n := build(t, s)
		c := &s.Camera
		if p := c.W * c.H; p < 480_000 || p > 12_000_000 || c.PSF.FWHM < 1.2 || c.PSF.FWHM > 6 || c.PSF.Defocus != 3 {
			t.Errorf("seed %d, %d: %d x %d pixels, stars %+v", seed, i, c.W, c.H, c.PSF)
		}
		if n.Len() != 1 || n.Truth(0).Altitude < 20*sphere.Degree {
			t.Errorf("seed %d, %d: %d frames, altitude %v", seed, i, n.Len(), n.Truth(0).Altitude)
		}
	}
	s := RandomFrame(rand.New(rand.NewPCG(seed, 1)), func(*Spec) {})
	s.Camera.W, s.Camera.H = 64, 48
	dark := build(t, s).RenderWith(0, func(sc *render.Scene) {
		sc.Block = func(int, int) (float32, float32) { return 0, 0 }
	})
	if a, b := level(build(t, s).Render(0)), level(dark); !(a > b) {
		t.Errorf("seed %d: mean %g in the open, %g behind a shutter", seed, a, b)
	}
}

// level returns the mean of a picture.
func level(im *frame.Image) float64 {
	sum := 0.0
	for y := range im.H {
		for _, v := range im.Row(y, nil) {
			sum += float64(v)
		}
	}
	return sum / float64(im.W*im.H)
}
