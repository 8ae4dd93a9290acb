package night

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis"
	"pintle/axis/place"
	"pintle/index"
	"pintle/index/optics"
	"pintle/index/sphere"
	"pintle/index/stars"
	"pintle/solve"
	"pintle/solve/detect"
	"pintle/solve/frame"
)

// Following is tested on photographs whose stars are recognised by the true
// attitude, so that it needs no index; what the camera saw is found in the
// pixels.

// sighting finds the stars of a picture; a star of the list is the detection
// nearest to where it should be, within two pixels.
func sighting(t testing.TB, name string, im *frame.Image, tr *Truth, told *place.Place) axis.Sighting {
	t.Helper()
	field, err := detect.Find(im, detect.Options{})
	if err != nil {
		t.Fatal(err)
	}
	s := axis.Sighting{Name: name, Time: tr.Mid, Place: told, W: im.W, H: im.H, Lens: tr.Lens}
	s.Lens.F *= 1.0002
	s.Lens.CX, s.Lens.CY = float64(im.W-1)/2, float64(im.H-1)/2
	c := tr.Sky(s.Lens.CX, s.Lens.CY).Vec()
	x := tr.Sky(s.Lens.CX+30, s.Lens.CY).Vec()
	if tr.Lens.Mirrored {
		x = tr.Sky(s.Lens.CX-30, s.Lens.CY).Vec()
	}
	x = r3.Unit(r3.Sub(x, r3.Scale(r3.Dot(x, c), c)))
	s.SkyFromCam = sphere.RotFromRows(x, r3.Cross(c, x), c).Inv()
	radius := sphere.Angle(math.Atan(s.Lens.Half/s.Lens.F)) * 1.1
	for _, st := range stars.Embedded().Cone(nil, sphere.SkyVec(c), radius, 12.5, julianYear(tr.Mid)) {
		px, py, ok := tr.Pixel(st.Pos)
		if !ok {
			continue
		}
		best, at := 2.0, -1
		for i := range field.Stars {
			if d := math.Hypot(field.Stars[i].X-px, field.Stars[i].Y-py); d < best {
				best, at = d, i
			}
		}
		if at >= 0 {
			d := field.Stars[at]
			s.Matches = append(s.Matches, axis.Match{X: d.X, Y: d.Y, Err: math.Sqrt((d.ErrX*d.ErrX + d.ErrY*d.ErrY) / 2), Sky: st.Pos, CatErr: st.Err})
		}
	}
	return s
}

// followed compares a state with the truth: how far the remaining error is off,
// altitude and azimuth on the sky, arcseconds.
func followed(st *axis.State, offset axis.Parts) (alt, az float64) {
	_, palt := st.Offset.Pole.AzAlt()
	return (st.Offset.Alt - offset.Alt).Arcseconds(), (st.Offset.AzKnob - offset.AzKnob).Wrap().Arcseconds() * palt.Cos()
}

func tell(name string, st *axis.State, alt, az float64) string {
	return fmt.Sprintf("%s: %v (%.2f), %v; %d stars, field turn to %.1f; off by alt %.2f, az %.2f with errors %.2f, %.2f arcsec; turned az %.2f alt %.2f RA %.2f arcmin; lean %.2f %.2f +- %.2f %.2f deg; %v", name,
		st.Touched, st.Chance, st.Drive, st.Frame.Inliers, math.Sqrt(st.Frame.Cov[2][2])*206265, alt, az, st.Offset.Err.Alt.Arcseconds(), st.Offset.Err.AzSky.Arcseconds(),
		st.Turns.Az.Arcminutes(), st.Turns.Alt.Arcminutes(), st.Turns.RA.Arcminutes(), st.LeanEast.Degrees(), st.LeanNorth.Degrees(), st.LeanEastErr.Degrees(), st.LeanNorthErr.Degrees(), st.Advice)
}

// boltNight is ../shared/nights/turning-the-bolts.
type boltNight struct {
	spec struct {
		Site struct {
			Lat, Lon, Height float64
			Pressure         float64 `json:"pressure_hpa"`
			Temp             float64 `json:"temp_c"`
		}
		Camera struct {
			PixUm float64 `json:"pix_um"`
			Focal float64 `json:"focal_mm"`
		}
		Frames []struct {
			Knob map[string]float64 `json:"knob_arcmin"`
		}
	}
	truth struct {
		Offset struct {
			Alt float64
			Az  float64 `json:"az_knob"`
		} `json:"offset_arcmin"`
		Frames []struct {
			File, Mid string
			Rows      [3][3]float64 `json:"attitude_rows_enu"`
		}
	}
	dir  string
	site place.Site
	air  place.Air
}

func readBolts(t *testing.T) *boltNight {
	t.Helper()
	n := &boltNight{dir: "../../../../shared/nights/turning-the-bolts"}
	for name, v := range map[string]any{"spec.json": &n.spec, "truth.json": &n.truth} {
		b, err := os.ReadFile(filepath.Join(n.dir, name))
		if err != nil {
			t.Skip(err)
		}
		if err := json.Unmarshal(b, v); err != nil {
			t.Fatal(err)
		}
	}
	s := n.spec.Site
	n.site = place.Site{Lat: sphere.Angle(s.Lat) * sphere.Degree, Lon: sphere.Angle(s.Lon) * sphere.Degree, Elev: s.Height}
	n.air = place.Air{Pressure: s.Pressure, Temp: s.Temp, Humidity: 0.5}
	return n
}

// frame returns a picture and what is true of it.
func (n *boltNight) frame(t *testing.T, i int) (*frame.Frame, *Truth) {
	t.Helper()
	file, err := frame.Read(context.Background(), filepath.Join(n.dir, n.truth.Frames[i].File), frame.Options{})
	if err != nil {
		t.Fatal(err)
	}
	mid, err := time.Parse("2006-01-02T15:04:05", n.truth.Frames[i].Mid)
	if err != nil {
		t.Fatal(err)
	}
	p, err := place.At(mid, n.site, n.air)
	if err != nil {
		t.Fatal(err)
	}
	r := n.truth.Frames[i].Rows
	v := func(k int) r3.Vec { return r3.Vec{X: r[k][0], Y: r[k][1], Z: r[k][2]} }
	tr := &Truth{Mid: mid, Place: p, LocalFromCam: sphere.RotFromRows(v(0), v(1), v(2)).Inv()}
	tr.Lens = optics.NewLens(file.Image.W, file.Image.H, sphere.Angle(math.Atan(n.spec.Camera.PixUm*1e-3/n.spec.Camera.Focal)))
	knob := n.spec.Frames[i].Knob
	am := func(x float64) sphere.Angle { return sphere.Angle(x) * sphere.Arcminute }
	tr.Offset.Alt, tr.Offset.AzKnob = am(n.truth.Offset.Alt+knob["alt"]), am(n.truth.Offset.Az+knob["az_knob"])
	return file, tr
}

// The frames of ../shared in which the adjusters are turned: the remaining error
// is within 5 arcsec of what is true, with the weather given and without.
func TestFollowSharedFrames(t *testing.T) {
	n := readBolts(t)
	for airName, air := range map[string]place.Air{"weather given": n.air, "standard air": place.StandardAir(n.site.Elev)} {
		var first []axis.Sighting
		var f *axis.Follower
		for i, fr := range n.truth.Frames {
			file, tr := n.frame(t, i)
			told, err := place.At(file.Time.Mid, n.site, air)
			if err != nil {
				t.Fatal(err)
			}
			s := sighting(t, fr.File, &file.Image, tr, told)
			if n.spec.Frames[i].Knob == nil {
				first = append(first, s)
				continue
			}
			if f == nil {
				f = start(t, first)
			}
			st, err := f.Next(s)
			if err != nil {
				t.Fatal(err)
			}
			alt, az := followed(&st, tr.Offset)
			t.Log(airName + ", " + tell(fr.File, &st, alt, az))
			if d := math.Hypot(alt, az); !(d <= 5) {
				t.Errorf("%s, %s: remaining error is %.2f arcsec from truth, want within 5", airName, fr.File, d)
			}
		}
	}
}

func start(t *testing.T, first []axis.Sighting) *axis.Follower {
	t.Helper()
	r, err := axis.Fit(first)
	if err != nil {
		t.Fatal(err)
	}
	f, err := axis.Follow(r)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// turn is one step of someone at the mount, and the frame after it.
type turn struct {
	wait    float64 // s
	alt, az float64 // arcmin
	ra      float64 // degrees
	dec     float64 // arcmin
	sink    float64 // arcmin, of the tripod toward azimuth 70
	roll    float64 // arcmin, of the camera in its holder
	lost    bool    // the frame is not seen
	track   int     // -1 stops the motor, 1 starts it
}

// bolts is the mount and camera of turning-the-bolts at another latitude.
func bolts(lat float64) Spec {
	deg := func(x float64) sphere.Angle { return sphere.Angle(x) * sphere.Degree }
	am := func(x float64) sphere.Angle { return sphere.Angle(x) * sphere.Arcminute }
	s := Spec{
		Name: "bolts", Seed: seed, Start: time.Date(2026, 12, 2, 20, 0, 0, 0, time.UTC),
		Site:   place.Site{Lat: deg(lat), Lon: deg(6.4), Elev: 80},
		Air:    place.Air{Pressure: 1011, Temp: 6, Humidity: 0.5},
		Sky:    Sky{Brightness: 20, Extinction: 0.2, Scatter: 1, Faint: true},
		Camera: Camera{W: 1280, H: 960, Pixel: 3.75, Focal: 240, Nominal: 240, Aperture: 100, Exposure: 2 * time.Second, Vignette: 0.2},
		Setup:  Setup{ErrAlt: am(-17.5), ErrAz: am(39), Dec: deg(25), Cone: am(25), Roll: deg(-75), Tracking: true},
		Frames: []Frame{{}},
	}
	if lat < 0 {
		s.Setup.Dec = -s.Setup.Dec
	}
	s.Camera.PSF.FWHM = 2.3
	s.Camera.Sensor.Gain, s.Camera.Sensor.Read, s.Camera.Sensor.Bias = 0.25, 3, 400
	s.Camera.Defects.Hot = 40
	return s
}

// rehearse measures the axis with three frames and makes the turns.
func rehearse(t *testing.T, s Spec, first [3]float64, turns []turn, see func(i int, st *axis.State, tr *Truth)) {
	t.Helper()
	n := build(t, s)
	now := s.Start
	m := n.Mount(now)
	move := func(p Pose) {
		t.Helper()
		if err := m.Move(p); err != nil {
			t.Fatal(err)
		}
	}
	shoot := func(name string) (axis.Sighting, Truth) {
		t.Helper()
		shot, err := m.Shoot(now)
		if err != nil {
			t.Fatal(err)
		}
		tr := shot.Truth
		return sighting(t, name, shot.Image, &tr, tr.Place), tr
	}
	deg := func(x float64) sphere.Angle { return sphere.Angle(x) * sphere.Degree }
	am := func(x float64) sphere.Angle { return sphere.Angle(x) * sphere.Arcminute }
	var ss []axis.Sighting
	at := 0.0
	for i, ra := range first {
		move(Pose{Turn: deg(ra - at)})
		at = ra
		sg, _ := shoot(fmt.Sprintf("measure-%d", i+1))
		ss = append(ss, sg)
		now = now.Add(45 * time.Second)
	}
	f := start(t, ss)
	for i, u := range turns {
		now = now.Add(time.Duration(u.wait * float64(time.Second)))
		if u.track != 0 {
			m.Track(now, u.track > 0)
		}
		move(Pose{Turn: deg(u.ra), Alt: am(u.alt), Az: am(u.az), Dec: am(u.dec), Roll: am(u.roll), Sink: am(u.sink), SinkAz: deg(70)})
		if u.lost {
			continue
		}
		sg, tr := shoot(fmt.Sprintf("frame-%d", i+1))
		st, err := f.Next(sg)
		if err != nil {
			t.Fatal(err)
		}
		see(i, &st, &tr)
	}
}

func TestFollowRenderedNights(t *testing.T) {
	if !*long {
		t.Skip("takes long: -long")
	}
	if testing.Short() {
		t.Skip("photographs of eleven nights")
	}
	same := []turn{{wait: 20}, {wait: 20, alt: 9}, {wait: 20, alt: 8.3}, {wait: 20, az: -22}, {wait: 20, az: -19}, {wait: 20, alt: 0.1, az: 2.2}}
	lost := []turn{{wait: 20}, {wait: 20, alt: 9, lost: true}, {wait: 20, alt: 8.3}, {wait: 20, az: -22, lost: true}, {wait: 20, az: -19, lost: true}, {wait: 20, alt: 0.1, az: 2.2}, {wait: 60, alt: 3, az: -3}}
	large := []turn{{wait: 20}, {wait: 20, az: -300}, {wait: 20, alt: 300}, {wait: 20, alt: -180, az: 200}, {wait: 20, az: 100}, {wait: 20, alt: -103}, {wait: 20, az: -30}}
	for _, c := range []struct {
		name     string
		lat      float64
		lean, to float64
		still    bool
		first    [3]float64
		turns    []turn
	}{
		{"as in the shared night", 51.2, 0, 0, false, [3]float64{-35, -10, 16}, same},
		{"not tracking", 51.2, 0, 0, true, [3]float64{-35, -10, 16}, same},
		{"frames lost", 51.2, 0, 0, false, [3]float64{-35, -10, 16}, lost},
		{"latitude 3", 3, 0, 0, false, [3]float64{-35, -10, 16}, same},
		{"latitude -34", -34, 0, 0, false, [3]float64{-35, -10, 16}, same},
		{"latitude 66", 66, 0, 0, false, [3]float64{-35, -10, 16}, same},
		{"turns of 5 degrees", 51.2, 0, 0, false, [3]float64{-35, -10, 16}, large},
		{"3 degrees out of level, east", 51.2, 3, 90, false, [3]float64{-35, -10, 16}, same},
		{"3 degrees out of level, north", 51.2, 3, 0, false, [3]float64{-35, -10, 16}, same},
		{"3 degrees out of level, southwest, turns of 5 degrees", -34, 3, 225, false, [3]float64{-35, -10, 16}, large},
		{"3 degrees out of level, not tracking, frames lost", 51.2, 3, 45, true, [3]float64{-35, -10, 16}, lost},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := bolts(c.lat)
			s.Setup.Tracking = !c.still
			s.Setup.Lean, s.Setup.LeanAz = sphere.Angle(c.lean)*sphere.Degree, sphere.Angle(c.to)*sphere.Degree
			rehearse(t, s, c.first, c.turns, func(i int, st *axis.State, tr *Truth) {
				alt, az := followed(st, tr.Offset)
				t.Log(tell(c.name+", "+st.Name, st, alt, az))
				if d := math.Hypot(alt, az); !(d <= 5) {
					t.Errorf("%s, frame %d: remaining error is %.2f arcsec from truth, want within 5", c.name, i+1, d)
				}
			})
		})
	}
}

// What was done to the mount is read off the photographs.
func TestFollowRenderedTouches(t *testing.T) {
	if testing.Short() {
		t.Skip("photographs")
	}
	turns := []turn{
		{wait: 20}, {wait: 20, track: -1}, {wait: 30}, {wait: 20, alt: 5}, {wait: 20, track: 1}, {wait: 20, az: -8},
		{wait: 40, ra: 12}, {wait: 20}, {wait: 20, dec: 6}, {wait: 20}, {wait: 20, roll: 12},
	}
	want := []axis.Touch{
		0, 0, 0, axis.TouchAltitude, 0, axis.TouchAzimuth,
		axis.TouchRA, 0, axis.TouchDec, 0, axis.TouchCamera,
	}
	small := bolts(51.2)
	small.Camera.W, small.Camera.H = 960, 720
	rehearse(t, small, [3]float64{-35, -10, 16}, turns, func(i int, st *axis.State, tr *Truth) {
		alt, az := followed(st, tr.Offset)
		t.Log(tell(st.Name, st, alt, az))
		if st.Touched != want[i] {
			t.Errorf("frame %d: %v touched (chance %.2f, others %v), want %v", i+1, st.Touched, st.Chance, st.Others, want[i])
		}
		if standing := i >= 1 && i < 4; i > 0 && (st.Drive == axis.Standing) != standing {
			t.Errorf("frame %d: the mount is %v", i+1, st.Drive)
		}
		if (st.Advice != axis.NoNeed) != (i >= 8) {
			t.Errorf("frame %d: %v", i+1, st.Advice)
		}
		if d := math.Hypot(alt, az); !(d <= 8) {
			t.Errorf("frame %d: remaining error is %.2f arcsec from truth, want within 8", i+1, d)
		}
	})
	// A tripod that sinks cannot be told from a bent camera by one frame; that one of
	// the two happened can.
	rehearse(t, small, [3]float64{-35, -10, 16}, []turn{{wait: 20}, {wait: 20, sink: 4}, {wait: 20}}, func(i int, st *axis.State, tr *Truth) {
		alt, az := followed(st, tr.Offset)
		t.Log(tell("sunk, "+st.Name, st, alt, az))
		if (st.Advice != axis.NoNeed) != (i >= 1) {
			t.Errorf("tripod sunk, frame %d: %v", i+1, st.Advice)
		}
	})
}

// The shared frames once more, recognised by the program's own solver, when this
// machine has the index.
func TestFollowSharedFramesSolved(t *testing.T) {
	n := readBolts(t)
	cache, err := os.UserCacheDir()
	if err != nil {
		t.Skip(err)
	}
	lib := &index.Library{Dir: filepath.Join(cache, "pintle", "index"), List: stars.Embedded(), Now: time.Now}
	defer lib.Close()
	for _, b := range index.Bands() {
		if _, err := lib.Ready(b); err != nil {
			t.Skip(err)
		}
	}
	solver := &solve.Solver{Library: lib}
	var near *solve.Solution
	var first []axis.Sighting
	var f *axis.Follower
	for i, fr := range n.truth.Frames {
		file, tr := n.frame(t, i)
		field, err := detect.Find(&file.Image, detect.Options{})
		if err != nil {
			t.Fatal(err)
		}
		near, err = solver.Solve(t.Context(), field, solve.Options{Epoch: julianYear(tr.Mid), Hint: solve.Hint{Near: near}})
		if err != nil {
			t.Fatal(err)
		}
		s := axis.Sighting{Name: fr.File, Time: tr.Mid, Place: tr.Place, W: field.W, H: field.H, Lens: near.Lens, SkyFromCam: near.CamFromSky.Inv()}
		for _, m := range near.Matches {
			d := field.Stars[m.Detected]
			s.Matches = append(s.Matches, axis.Match{X: d.X, Y: d.Y, Err: math.Sqrt((d.ErrX*d.ErrX + d.ErrY*d.ErrY) / 2), Sky: m.Star.Pos, CatErr: m.Star.Err})
		}
		if n.spec.Frames[i].Knob == nil {
			first = append(first, s)
			continue
		}
		if f == nil {
			f = start(t, first)
		}
		st, err := f.Next(s)
		if err != nil {
			t.Fatal(err)
		}
		alt, az := followed(&st, tr.Offset)
		t.Log(tell(fr.File, &st, alt, az))
		if d := math.Hypot(alt, az); !(d <= 5) {
			t.Errorf("%s: remaining error is %.2f arcsec from truth, want within 5", fr.File, d)
		}
	}
}
