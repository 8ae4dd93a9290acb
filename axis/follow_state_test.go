package axis

import (
	"encoding/json"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis/place"
	"pintle/index/sphere"
)

// A follower restored from JSON at any time goes on to the last bit as the one
// that was never stored.
func TestFollowerRestored(t *testing.T) {
	statistical(t)
	b := usual(t, 9300, -34*sphere.Degree)
	b.lean = [2]sphere.Angle{sphere.Degree, -sphere.Degree}
	_, f := b.measure(t, -16*sphere.Degree)
	f.Tolerance, f.Pole = 30*sphere.Arcsecond, True
	stored := func(f *Follower) string {
		t.Helper()
		data, err := json.Marshal(f)
		if err != nil {
			t.Fatal(err)
		}
		return string(data)
	}
	for i := range 8 {
		var g Follower
		if err := json.Unmarshal([]byte(stored(f)), &g); err != nil {
			t.Fatal(err)
		}
		if stored(&g) != stored(f) || !reflect.DeepEqual(g.State(), f.State()) {
			t.Fatalf("frame %d: the restored follower is another one", i)
		}
		switch i {
		case 1:
			b.alt += 9 * am
		case 2:
			b.az, b.alt = b.az-200*am, b.alt+20*am
		case 3:
			b.ra += 50 * sphere.Degree
		case 4:
			b.dec += 8 * am
		case 5:
			b.roll += 30 * am
		case 6:
			b.push = sphere.TurnVec(r3.Vec{X: 2e-3, Y: 1e-3, Z: 3e-3})
		}
		s := b.shoot(t, 20*time.Second)
		x, err := f.Next(s)
		if err != nil {
			t.Fatal(err)
		}
		y, err := g.Next(s)
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(x, y) || stored(&g) != stored(f) {
			t.Fatalf("frame %d: the restored follower says otherwise", i)
		}
	}
	if n := len(stored(f)); n > 30000 {
		t.Errorf("%d bytes", n)
	}
}

func TestFollowerNotRestored(t *testing.T) {
	b := usual(t, 9310, 51.2*sphere.Degree)
	_, f := b.measure(t, -16*sphere.Degree)
	data, err := json.Marshal(f)
	if err != nil {
		t.Fatal(err)
	}
	good := string(data)
	for name, bad := range map[string]string{
		"empty":         "",
		"cut":           good[:len(good)/2],
		"other":         `{"a":1}`,
		"other version": strings.Replace(good, `"Format":1`, `"Format":2`, 1),
		"no branches":   good[:strings.Index(good, `"Branches"`)] + `"Branches":[]}`,
		"short root":    strings.Replace(good, `"Root":[`, `"Root":[0,`, 1),
		"no weight":     strings.Replace(good, `"Weight":0.7`, `"Weight":-0.7`, 1),
		"no camera":     strings.Replace(good, `"W":1280`, `"W":0`, 1),
		"other drive":   strings.Replace(good, `"Drive":1`, `"Drive":7`, 2),
		"other pole":    strings.Replace(good, `"Pole":0`, `"Pole":7`, 1),
		"no sense":      strings.Replace(good, `"Sign":-1`, `"Sign":0`, 1),
		"huge":          strings.Replace(good, `"Mean":[`, `"Mean":[1e400,`, 1),
	} {
		if bad == good {
			t.Fatalf("%s: the test changes nothing", name)
		}
		var g Follower
		if err := g.UnmarshalJSON([]byte(bad)); err == nil {
			t.Errorf("%s: taken", name)
		} else if g.branches != nil {
			t.Errorf("%s: refused (%v), but the follower has changed", name, err)
		}
	}
	var none Follower
	if _, err := json.Marshal(&none); err == nil {
		t.Error("a follower of nothing is stored")
	}
}

// A state with wrong digits may be refused or give nonsense, but nothing breaks.
func TestFollowerCorrupted(t *testing.T) {
	statistical(t)
	b := usual(t, 9315, 51.2*sphere.Degree)
	_, f := b.measure(t, -16*sphere.Degree)
	b.next(t, f, 20*time.Second)
	data, err := json.Marshal(f)
	if err != nil {
		t.Fatal(err)
	}
	frame := b.shoot(t, 20*time.Second)
	taken := 0
	for range 300 {
		bad := []byte(strings.Clone(string(data)))
		for range 1 + b.rng.IntN(20) {
			i := b.rng.IntN(len(bad))
			if bad[i] >= '0' && bad[i] <= '9' {
				bad[i] = "0123456789e-"[b.rng.IntN(12)]
			}
		}
		var g Follower
		if g.UnmarshalJSON(bad) != nil {
			continue
		}
		taken++
		_ = g.State().Advice.String()
		if s, err := g.Next(frame); err == nil {
			_ = s.Touched.String()
		}
		_, _ = g.MarshalJSON()
	}
	if taken < 50 {
		t.Errorf("only %d states were taken", taken)
	}
}

// At the start a follower says what the measurement said.
func TestFollowerStart(t *testing.T) {
	for k := range 4 {
		b := usual(t, 9320+uint64(k), sphere.Angle(-60+40*k)*sphere.Degree)
		if k == 1 {
			b.n.air.Err = 0.03
		}
		r, f := b.measure(t, -16*sphere.Degree)
		s, o := f.State(), r.Offset(Refracted)
		if d := s.Axis.Sep(r.Axis).Arcseconds(); d > 1e-3 {
			t.Errorf("axis %.4f arcsec from that of the fit", d)
		}
		if d := (s.Offset.Total - o.Total).Arcseconds(); math.Abs(d) > 1e-3 {
			t.Errorf("offset %.4f arcsec from that of the fit", d)
		}
		// Seeing comes on top, as a fit of three frames cannot know.
		if s.Offset.Err.Alt < o.Err.Alt*0.99 || s.Offset.Err.AzSky < o.Err.AzSky*0.99 {
			t.Errorf("errors %v %v, the fit had %v %v", s.Offset.Err.Alt, s.Offset.Err.AzSky, o.Err.Alt, o.Err.AzSky)
		}
		if s.Offset.Err.Total > 8*sphere.Arcsecond {
			t.Errorf("error %.2f arcsec", s.Offset.Err.Total.Arcseconds())
		}
	}
}

// The moves bring the axis to the pole, whichever adjuster is turned first; on a
// leaning base they differ from the offsets.
func TestFollowMoves(t *testing.T) {
	statistical(t)
	for k, lean := range []sphere.Angle{0, 3 * sphere.Degree} {
		for _, lat := range []sphere.Angle{51.2 * sphere.Degree, -34 * sphere.Degree} {
			b := usual(t, 9330+uint64(k), lat)
			b.lean = [2]sphere.Angle{lean, 0}
			b.point(t, -60*am, 120*am)
			_, f := b.measure(t, -16*sphere.Degree)
			b.alt += 20 * am // the turns that tell the lean
			b.next(t, f, 20*time.Second)
			b.az += 20 * am
			b.next(t, f, 20*time.Second)
			s := b.next(t, f, 20*time.Second)
			o := s.Offset
			if d := math.Abs((s.Moves[Azimuth].Amount - o.AzKnob.Abs()).Arcseconds()); (d > 20) != (lean != 0) {
				t.Errorf("lean %v: azimuth is to be turned by %.2f arcmin, offset is %.2f", lean, s.Moves[Azimuth].Amount.Arcminutes(), o.AzKnob.Arcminutes())
			}
			for _, m := range s.Moves {
				switch m.Direction {
				case Raise:
					b.alt += m.Amount
				case Lower:
					b.alt -= m.Amount
				case Clockwise:
					b.az += m.Amount
				case CounterClockwise:
					b.az -= m.Amount
				}
				if m.Err > 20*sphere.Arcsecond || m.Err <= 0 {
					t.Errorf("lean %v: error of %v is %.2f arcsec", lean, m.Adjuster, m.Err.Arcseconds())
				}
			}
			if d := b.axis().Sep(b.pole(t)).Arcseconds(); d > 20 {
				t.Errorf("lean %v: after both moves the axis is %.2f arcsec from the pole", lean, d)
			}
		}
	}
}

// Ahead is the error to expect of the next frame.
func TestFollowAhead(t *testing.T) {
	statistical(t)
	sum, n := 0.0, 0
	for k := range 12 {
		b := usual(t, 9350+uint64(k), 51.2*sphere.Degree)
		_, f := b.measure(t, -16*sphere.Degree)
		s := b.next(t, f, 20*time.Second)
		expected := s.Ahead.Both
		if s.Ahead.Alt > expected*1.01 || s.Ahead.Az > expected*1.01 {
			t.Errorf("one turn leaves more open than two: %+v", s.Ahead)
		}
		b.alt += 9 * am
		b.az -= 12 * am
		s = b.next(t, f, 20*time.Second)
		sum += math.Pow(float64(s.Axis.Sep(b.axis())/expected), 2)
		n++
	}
	if rms := math.Sqrt(sum / float64(n)); rms < 0.4 || rms > 1.6 {
		t.Errorf("errors are %.2f times those expected", rms)
	}
}

// Where the camera cannot see a turn the errors say so, and hold.
func TestFollowBlindSpots(t *testing.T) {
	statistical(t)
	for k, c := range []struct {
		name string
		set  func(b *bench)
		turn [2]float64
	}{
		{"altitude turned, camera low in the west", func(b *bench) { b.dec = 90 * sphere.Degree }, [2]float64{12, 0}},
		{"azimuth turned, camera at the zenith", func(b *bench) { b.dec = 39 * sphere.Degree }, [2]float64{0, 12}},
		{"both turned, camera near the pole", func(b *bench) { b.dec = 2 * sphere.Degree }, [2]float64{7, 12}},
	} {
		side := sphere.Angle(0)
		if k == 0 {
			side = 75 * sphere.Degree
		}
		var z, expected, sigma float64
		for i := range 8 {
			b := usual(t, 9400+uint64(10*k+i), 51.2*sphere.Degree)
			c.set(b)
			_, f := b.measure(t, side)
			s := b.next(t, f, 20*time.Second)
			expected += s.Ahead.Both.Arcseconds() / 8
			b.alt += sphere.Angle(c.turn[0]) * am
			b.az += sphere.Angle(c.turn[1]) * am
			s = b.next(t, f, 20*time.Second)
			z += zScore(&s, b.axis()) / 8
			sigma += math.Sqrt(s.Cov[0][0]+s.Cov[1][1]) * 206265 / 8
		}
		t.Logf("%s: errors %.1f arcsec, expected %.1f, mean square %.2f of 2", c.name, sigma, expected, z)
		if z > 5 {
			t.Errorf("%s: errors stated are too small, mean square %.2f, want about 2", c.name, z)
		}
	}
}

// A new measurement is asked for when the error matters, and not before.
func TestFollowAdvice(t *testing.T) {
	b := usual(t, 9450, 51.2*sphere.Degree)
	b.n.err = 0.3 // a poor camera
	_, f := b.measure(t, -16*sphere.Degree)
	b.alt += 9 * am
	b.az -= 20 * am
	s := b.next(t, f, 20*time.Second)
	err := sphere.Angle(math.Sqrt(s.Cov[0][0] + s.Cov[1][1]))
	for _, c := range []struct {
		tolerance sphere.Angle
		near      bool
		want      bool
	}{{err * 4, true, false}, {err, true, true}, {err, false, false}} {
		f.Tolerance = c.tolerance
		f.poles[0].dir = s.Axis.Vec()
		if !c.near {
			f.poles[0].dir = r3.Unit(r3.Add(s.Axis.Vec(), r3.Vec{X: 0.02}))
		}
		if got := f.State().Advice; (got != NoNeed) != c.want {
			t.Errorf("error %.1f arcsec, tolerance %.1f, near %v: %v", err.Arcseconds(), c.tolerance.Arcseconds(), c.near, got)
		}
	}
	// Why: the axis was never known better, or was before the turns, or the
	// frames leave open what was done.
	s = f.State()
	s.Offset.Total, f.Tolerance = 0, err
	wider := s
	for i := range 2 {
		for j := range 2 {
			wider.Cov[i][j] = 6 * s.Cov[i][j]
		}
	}
	for _, c := range []struct {
		s     *State
		first sphere.Angle
		want  Advice
	}{{&s, err, Rough}, {&s, err / 1.25, Rough}, {&s, err / 1.4, Worn}, {&s, err / 5, Worn}, {&wider, err, Unclear}, {&wider, err / 5, Unclear}} {
		f.first = float64(c.first)
		if got := f.advise(c.s); got != c.want {
			t.Errorf("error %.1f arcsec, at first %.1f: %v, want %v", err.Arcseconds(), c.first.Arcseconds(), got, c.want)
		}
	}
	seen := map[string]bool{}
	for a := NoNeed; a <= Rough; a++ {
		if seen[a.String()] || a.String() == "" {
			t.Errorf("advice %d has no words of its own", a)
		}
		seen[a.String()] = true
	}
	if s := (TouchRA | TouchCamera).String(); s != "RA, camera" {
		t.Errorf("touched: %q", s)
	}
}

// With the weather unknown the remaining error, which is against a refracted pole
// that the air moves too, is still what its error says.
func TestFollowUnknownWeather(t *testing.T) {
	statistical(t)
	sum, n, worst := 0.0, 0, 0.0
	for k := range 12 {
		b := usual(t, 9500+uint64(k), sphere.Angle(35+2*k)*sphere.Degree)
		b.n.air.Temp, b.n.air.Pressure = -15, 1030 // refraction 10 % over the usual: three standard errors
		b.point(t, -17.5*am, 39*am)
		told := place.StandardAir(b.n.site.Elev)
		shoot := func(wait time.Duration) Sighting {
			s := b.shoot(t, wait)
			p, err := place.At(s.Time, b.n.site, told)
			if err != nil {
				t.Fatal(err)
			}
			s.Place = p
			return s
		}
		top := b.top()
		var ss []Sighting
		for _, d := range []float64{-60, -35, -10} {
			b.ra = top + sphere.Angle(d)*sphere.Degree
			ss = append(ss, shoot(40*time.Second))
		}
		r, err := Fit(ss)
		if err != nil {
			t.Fatal(err)
		}
		f, err := Follow(r)
		if err != nil {
			t.Fatal(err)
		}
		for i := range 4 {
			if i%2 == 0 {
				b.alt += 8 * am
			} else {
				b.az -= 15 * am
			}
			s, err := f.Next(shoot(20 * time.Second))
			if err != nil {
				t.Fatal(err)
			}
			az, alt := b.axis().AzAlt()
			paz, palt := b.pole(t).AzAlt()
			e := (s.Offset.Alt - (alt - palt)) / s.Offset.Err.Alt
			g := (s.Offset.AzKnob - (az - paz).Wrap()) / s.Offset.Err.AzKnob
			sum += float64(e*e + g*g)
			n += 2
			worst = math.Max(worst, math.Max(math.Abs(float64(e)), math.Abs(float64(g))))
		}
	}
	t.Logf("mean square %.2f, largest %.2f standard errors", sum/float64(n), worst)
	if sum/float64(n) > 4 || worst > 5 {
		t.Errorf("remaining errors of up to %.1f standard errors, mean square %.2f, in air three standard errors off", worst, sum/float64(n))
	}
}

// Over a long time everything stays finite, and small: 500 frames with -long, else 166.
func TestFollowLong(t *testing.T) {
	if testing.Short() {
		t.Skip("many frames")
	}
	b := usual(t, 9480, 51.2*sphere.Degree)
	b.n.stars, b.worm, b.wobble = 25, 10*sphere.Arcsecond, 0.3*sphere.Arcsecond
	_, f := b.measure(t, -30*sphere.Degree)
	for i := range often(500, 3) {
		if i%10 == 9 {
			b.alt += sphere.Angle(b.rng.NormFloat64()) * am
			b.az += sphere.Angle(b.rng.NormFloat64()) * am
		}
		s := b.next(t, f, 5*time.Second)
		if !finite(s.Cov[0][0], s.Cov[1][1], float64(s.Offset.Total)) || len(f.branches) > mostBranches {
			t.Fatalf("frame %d: %+v", i, s)
		}
	}
	s := f.State()
	if d := s.Axis.Sep(b.axis()).Arcseconds(); d > 30 || zScore(&s, b.axis()) > 20 {
		t.Errorf("axis %.1f arcsec off at the end, errors %.1f, %.1f", d, s.Offset.Err.Alt.Arcseconds(), s.Offset.Err.AzSky.Arcseconds())
	}
	t.Logf("axis %.1f arcsec off at the end, errors %.1f, %.1f; seeing %.2f", s.Axis.Sep(b.axis()).Arcseconds(), s.Offset.Err.Alt.Arcseconds(), s.Offset.Err.AzSky.Arcseconds(), math.Sqrt(f.calm.Variance)*206265)
}

// A long series tells by how much frames scatter, and a short one does not.
func TestFollowLearnsScatter(t *testing.T) {
	for _, wobble := range []sphere.Angle{0.3 * sphere.Arcsecond, sphere.Arcsecond, 3 * sphere.Arcsecond} {
		b := usual(t, 9490, 51.2*sphere.Degree)
		b.wobble = wobble
		_, f := b.measure(t, -30*sphere.Degree)
		b.next(t, f, 20*time.Second)
		if s, ok := f.Scatter(); ok {
			t.Errorf("one frame tells a scatter of %.2f arcsec", s.Arcseconds())
		}
		for i := range 30 {
			if i == 15 {
				b.alt += 3 * am
			}
			b.next(t, f, 20*time.Second)
		}
		s, ok := f.Scatter()
		t.Logf("seed 9490: %.2f arcsec, true %.2f, known %v", s.Arcseconds(), wobble.Arcseconds(), ok)
		if q := float64(s / wobble); !ok || q < 0.6 || q > 1.5 {
			t.Errorf("scatter %.2f arcsec after 31 frames (known: %v), true %.2f", s.Arcseconds(), ok, wobble.Arcseconds())
		}
	}
}
