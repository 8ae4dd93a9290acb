package axis

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

const am = sphere.Arcminute

// usual is the bench most tests of following use: a narrow field, 17 arcmin too
// low and 39 too far east, the camera an hour off the meridian.
func usual(t testing.TB, k uint64, lat sphere.Angle) *bench {
	t.Helper()
	b := newBench(rand.New(rand.NewPCG(seed, k)), lat)
	b.n.err = 0.04
	b.point(t, -17.5*am, 39*am)
	return b
}

func (b *bench) next(t testing.TB, f *Follower, wait time.Duration) State {
	t.Helper()
	s, err := f.Next(b.shoot(t, wait))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// Turns of the adjusters are recognised and measured, and the axis is carried
// along, wherever the mount stands and whether it tracks or not.
func TestFollowTurns(t *testing.T) {
	statistical(t)
	for k, c := range []struct {
		name string
		lat  float64
		rate float64
		lean [2]float64 // degrees
		wait time.Duration
		turn [][2]float64 // altitude, azimuth, arcmin
		most float64      // arcsec
	}{
		{"small turns", 51.2, 1, [2]float64{}, 20 * time.Second, [][2]float64{{0, 0}, {9, 0}, {8.3, 0}, {0, -22}, {0, -19}, {0.1, 2.2}}, 6},
		{"not tracking", 51.2, 0, [2]float64{}, 20 * time.Second, [][2]float64{{0, 0}, {9, 0}, {8.3, 0}, {0, -22}, {0, -19}, {0.1, 2.2}}, 6},
		{"frames lost", 51.2, 1, [2]float64{}, 3 * time.Minute, [][2]float64{{0, 0}, {17.3, 0}, {2.1, -38.8}, {-3, 2}}, 10},
		{"near the equator", 3, 1, [2]float64{}, 20 * time.Second, [][2]float64{{0, 0}, {9, 0}, {8.3, 0}, {0, -22}, {0, -19}}, 15},
		{"south", -34, 1, [2]float64{}, 20 * time.Second, [][2]float64{{0, 0}, {9, 0}, {8.3, 0}, {0, -22}, {0, -19}, {-4, 5}}, 8},
		{"far north", 66, 1, [2]float64{}, 20 * time.Second, [][2]float64{{0, 0}, {9, 0}, {8.3, 0}, {0, -22}, {0, -19}}, 6},
		{"large turns", 51.2, 1, [2]float64{}, 20 * time.Second, [][2]float64{{0, 0}, {0, 300}, {-300, 0}, {200, -180}, {0, -200}, {90, 0}}, 10},
		{"out of level", 51.2, 1, [2]float64{3, 0}, 20 * time.Second, [][2]float64{{0, 0}, {9, 0}, {0, -22}, {8.3, 0}, {0, -19}}, 6},
		{"far out of level, large turns", -34, 1, [2]float64{-2.1, 2.1}, 20 * time.Second, [][2]float64{{0, 0}, {0, 300}, {-300, 0}, {200, -180}, {0, -200}}, 15},
	} {
		b := usual(t, 9000+uint64(k), sphere.Angle(c.lat)*sphere.Degree)
		b.rate = c.rate
		b.lean = [2]sphere.Angle{sphere.Angle(c.lean[0]) * sphere.Degree, sphere.Angle(c.lean[1]) * sphere.Degree}
		b.point(t, -17.5*am, 39*am)
		_, f := b.measure(t, -16*sphere.Degree)
		for i, u := range c.turn {
			alt, az := sphere.Angle(u[0])*am, sphere.Angle(u[1])*am
			b.alt += alt
			b.az += az
			var want Touch
			if alt != 0 {
				want |= TouchAltitude
			}
			if az != 0 {
				want |= TouchAzimuth
			}
			s := b.next(t, f, c.wait)
			if s.Touched != want {
				t.Errorf("%s, frame %d: %v was touched (chance %.2f, else %v), want %v", c.name, i, s.Touched, s.Chance, s.Others, want)
			}
			if (s.Drive == Tracking) != (c.rate == 1) {
				t.Errorf("%s, frame %d: the mount is %v", c.name, i, s.Drive)
			}
			for _, x := range []struct {
				what      string
				got, want sphere.Angle
				variance  float64
			}{{"altitude", s.Turns.Alt, alt, s.Turns.Cov[1][1]}, {"azimuth", s.Turns.Az, az, s.Turns.Cov[0][0]}, {"RA", s.Turns.RA, 0, s.Turns.Cov[2][2]}} {
				if d := x.got - x.want; float64(d.Abs()) > 4*math.Sqrt(x.variance)+1e-9 {
					t.Errorf("%s, frame %d: %s turned by %.3f arcmin, want %.3f, error %.3f", c.name, i, x.what, x.got.Arcminutes(), x.want.Arcminutes(), math.Sqrt(x.variance)/float64(am))
				}
			}
			if d := s.Axis.Sep(b.axis()).Arcseconds(); d > c.most || zScore(&s, b.axis()) > 18 {
				t.Errorf("%s, frame %d: axis %.2f arcsec off, want below %g; errors %.2f, %.2f", c.name, i, d, c.most, s.Offset.Err.Alt.Arcseconds(), s.Offset.Err.AzSky.Arcseconds())
			}
			if s.Advice != NoNeed {
				t.Errorf("%s, frame %d: %v", c.name, i, s.Advice)
			}
		}
	}
}

// Frames between which nobody touched anything invent no turn, whether the mount
// tracks or stands, and whatever its drive's errors.
func TestFollowNothing(t *testing.T) {
	statistical(t)
	for k, c := range []struct {
		lat, rate float64
		worm      sphere.Angle
	}{{51.2, 1, 0}, {51.2, 0, 0}, {-34, 1, 10 * sphere.Arcsecond}, {3, 0, 0}, {70, 1, 20 * sphere.Arcsecond}} {
		b := usual(t, 9050+uint64(k), sphere.Angle(c.lat)*sphere.Degree)
		b.rate, b.worm = c.rate, c.worm
		_, f := b.measure(t, sphere.Angle(-40+20*k)*sphere.Degree)
		was := f.State()
		for i := range 20 {
			wait := 20 * time.Second
			if i == 10 {
				wait = 10 * time.Minute
			}
			s := b.next(t, f, wait)
			if s.Touched != 0 || s.Turns != (Turns{}) {
				t.Errorf("latitude %g, rate %g, frame %d: %v (chance %.2f), turns %+v, but nothing was touched", c.lat, c.rate, i, s.Touched, s.Chance, s.Turns)
			}
			if (s.Drive == Tracking) != (c.rate == 1) {
				t.Errorf("latitude %g, rate %g, frame %d: the mount is %v", c.lat, c.rate, i, s.Drive)
			}
			if z := zScore(&s, b.axis()); z > 18 {
				t.Errorf("latitude %g, frame %d: axis %.2f arcsec off, %.1f standard errors", c.lat, i, s.Axis.Sep(b.axis()).Arcseconds(), math.Sqrt(z))
			}
			if s.Advice != was.Advice {
				t.Errorf("latitude %g, frame %d: %v", c.lat, i, s.Advice)
			}
		}
	}
}

// The drive may be switched on and off between frames.
func TestFollowDriveSwitched(t *testing.T) {
	statistical(t)
	b := usual(t, 9070, 51.2*sphere.Degree)
	_, f := b.measure(t, -16*sphere.Degree)
	for i := range 12 {
		if i%4 == 0 { // some time between the frames; what the drive has turned so far stays
			part := time.Duration(i) * time.Second
			b.now += part
			was := b.driven()
			b.rate = float64((i / 4) % 2)
			b.ra += was - b.driven()
			b.now -= part
		}
		s := b.next(t, f, 20*time.Second)
		want := Standing
		if b.rate == 1 {
			want = Tracking
		}
		if s.Touched != 0 || s.Drive != want {
			t.Errorf("frame %d: %v touched, %v, want nothing and %v", i, s.Touched, s.Drive, want)
		}
	}
}

// A frame for which RA was turned measures the axis further: the answer is that
// of one fit to all frames.
func TestFollowMeasuresFurther(t *testing.T) {
	statistical(t)
	b := usual(t, 9100, 40*sphere.Degree)
	var ss []Sighting
	top := b.top()
	for i, d := range []float64{-12, -6, 0} {
		b.ra = top + sphere.Angle(d)*sphere.Degree
		ss = append(ss, b.shoot(t, time.Duration(i)*30*time.Second))
	}
	r, err := Fit(ss)
	if err != nil {
		t.Fatal(err)
	}
	f, err := Follow(r)
	if err != nil {
		t.Fatal(err)
	}
	first := f.State()
	b.worm = 0
	for i, d := range []float64{30, -25, 55} {
		b.ra += sphere.Angle(d) * sphere.Degree
		sg := b.shoot(t, 40*time.Second)
		ss = append(ss, sg)
		s, err := f.Next(sg)
		if err != nil {
			t.Fatal(err)
		}
		if s.Touched != TouchRA || (s.Turns.RA.Degrees()-d) > 0.02 || (s.Turns.RA.Degrees()-d) < -0.02 {
			t.Errorf("frame %d: %v touched, RA turned by %.4f degrees, want RA and %g", i, s.Touched, s.Turns.RA.Degrees(), d)
		}
	}
	all, err := Fit(ss)
	if err != nil {
		t.Fatal(err)
	}
	s := f.State()
	sigma := func(c [2][2]float64) float64 { return math.Sqrt(c[0][0] + c[1][1]) }
	if sigma(s.Cov) > sigma(first.Cov)/3 {
		t.Errorf("error was %.2f arcsec and is %.2f after three more frames", sigma(first.Cov)*206265, sigma(s.Cov)*206265)
	}
	if d := float64(s.Axis.Sep(all.Axis)); d > 1.5*sigma(s.Cov) {
		t.Errorf("axis %.2f arcsec from that of one fit to all frames, error is %.2f", d*206265, sigma(s.Cov)*206265)
	}
	if d := float64(s.Axis.Sep(b.axis())); d > 4*sigma(s.Cov) {
		t.Errorf("axis %.2f arcsec off, error is %.2f", d*206265, sigma(s.Cov)*206265)
	}
}

// What must not be touched is noticed, said, and a new measurement asked for; and
// where it is certain what it was, the axis is still right.
func TestFollowTouched(t *testing.T) {
	statistical(t)
	for k, c := range []struct {
		name   string
		do     func(b *bench)
		want   Touch
		advice []Advice
		sure   bool
	}{
		{"declination by 10 arcmin", func(b *bench) { b.dec += 10 * am }, TouchDec, []Advice{DecTurned}, true},
		{"declination by 1 arcmin", func(b *bench) { b.dec -= am }, TouchDec, []Advice{DecTurned}, true},
		{"declination by 20 degrees, RA by 30", func(b *bench) { b.dec += 20 * sphere.Degree; b.ra += 30 * sphere.Degree }, TouchDec | TouchRA, []Advice{DecTurned}, true},
		{"camera turned by 20 arcmin", func(b *bench) { b.roll += 20 * am }, TouchCamera, []Advice{CameraMoved}, true},
		{"camera bent by 5 arcmin", func(b *bench) { b.cone += 3 * am; b.dec += 4 * am; b.roll += 5 * am }, unfit, []Advice{TripodOrCamera, TripodMoved, CameraMoved, DecTurned}, false},
		{"tripod sunk by 3 arcmin", func(b *bench) {
			b.push = sphere.TurnVec(r3.Scale(3*float64(am), r3.Vec{X: 0.6, Y: 0.8}))
		}, TouchTripod, []Advice{TripodMoved, TripodOrCamera, CameraMoved}, false},
		{"tripod kicked by 10 arcmin", func(b *bench) {
			b.push = sphere.TurnVec(r3.Scale(10*float64(am), r3.Vec{X: 0.3, Y: 0.4, Z: 0.8}))
		}, TouchTripod, []Advice{TripodMoved, TripodOrCamera, CameraMoved}, false},
	} {
		b := usual(t, 9150+uint64(k), 51.2*sphere.Degree)
		_, f := b.measure(t, -30*sphere.Degree)
		b.next(t, f, 20*time.Second)
		c.do(b)
		for i := range 2 {
			s := b.next(t, f, 20*time.Second)
			told := i > 0 || s.Touched&c.want != 0
			for _, o := range s.Others {
				told = told || o.Touched&c.want != 0
			}
			if !told || c.sure && i == 0 && s.Touched != c.want {
				t.Errorf("%s: %v touched (chance %.2f), others %v", c.name, s.Touched, s.Chance, s.Others)
			}
			good := false
			for _, a := range c.advice {
				good = good || s.Advice == a
			}
			if !good {
				t.Errorf("%s: advice is: %v", c.name, s.Advice)
			}
			if z := zScore(&s, b.axis()); c.sure && z > 18 {
				t.Errorf("%s: axis %.2f arcsec off, %.1f standard errors", c.name, s.Axis.Sep(b.axis()).Arcseconds(), math.Sqrt(z))
			}
		}
	}
}

// On the meridian declination turns the camera just as the altitude adjuster does.
// The likelier is believed, the other kept in mind: when RA has been turned the
// stars decide.
func TestFollowChangesItsMind(t *testing.T) {
	b := usual(t, 9200, 51.2*sphere.Degree)
	_, f := b.measure(t, 0)
	b.next(t, f, 20*time.Second)
	b.dec += 10 * am
	s := b.next(t, f, 20*time.Second)
	if s.Touched != TouchAltitude {
		t.Errorf("%v touched, altitude is likelier", s.Touched)
	}
	for range 2 {
		b.ra += 30 * sphere.Degree
		s = b.next(t, f, 40*time.Second)
	}
	if s.Advice != DecTurned {
		t.Errorf("after RA was turned: %v", s.Advice)
	}
	if z := zScore(&s, b.axis()); z > 18 {
		t.Errorf("axis %.2f arcsec off, %.1f standard errors", s.Axis.Sep(b.axis()).Arcseconds(), math.Sqrt(z))
	}
}

// Over nights of all kinds the errors stated are those made.
func TestFollowCoverage(t *testing.T) {
	statistical(t)
	nights := often(60, 2)
	n, within, beyond, sum, wrong := 0, 0, 0, 0.0, 0
	for k := range nights {
		rng := rand.New(rand.NewPCG(seed, 9500+uint64(k)))
		b := anyBench(t, rng)
		_, f, err := b.tryMeasure(t, sphere.Angle(-60+80*rng.Float64())*sphere.Degree)
		if err != nil {
			continue
		}
		for range 5 {
			want := b.anyTurn()
			s, err := f.Next(b.shoot(t, time.Duration(5+40*rng.Float64())*time.Second))
			if err != nil {
				t.Fatalf("night %d: %v", k, err)
			}
			z := zScore(&s, b.axis())
			n++
			sum += z
			if z < 2.30 { // 68.3 % of chi-square with two degrees of freedom
				within++
			}
			if z > 13.8 { // 0.1 %
				beyond++
				t.Logf("night %d: axis %.2f arcsec off, %.1f standard errors; %v touched, truth %v", k, s.Axis.Sep(b.axis()).Arcseconds(), math.Sqrt(z), s.Touched, want)
			}
			if s.Touched != want && s.Chance > 0.9 {
				wrong++
			}
		}
	}
	t.Logf("seed %d: %d frames, %.1f %% within one standard error, %d beyond 99.9 %%, mean square %.2f, %d wrong with a chance above 0.9", seed, n, 100*float64(within)/float64(n), beyond, sum/float64(n), wrong)
	// The mounts stand still but for what is turned; what is stated of a measurement
	// allows for those that do not.
	if share := float64(within) / float64(n); share < 0.6 || share > 0.92 {
		t.Errorf("%.1f %% within one standard error, want 68 or more", 100*share)
	}
	if beyond*100 > n {
		t.Errorf("%d of %d beyond 99.9 %%", beyond, n)
	}
	if wrong*33 > n {
		t.Errorf("%d of %d wrongly named with a chance above 0.9", wrong, n)
	}
}

func TestFollowRefuses(t *testing.T) {
	b := usual(t, 9250, 51.2*sphere.Degree)
	_, f := b.measure(t, -16*sphere.Degree)
	good := b.shoot(t, 20*time.Second)
	before, err := f.MarshalJSON()
	if err != nil {
		t.Fatal(err)
	}
	for name, spoil := range map[string]func(s *Sighting){
		"other size":    func(s *Sighting) { s.W++ },
		"mirrored":      func(s *Sighting) { s.Lens.Mirrored = true },
		"other scale":   func(s *Sighting) { s.Lens.F *= 1.06 },
		"no place":      func(s *Sighting) { s.Place = nil },
		"earlier":       func(s *Sighting) { s.Place = b.placeAt(t, -time.Hour) },
		"other site":    func(s *Sighting) { c := *b; c.n = &night{}; *c.n = *b.n; c.n.site.Lat += 0.01; s.Place = c.place(t) },
		"no stars":      func(s *Sighting) { s.Matches = nil },
		"not a number":  func(s *Sighting) { s.Matches[3].X = math.NaN() },
		"no error":      func(s *Sighting) { s.Matches[3].Err = 0 },
		"wrong pattern": func(s *Sighting) { scramble(s, b.rng) },
	} {
		s := good
		s.Matches = append([]Match(nil), good.Matches...)
		spoil(&s)
		if _, err := f.Next(s); err == nil {
			t.Errorf("%s: taken", name)
		} else if name == "other scale" && !strings.Contains(err.Error(), "6 % in scale") { // its stars would not fit either, but why?
			t.Errorf("%s: %v", name, err)
		} else {
			t.Logf("%s: %v", name, err)
		}
		after, _ := f.MarshalJSON()
		if string(before) != string(after) {
			t.Errorf("%s: the follower has changed", name)
		}
	}
	if _, err := f.Next(good); err != nil {
		t.Fatal(err)
	}
	if _, err := f.Next(good); err == nil {
		t.Error("the same frame twice is taken")
	}
	if _, err := Follow(nil); err == nil {
		t.Error("nothing can be followed")
	}
	var none Follower
	if _, err := none.Next(good); err == nil {
		t.Error("a follower of nothing takes a frame")
	}
	if s := none.State(); s.Touched != 0 {
		t.Error("a follower of nothing has a state")
	}
	var weak *WeakError
	s := good
	s.Matches = nil
	s.Place = b.placeAt(t, b.now+time.Minute)
	if _, err := f.Next(s); !errors.As(err, &weak) {
		t.Errorf("a frame without stars: %v", err)
	}
}

func scramble(s *Sighting, rng *rand.Rand) {
	for i := range s.Matches {
		s.Matches[i].X, s.Matches[i].Y = float64(s.W)*rng.Float64(), float64(s.H)*rng.Float64()
	}
}

// One frame of a narrow field while an adjuster is turned.
func BenchmarkFollow(b *testing.B) {
	m := usual(b, 9000, 51.2*sphere.Degree)
	_, f := m.measure(b, -16*sphere.Degree)
	for b.Loop() {
		b.StopTimer()
		m.alt += 3 * am * sphere.Angle(m.rng.NormFloat64())
		s := m.shoot(b, 10*time.Second)
		b.StartTimer()
		if _, err := f.Next(s); err != nil {
			b.Fatal(err)
		}
	}
}
