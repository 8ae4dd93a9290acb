package night

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"pintle/index/sphere"
	"pintle/index/stars"
	"pintle/solve/detect"
	"pintle/solve/frame"
)

func find(t *testing.T, im *frame.Image) *detect.Field {
	t.Helper()
	f, err := detect.Find(im, detect.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// matched compares the pixels predicted for bright stars that stand alone with
// the stars that detection finds; it returns how many there are, how many were
// found, and the root mean square of the differences per coordinate.
func matched(n *Night, list []Star, f *detect.Field, limit float64) (want, found int, rms float64) {
	c := &n.spec.Camera
	for _, s := range list {
		inside := s.X > 10 && s.Y > 10 && s.X < float64(c.W)-11 && s.Y < float64(c.H)-11
		if !s.Listed || !inside || s.V > limit {
			continue
		}
		alone := !slices.ContainsFunc(list, func(o Star) bool {
			d := math.Hypot(s.X-o.X, s.Y-o.Y)
			return d > 0 && d < 12 && o.Flux > 0.01*s.Flux
		})
		if !alone {
			continue
		}
		want++
		for _, d := range f.Stars {
			if r := math.Hypot(d.X-s.X, d.Y-s.Y); r < 1 && d.Flags&detect.Saturated == 0 {
				found++
				rms += r * r / 2
				break
			}
		}
	}
	return want, found, math.Sqrt(rms / float64(max(1, found)))
}

func TestStarsAreWhereTheyBelong(t *testing.T) {
	nights := uint64(2) // one of each hemisphere
	if testing.Short() {
		nights = 1
	}
	if *long {
		nights = 4
	}
	for seed := range nights {
		s := Random(seed, seed%2 == 0)
		n := build(t, s)
		im := n.Render(1)
		if im.W != s.Camera.W || im.H != s.Camera.H {
			t.Fatalf("seed %d: %d x %d pixels", seed, im.W, im.H)
		}
		limit := s.faintest(40) - 0.5
		want, found, rms := matched(n, n.Stars(1), find(t, im), limit)
		t.Logf("seed %d: %d of %d stars down to V %.1f, rms %.3f px", seed, found, want, limit, rms)
		if want < 5 || found < want*9/10 || rms > 0.06 {
			t.Errorf("seed %d: %d of %d stars down to V %.1f, rms %.3f px; want 5, 9 in 10, 0.06", seed, found, want, limit, rms)
		}
	}
}

// The pixel of a listed star, worked out from the list itself.
func TestPixelsFollowFromTheList(t *testing.T) {
	s := Random(3, true)
	s.Sky.Scatter, s.Sky.Faint = 0, false
	n := build(t, s)
	tr := n.Truth(0)
	seen := n.Stars(0)
	if len(seen) < 20 {
		t.Fatalf("%d stars", len(seen))
	}
	epoch := 2000 + tr.Mid.Sub(time.Date(2000, 1, 1, 12, 0, 0, 0, time.UTC)).Hours()/8766
	for _, st := range seen {
		c, ok := stars.Embedded().At(st.ID, epoch)
		if !ok || c.Pos.Sep(st.Sky) > 0.001*sphere.Arcsecond {
			t.Fatalf("star %d is not where the list has it", st.ID)
		}
		local := tr.Place.Observed(c.Pos)
		back := tr.Local(st.X, st.Y)
		if d := back.Sep(local).Arcseconds(); d > 0.001 {
			t.Errorf("star %d: %.4f arcsec off", st.ID, d)
		}
	}
	// Bright listed stars inside the cone that were not drawn are off the frame.
	for _, c := range stars.Embedded().Cone(nil, tr.Centre, 2*sphere.Degree, 9, epoch) {
		x, y, ok := tr.Pixel(c.Pos)
		inside := ok && x > 0 && y > 0 && x < float64(s.Camera.W-1) && y < float64(s.Camera.H-1)
		drawn := slices.ContainsFunc(seen, func(o Star) bool { return o.ID == c.ID })
		if inside && !drawn {
			t.Errorf("star %d at %.1f, %.1f is missing", c.ID, x, y)
		}
	}
}

func TestScatterIsThatOfTheList(t *testing.T) {
	s := Random(3, true)
	s.Sky.Faint = false
	epoch := julianYear(s.Start)
	n := build(t, s)
	var sum float64
	list := n.Stars(0)
	for _, st := range list {
		c, _ := stars.Embedded().At(st.ID, epoch)
		sum += math.Pow(float64(c.Pos.Sep(st.Sky)/c.Err), 2) / 2
	}
	if rms := math.Sqrt(sum / float64(len(list))); rms < 0.85 || rms > 1.15 {
		t.Errorf("%d stars: scatter %.3f standard errors per coordinate, want 1", len(list), rms)
	}
	again := n.Stars(1)
	for _, a := range list {
		for _, b := range again {
			if a.Listed && b.Listed && a.ID == b.ID && a.Sky.Sep(b.Sky) > 0.01*sphere.Arcsecond {
				t.Errorf("star %d has moved by %.3f arcsec", a.ID, a.Sky.Sep(b.Sky).Arcseconds())
			}
		}
	}
}

func TestSameSpecSamePixels(t *testing.T) {
	for _, south := range []bool{false, true} {
		s := Random(7, south)
		s.Camera.W, s.Camera.H = s.Camera.W/3, s.Camera.H/3
		a, b := build(t, s), build(t, s)
		x, y := a.Render(2), b.Render(2)
		if !slices.Equal(x.U16, y.U16) {
			t.Errorf("south %v: the same night twice gives two pictures", south)
		}
		if slices.Equal(x.U16, a.Render(1).U16) {
			t.Errorf("south %v: two frames are equal", south)
		}
	}
	if a, b := Random(7, false), Random(8, false); a.Site == b.Site || a.Setup == b.Setup {
		t.Error("two seeds give the same night")
	}
}

func TestHotPixelsStay(t *testing.T) {
	s := plain(50)
	s.Camera.Aperture, s.Camera.Sensor.NoNoise = 0.1, true
	s.Camera.Defects.Hot, s.Camera.Defects.Dead = 20, 10
	s.Frames = []Frame{{}, {At: time.Minute}}
	n := build(t, s)
	a, b := n.Render(0), n.Render(1)
	odd := 0
	for i, v := range a.U16 {
		if v != b.U16[i] {
			t.Fatalf("pixel %d is %d, then %d", i, v, b.U16[i])
		}
		if v < 290 || v > 310 {
			odd++
		}
	}
	if odd < 20 || odd > 30 {
		t.Errorf("%d bad pixels, want about 30", odd)
	}
}

func TestTrails(t *testing.T) {
	s := plain(50)
	s.Camera.Exposure = 4 * time.Second
	s.Setup.Dec, s.Setup.Roll = 10*sphere.Degree, 25*sphere.Degree
	n := build(t, s)
	list := n.Stars(0)
	scale := n.Truth(0).Lens.Scale().Arcseconds()
	want := 4 * 15.041 * math.Cos(10*math.Pi/180) / scale
	for _, st := range list {
		if math.Hypot(st.X-640, st.Y-480) > 200 {
			continue
		}
		if l := math.Hypot(st.Trail[0], st.Trail[1]); math.Abs(l-want) > 0.02*want {
			t.Errorf("trail of %.3f px, want %.3f", l, want)
		}
		// The sky goes west, which is right when up is north. With up 25 degrees
		// east of north, that is to the left, west lies 25 degrees below right.
		got := sphere.Angle(math.Atan2(st.Trail[1], st.Trail[0]))
		if d := (got - 25*sphere.Degree).Degrees(); math.Abs(d) > 1 {
			t.Errorf("trail toward %.2f deg below right, want 25", got.Degrees())
		}
	}
	im := n.Render(0)
	f := find(t, im)
	if f.Elongation < 2 {
		t.Errorf("elongation %.2f of trails of %.1f px", f.Elongation, want)
	}
	if d := math.Abs(math.Remainder(f.Angle-25*math.Pi/180, math.Pi)); d > 0.1 {
		t.Errorf("trails at %.1f deg, want 25", f.Angle*180/math.Pi)
	}
	_, found, rms := matched(n, list, f, n.spec.faintest(60))
	if found < 3 || rms > 0.2 {
		t.Errorf("%d trailed stars, their middles %.3f px off", found, rms)
	}
	s.Setup.Tracking = true
	for _, st := range build(t, s).Stars(0) {
		if st.Trail != [2]float64{} {
			t.Fatalf("trail %v although the motor runs", st.Trail)
		}
	}
}

func TestNothingUnderTheSkyline(t *testing.T) {
	s := plain(45)
	s.Camera.Focal, s.Sky.Brightness = 12, 20
	s.Setup.Dec, s.Setup.Roll = -40*sphere.Degree, 0 // 5 degrees up in the south
	n := build(t, s)
	tr := n.Truth(0)
	near(t, "altitude", tr.Altitude, 5*sphere.Degree, 60)
	above, low := 0, math.Inf(1)
	for _, st := range n.Stars(0) {
		_, alt := tr.Local(st.X, st.Y).AzAlt()
		if alt < 0 {
			t.Errorf("star at altitude %v", alt)
		}
		above++
		low = min(low, alt.Degrees())
	}
	if above < 50 || low > 2 {
		t.Errorf("%d stars, the lowest at %.1f deg", above, low)
	}
	// 5 degrees are 5/22.2 of the height under the middle, near enough.
	im := n.Render(0)
	row := func(y int) (sum float64) {
		for _, v := range im.Row(y, nil) {
			sum += float64(v) - s.Camera.Sensor.Bias
		}
		return sum / float64(im.W)
	}
	if sky, ground := row(300), row(940); ground > 0.3*sky || sky < 1 {
		t.Errorf("sky %.2f, ground %.2f", sky, ground)
	}
}

func TestExtinction(t *testing.T) {
	s := plain(50)
	n := build(t, s)
	s.Sky.Extinction = 0.25
	dimmed := build(t, s).Stars(0)
	k, tr := 0, n.Truth(0)
	for _, a := range n.Stars(0) {
		for _, b := range dimmed {
			if a.Listed && b.Listed && a.ID == b.ID {
				k++
				_, alt := tr.Local(a.X, a.Y).AzAlt()
				want := 0.25 / math.Sin(float64(alt))
				if got := 2.5 * math.Log10(a.Flux/b.Flux); math.Abs(got-want) > 0.002 {
					t.Errorf("dimmed by %.4f at altitude %v, want %.4f", got, alt, want)
				}
			}
		}
	}
	if k < 10 {
		t.Errorf("only %d stars", k)
	}
}

// Invented stars continue the list: counts grow steadily through the magnitudes
// at which the list ends, and the same ones are there whoever looks.
func TestFaintStarsContinueTheList(t *testing.T) {
	const epoch = 2026.9
	var count [10]float64 // magnitudes 9 to 14 in halves
	for _, ra := range []float64{20, 110, 200, 290} {
		for _, dec := range []float64{-60, 0, 45} {
			c := sphere.SkyAt(sphere.Angle(ra)*sphere.Degree, sphere.Angle(dec)*sphere.Degree)
			add := func(v float64) {
				if k := int(math.Floor((v - 9) * 2)); k >= 0 && k < len(count) {
					count[k]++
				}
			}
			for _, s := range stars.Embedded().Cone(nil, c, 3*sphere.Degree, 14, epoch) {
				add(float64(s.V))
			}
			for _, s := range faintStars(seed, c, 3*sphere.Degree, 14, epoch) {
				if s.Sky.Sep(c) > 3*sphere.Degree {
					t.Fatalf("star %.2f deg from the middle", s.Sky.Sep(c).Degrees())
				}
				add(s.V)
			}
		}
	}
	t.Logf("stars per half magnitude from 9 to 14: %v", count)
	for k := 1; k < len(count); k++ {
		if r := count[k] / count[k-1]; r < 1.35 || r > 1.85 {
			t.Errorf("seed %d: V %.1f to %.1f has %.2f times the stars before, want about 1.6", seed, 9+float64(k)/2, 9.5+float64(k)/2, r)
		}
	}
	a := sphere.SkyAt(1, 0.5)
	b := sphere.SkyAt(1+0.5*sphere.Degree, 0.5)
	wide, other := faintStars(seed, a, 2*sphere.Degree, 13, epoch), faintStars(seed, b, sphere.Degree, 13, epoch)
	for _, s := range other {
		if !slices.ContainsFunc(wide, func(o Star) bool { return o.Sky == s.Sky && o.V == s.V }) {
			t.Fatal("a star of the narrow frame is not in the wide one")
		}
	}
	if len(other) < 20 {
		t.Fatalf("%d stars", len(other))
	}
}

func TestFilesSayWhatTheyAre(t *testing.T) {
	s := Random(2, true)
	for i := uint64(2); s.Camera.Sensor.Mosaic == ""; i++ {
		s = Random(i, true)
	}
	s.Camera.W, s.Camera.H = 300, 200
	n := build(t, s)
	dir := filepath.Join(t.TempDir(), "new", "folder")
	paths, err := n.Write(dir)
	if err != nil {
		t.Fatal(err)
	}
	if files, _ := os.ReadDir(dir); len(files) != 3 || len(paths) != 3 {
		t.Fatalf("%d files, %d paths", len(files), len(paths))
	}
	for i, p := range paths {
		if want := filepath.Join(dir, fmt.Sprintf("frame-0%d.fits", i+1)); p != want {
			t.Errorf("path %s, want %s", p, want)
		}
		f, err := frame.Read(context.Background(), p, frame.Options{})
		if err != nil {
			t.Fatal(err)
		}
		tr := n.Truth(i)
		if d := f.Time.Mid.Sub(tr.Mid).Abs(); d > time.Millisecond || f.Time.Doubtful {
			t.Errorf("middle %v, want %v", f.Time.Mid, tr.Mid)
		}
		if f.Site == nil {
			t.Fatal("no site")
		}
		near(t, "latitude", f.Site.Lat, s.Site.Lat, 0.001)
		near(t, "longitude", f.Site.Lon, s.Site.Lon, 0.001)
		if f.Site.Elev != s.Site.Elev || f.Exposure != s.Camera.Exposure || f.Image.Mosaic != s.Camera.Sensor.Mosaic {
			t.Errorf("elevation %g, exposure %v, mosaic %q", f.Site.Elev, f.Exposure, f.Image.Mosaic)
		}
		if r := float64(f.Optics.Scale / tr.Lens.Scale()); math.Abs(r-1) > 0.05 {
			t.Errorf("stated scale %.3f of the true one", r)
		}
		if !slices.Equal(f.Image.U16, n.Render(i).U16) {
			t.Error("other pixels in the file")
		}
		raw, _ := os.ReadFile(p)
		if !bytes.Contains(raw[:2880], []byte("OBJECT  = 'SIMULATED, "+s.Name)) {
			t.Errorf("header does not say that it is simulated:\n%s", raw[:800])
		}
	}
}
