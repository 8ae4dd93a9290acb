package session

import (
	"encoding/json"
	"math"
	"testing"

	"pintle/axis"
	"pintle/cmd/night/posed"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/journal"
	"pintle/index/sphere"
)

const arcmin = sphere.Arcminute

// engineFor is an engine for the place of the posed camera.
func engineFor(eye posedCamera) *engine {
	spec := eye.Night.Spec()
	return newEngine(&Setting{Site: spec.Site, Air: spec.Air, Settled: true, Pole: axis.Refracted, Tolerance: arcmin})
}

// see hands a posed frame to the engine.
func see(t *testing.T, eye posedCamera, e *engine, name string, p posed.Pose) (step, error) {
	t.Helper()
	s, err := eye.Sighting(p)
	if err != nil {
		t.Fatal(err)
	}
	s.Name = name
	return e.sight(s)
}

func TestEngineAsksForMoreTurn(t *testing.T) {
	eye := newPosed(t)
	e := engineFor(eye)
	for i, p := range []posed.Pose{{}, {At: 20, Turn: 0.8}} {
		if _, err := see(t, eye, e, "frame", p); err != nil {
			t.Fatalf("frame %d: %v", i+1, err)
		}
	}
	s := &Session{engine: e, setting: *e.setting}
	if n := s.State().Next.Kind; e.phase != Measuring || n != TurnRAMore {
		t.Errorf("phase %s, next %v", e.phase, n)
	}
}

func TestEngineFramesAtOnePlaceReplaceEachOther(t *testing.T) {
	eye := newPosed(t)
	e := engineFor(eye)
	for i := range 40 {
		if _, err := see(t, eye, e, "still", posed.Pose{At: float64(i)}); err != nil {
			t.Fatal(err)
		}
	}
	if len(e.sightings) != 1 || e.answer != nil {
		t.Errorf("%d sightings, answer %v; want one and none", len(e.sightings), e.answer)
	}
}

func TestEngineTurnsRAAgain(t *testing.T) {
	eye := newPosed(t)
	e := engineFor(eye)
	for i, turn := range []float64{0, 30, 60, 20, 45} {
		st, err := see(t, eye, e, "frame", posed.Pose{At: 30 * float64(i), Turn: turn})
		if err != nil {
			t.Fatal(err)
		}
		if e.phase != Measuring {
			t.Fatalf("frame %d: phase %s", i+1, e.phase)
		}
		if i > 0 && st.kind != journal.Measurement {
			t.Errorf("frame %d: a %s", i+1, st.kind)
		}
	}
	if e.sighted() != 5 {
		t.Errorf("the measurement rests on %d frames, want 5", e.sighted())
	}
}

func TestEngineStateThereAndBack(t *testing.T) {
	if testing.Short() {
		t.Skip("slow, and nothing runs beside it")
	}
	eye := newPosed(t)
	frames := posed.Course(eye.Camera)
	step := 3
	if *long {
		step = 1
	}
	for cut := 1; cut < len(frames); cut += step {
		whole, first := engineFor(eye), engineFor(eye)
		for _, p := range frames[:cut] {
			for _, e := range []*engine{whole, first} {
				if _, err := see(t, eye, e, "frame", p); err != nil {
					t.Fatal(err)
				}
			}
		}
		b, err := json.Marshal(first.state())
		if err != nil {
			t.Fatal(err)
		}
		var k keptState
		if err := json.Unmarshal(b, &k); err != nil {
			t.Fatal(err)
		}
		again := engineFor(eye)
		if err := again.restore(k); err != nil {
			t.Fatal(err)
		}
		for _, p := range frames[cut:] {
			for _, e := range []*engine{whole, again} {
				if _, err := see(t, eye, e, "frame", p); err != nil {
					t.Fatal(err)
				}
			}
		}
		d := whole.answer.Axis.Sep(again.answer.Axis).Arcseconds()
		if d > 1e-4 || whole.phase != again.phase || len(whole.trail) != len(again.trail) || whole.advice != again.advice || (whole.turned-again.turned).Abs() > 1e-9 {
			t.Errorf("cut after frame %d: axis differs by %g arcsec, phase %s and %s, way of %d and %d, turned %v and %v", cut, d, whole.phase, again.phase,
				len(whole.trail), len(again.trail), whole.turned, again.turned)
		}
	}
}

func TestTrailIsBounded(t *testing.T) {
	e := newEngine(&Setting{Tolerance: arcmin})
	for i := range 5 * mostTrail {
		e.set(Answer{Offset: axis.Offset{Parts: axis.Parts{Alt: sphere.Angle(i) * arcmin}}})
	}
	if len(e.trail) != mostTrail || e.trail[0].Alt != 0 || math.Abs((e.trail[mostTrail-1].Alt-sphere.Angle(5*mostTrail-1)*arcmin).Arcminutes()) > 1e-9 {
		t.Errorf("%d points from %v to %v", len(e.trail), e.trail[0], e.trail[len(e.trail)-1])
	}
}

// What the hands are told must shrink the error: in both hemispheres, for every
// sign of the error and every sense of the adjusters, the bolts of a simulated
// mount turned as told leave nothing.
func TestMovesShrinkTheError(t *testing.T) {
	const deg = sphere.Degree
	for _, lat := range []sphere.Angle{-31 * deg, 48 * deg, -3 * deg, 2 * deg} {
		poleAz := sphere.Angle(0)
		if lat < 0 {
			poleAz = 180 * deg
		}
		pole := sphere.LocalAt(poleAz, lat.Abs())
		for _, altSense := range []string{gear.Raises, gear.Lowers} {
			for _, azSense := range []string{gear.Clockwise, gear.Counter} {
				for _, sign := range [][2]sphere.Angle{{1, 1}, {1, -1}, {-1, 1}, {-1, -1}} {
					alt, az := sign[0]*20*arcmin, sign[1]*35*arcmin
					o := offsetOf(pole, alt, az)
					s := Setting{Tolerance: arcmin, Mount: gear.Mount{AltPerTurn: 50, AltSense: altSense, AzPerTurn: 12, AzSense: azSense}}
					moves := o.Moves()
					a, z := s.move(moves[0], o, false), s.move(moves[1], o, false)
					// The bolts of that mount: a clockwise turn raises or lowers, and
					// turns the head clockwise or not.
					bolt := func(m Move, perTurn float64, forward bool) sphere.Angle {
						by := sphere.Angle(m.Bolt.Turns*perTurn) * arcmin
						if (m.Bolt.Sense == gear.Clockwise) != forward {
							by = -by
						}
						return by
					}
					left := offsetOf(pole, alt+bolt(a, 50, altSense == gear.Raises), az+bolt(z, 12, azSense == gear.Clockwise))
					if left.Total > arcmin/1000 {
						t.Errorf("lat %v, bolts %s and %s, error %v: %v left of %v", lat, altSense, azSense, sign, left.Total, o.Total)
					}
					if a.Done || z.Done {
						t.Errorf("a share of 20 and one of 35 arcmin count as done at a tolerance of 1")
					}
				}
			}
		}
	}
}

// offsetOf is the offset of an axis that stands alt too high and az too far
// clockwise.
func offsetOf(pole sphere.Local, alt, az sphere.Angle) axis.Offset {
	paz, palt := pole.AzAlt()
	at := sphere.LocalAt(paz+az, palt+alt)
	return axis.Offset{Pole: pole, Parts: axis.Parts{Alt: alt, AzKnob: az, AzSky: az * sphere.Angle(palt.Cos()), Total: at.Sep(pole)}}
}

// A share of the error is done when two such shares together are within the
// tolerance: not at seven times as much.
func TestDoneIsWithinTheTolerance(t *testing.T) {
	pole := sphere.LocalAt(180*sphere.Degree, 35*sphere.Degree)
	s := Setting{Tolerance: arcmin}
	for _, c := range []struct {
		amount sphere.Angle
		done   bool
	}{{0.69 * arcmin, true}, {0.71 * arcmin, false}, {0.9 * arcmin, false}, {4.9 * arcmin, false}} {
		o := offsetOf(pole, c.amount, c.amount/sphere.Angle((35*sphere.Degree).Cos()))
		for i, m := range o.Moves() {
			if got := s.move(m, o, false); got.Done != c.done {
				t.Errorf("adjuster %d with %v left: done %v, want %v", i, c.amount, got.Done, c.done)
			}
		}
		if c.done && o.Total > s.Tolerance {
			t.Errorf("both done, yet %v left", o.Total)
		}
	}
}

func TestEllipse(t *testing.T) {
	a := float64(arcmin)
	// Azimuth 3, altitude 1, uncorrelated: the larger axis lies along azimuth.
	el := ellipse([2][2]float64{{a * a, 0}, {0, 9 * a * a}}, axis.Offset{})
	if math.Abs(el.Major.Arcminutes()-3) > 1e-9 || math.Abs(el.Minor.Arcminutes()-1) > 1e-9 || el.Angle.Abs() > 1e-9 {
		t.Errorf("%+v", el)
	}
	// Fully correlated, equal: a line at 45 degrees.
	el = ellipse([2][2]float64{{a * a, a * a}, {a * a, a * a}}, axis.Offset{})
	if math.Abs(el.Major.Arcminutes()-math.Sqrt2) > 1e-6 || el.Minor.Arcminutes() > 1e-6 || math.Abs(el.Angle.Degrees()-45) > 1e-6 {
		t.Errorf("%+v", el)
	}
}

func TestToleranceSteps(t *testing.T) {
	for _, c := range [][3]float64{{1, 1, 1.5}, {1, -1, 0.75}, {1.2, 1, 1.5}, {1.2, -1, 1}, {0.1, -1, 0.1}, {600, 1, 600}} {
		if got := nextTolerance(sphere.Angle(c[0])*arcmin, c[1]); math.Abs(got.Arcminutes()-c[2]) > 1e-9 {
			t.Errorf("from %g by %g: %v, want %g", c[0], c[1], got, c[2])
		}
	}
}

// A rough measurement asks for more turns of RA while nobody turns the bolts, and has to
// be made anew once they were turned: the frames before belong to another axis then. All
// other advice means that something moved, at any time.
func TestMustAgain(t *testing.T) {
	for a := axis.NoNeed; a <= axis.Rough; a++ {
		for _, adjusted := range []bool{false, true} {
			e := &engine{advice: a, adjusted: adjusted}
			want := a != axis.NoNeed && (a != axis.Rough || adjusted)
			if e.mustAgain() != want {
				t.Errorf("%v, bolts turned %v: %v", a, adjusted, !want)
			}
		}
	}
	// What the person is told of it: more turns, or a new measurement.
	tolerance := sphere.Arcsecond
	for adjusted, want := range map[bool]NextKind{false: TurnRAMore, true: MeasureFresh} {
		eye := newPosed(t)
		s := newSessionFor(t, eye, nil)
		one(t, s, files(t, posed.Pose{}, posed.Pose{At: 20, Turn: 20}, posed.Pose{At: 40, Turn: 45}))
		s.engine.setting.Tolerance = tolerance
		s.engine.advice, s.engine.adjusted = axis.Rough, adjusted
		st := s.State()
		if st.Sure || st.Next.Kind != want || len(of(MeasureAnew, st.Doubts)) > 0 != adjusted {
			t.Errorf("bolts turned %v: sure %v, next %+v, doubts %+v", adjusted, st.Sure, st.Next, st.Doubts)
		}
	}
}
