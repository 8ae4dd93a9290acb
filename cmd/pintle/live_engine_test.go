package main

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"pintle/axis"
	"pintle/cmd/pintle/journal"
	"pintle/index/sphere"
)

// see hands a posed frame to the engine.
func see(t *testing.T, eye *posedEye, e *engine, name string, p posed) (step, error) {
	t.Helper()
	s, err := eye.sighting(p)
	if err != nil {
		t.Fatal(err)
	}
	s.Name = name
	return e.sight(s)
}

// want is what is expected of the engine after a frame.
type want struct {
	phase  string
	kind   string
	answer bool
	next   string // part of the sentence
}

func TestEngineThroughAnAdjustment(t *testing.T) {
	eye := newPosedEye(t)
	e := newEngine(axis.Refracted, 1)
	sc := &scene{}
	frames := course(eye)
	wants := []want{
		{phaseMeasure, journal.Sighting, false, "Turn RA"},
		{phaseMeasure, journal.Measurement, true, "third frame"},
		{phaseMeasure, journal.Measurement, true, "adjuster: "},
		{phaseAdjust, journal.Adjustment, true, "adjuster: "},
	}
	for len(wants) < len(frames) {
		wants = append(wants, want{phaseAdjust, journal.Adjustment, true, ""})
	}
	wants[len(wants)-1].next = "Done"
	for i, p := range frames {
		st, err := see(t, eye, e, "frame", p)
		if err != nil {
			t.Fatalf("frame %d: %v", i+1, err)
		}
		sc.took(&glimpse{path: "frame", sighting: &axis.Sighting{}}, 0)
		sc.of(e, "")
		w := wants[i]
		s := &sc.state
		if e.phase != w.phase || st.kind != w.kind || (e.answer != nil) != w.answer || !strings.Contains(s.Next, w.next) {
			t.Errorf("frame %d: phase %s, record %s, answer %v, next %q; want %+v", i+1, e.phase, st.kind, e.answer != nil, s.Next, w)
		}
		if e.answer == nil {
			continue
		}
		truth, err := eye.truth(p)
		if err != nil {
			t.Fatal(err)
		}
		dAlt := e.answer.offset.Alt - truth.Offset.Alt
		dAz := e.answer.offset.AzSky - truth.Offset.AzSky
		miss := sphere.Angle(math.Hypot(float64(dAlt), float64(dAz)))
		// The bound for each adjusting frame.
		if miss > 5*sphere.Arcsecond && i >= 2 {
			t.Errorf("frame %d: axis %.2f arcsec from the truth, at most 5 allowed", i+1, miss.Arcseconds())
		}
	}
	if !e.within() {
		t.Errorf("off by %v at the end", e.answer.offset.Total)
	}
}

func TestEngineAsksForMoreTurn(t *testing.T) {
	eye := newPosedEye(t)
	e := newEngine(axis.Refracted, 1)
	sc := &scene{}
	for i, p := range []posed{{}, {At: 20, Turn: 0.8}} {
		if _, err := see(t, eye, e, "frame", p); err != nil {
			t.Fatalf("frame %d: %v", i+1, err)
		}
		sc.took(&glimpse{sighting: &axis.Sighting{}}, 0)
	}
	sc.of(e, "")
	if e.phase != phaseMeasure || !strings.Contains(sc.state.Next, "Turn RA") {
		t.Errorf("phase %s, next %q", e.phase, sc.state.Next)
	}
}

func TestEngineFramesAtOnePlaceReplaceEachOther(t *testing.T) {
	eye := newPosedEye(t)
	e := newEngine(axis.Refracted, 1)
	for i := range 40 {
		if _, err := see(t, eye, e, "still", posed{At: float64(i)}); err != nil {
			t.Fatal(err)
		}
	}
	if len(e.sightings) != 1 || e.answer != nil {
		t.Errorf("%d sightings, answer %v; want one and none", len(e.sightings), e.answer)
	}
}

func TestEngineTurnsRAAgain(t *testing.T) {
	eye := newPosedEye(t)
	e := newEngine(axis.Refracted, 1)
	for i, turn := range []float64{0, 30, 60, 20, 45} {
		if _, err := see(t, eye, e, "frame", posed{At: 30 * float64(i), Turn: turn}); err != nil {
			t.Fatal(err)
		}
		if e.phase != phaseMeasure {
			t.Fatalf("frame %d: phase %s", i+1, e.phase)
		}
	}
	if e.sighted() != 5 {
		t.Errorf("the measurement rests on %d frames, want 5", e.sighted())
	}
}

func TestEngineDeclinationTouched(t *testing.T) {
	eye := newPosedEye(t)
	e := newEngine(axis.Refracted, 1)
	sc := &scene{}
	c := course(eye)[:6]
	for _, p := range c {
		if _, err := see(t, eye, e, "frame", p); err != nil {
			t.Fatal(err)
		}
	}
	p := c[5]
	p.At, p.Dec = p.At+20, 1.5
	if _, err := see(t, eye, e, "frame", p); err != nil {
		t.Fatal(err)
	}
	sc.took(&glimpse{sighting: &axis.Sighting{}}, 0)
	sc.of(e, "")
	if !sc.state.Doubt || !strings.Contains(sc.state.Next, "measure anew") {
		t.Errorf("doubt %v, next %q, note %q", sc.state.Doubt, sc.state.Next, sc.state.Note)
	}
	e.fresh()
	if e.phase != phaseMeasure || e.answer != nil || e.doubtful() || len(e.trail) > 0 {
		t.Errorf("a new measurement begins with %+v", e)
	}
}

func TestEngineUnsolvedFrameMakesFiguresOld(t *testing.T) {
	eye := newPosedEye(t)
	e := newEngine(axis.Refracted, 1)
	sc := &scene{}
	for _, p := range course(eye)[:4] {
		if _, err := see(t, eye, e, "good", p); err != nil {
			t.Fatal(err)
		}
	}
	sc.took(&glimpse{path: "dull", why: "cloud"}, 0)
	sc.of(e, "")
	if s := &sc.state; !s.Old || s.Since != "good" || !strings.Contains(s.Next, "Cloud") {
		t.Errorf("old %v since %q next %q", s.Old, s.Since, s.Next)
	}
	if j := lineOf(sc.state); j.Offset != nil || j.Within || len(j.Moves) > 0 || j.Solved || j.Reason != "cloud" {
		t.Errorf("the line of an unsolved frame has figures: %+v", j)
	}
}

func TestEngineStateThereAndBack(t *testing.T) {
	eye := newPosedEye(t)
	frames := course(eye)
	for cut := 1; cut < len(frames); cut++ {
		whole, first := newEngine(axis.Refracted, 1), newEngine(axis.Refracted, 1)
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
		again := newEngine(axis.Refracted, 1)
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
		d := whole.answer.axis.Sep(again.answer.axis).Arcseconds()
		if d > 1e-4 || whole.phase != again.phase || len(whole.trail) != len(again.trail) || whole.advice != again.advice {
			t.Errorf("cut after frame %d: axis differs by %g arcsec, phase %s and %s, way of %d and %d", cut, d, whole.phase, again.phase, len(whole.trail), len(again.trail))
		}
	}
}

func TestTrailIsBounded(t *testing.T) {
	e := newEngine(axis.Refracted, 1)
	for i := range 5 * mostTrail {
		e.set(answer{offset: axis.Offset{Parts: axis.Parts{Alt: arcmin(float64(i))}}})
	}
	if len(e.trail) != mostTrail || e.trail[0].Alt != 0 || math.Abs(e.trail[mostTrail-1].Alt-float64(5*mostTrail-1)) > 1e-9 {
		t.Errorf("%d points from %v to %v", len(e.trail), e.trail[0], e.trail[len(e.trail)-1])
	}
}

func TestMovesHoldInBothHemispheres(t *testing.T) {
	for _, c := range []struct {
		alt, az   float64 // offset, arcmin
		alth, azh string
	}{{5, 3, "lower", "counter-clockwise"}, {-5, -3, "raise", "clockwise"}} {
		o := axis.Offset{Pole: sphere.LocalAt(0, 50*sphere.Degree), Parts: axis.Parts{Alt: arcmin(c.alt), AzKnob: arcmin(c.az), AzSky: arcmin(c.az * 0.64), Total: arcmin(6)}}
		sc := &scene{}
		e := newEngine(axis.Refracted, 1)
		e.set(answer{offset: o, moves: o.Moves()})
		sc.of(e, "")
		m := sc.state.Moves
		if m[0].Direction != c.alth || m[1].Direction != c.azh || m[0].Turns != 0 {
			t.Errorf("%+v: %+v", c, m)
		}
		sc.mount.AltPerTurn, sc.mount.AzPerTurn = 50, 12
		sc.of(e, "")
		if m := sc.state.Moves; math.Abs(m[0].Turns-0.1) > 1e-9 || math.Abs(m[1].Turns-0.25) > 1e-9 {
			t.Errorf("turns: %+v", m)
		}
	}
}

func TestEllipse(t *testing.T) {
	a := float64(sphere.Arcminute)
	// Azimuth 3, altitude 1, uncorrelated: the larger axis lies along azimuth.
	el := ellipse([2][2]float64{{a * a, 0}, {0, 9 * a * a}}, axis.Offset{})
	if math.Abs(el.Major-3) > 1e-9 || math.Abs(el.Minor-1) > 1e-9 || math.Abs(el.Angle) > 1e-9 {
		t.Errorf("%+v", el)
	}
	// Fully correlated, equal: a line at 45 degrees.
	el = ellipse([2][2]float64{{a * a, a * a}, {a * a, a * a}}, axis.Offset{})
	if math.Abs(el.Major-math.Sqrt2) > 1e-6 || el.Minor > 1e-6 || math.Abs(el.Angle-45) > 1e-6 {
		t.Errorf("%+v", el)
	}
}

func TestToleranceSteps(t *testing.T) {
	for _, c := range [][3]float64{{1, 1, 1.5}, {1, -1, 0.75}, {1.2, 1, 1.5}, {1.2, -1, 1}, {0.1, -1, 0.1}, {600, 1, 600}} {
		if got := nextTolerance(c[0], c[1]); got != c[2] {
			t.Errorf("from %g by %g: %g, want %g", c[0], c[1], got, c[2])
		}
	}
}
