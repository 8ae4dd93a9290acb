package main

import (
	"errors"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis"
	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/page"
	"pintle/index/sphere"
)

// The phases of a live run.
const (
	phaseMeasure = "measure" // the user turns RA
	phaseAdjust  = "adjust"  // the user turns the adjusters
)

// step is what the engine makes of one more frame.
type step struct {
	kind    string         // of the journal's record
	changed bool           // something was turned: what is known is to be kept
	alt, az sphere.Angle   // what the adjusters did since the frame before
	fit     *axis.FrameFit // of the frame, nil without an axis
}

// engine knows where the axis is, from one frame to the next. It has no clock,
// reads nothing and writes nothing.
type engine struct {
	pole      axis.PoleKind
	tolerance float64 // arcmin

	phase     string
	sightings []axis.Sighting // of the measurement, until an adjuster is turned
	follow    *axis.Follower
	answer    *answer
	weak      *axis.WeakError // why the sightings give no answer yet
	trail     []page.Point
	here      int // the adjuster turned last, -1 none
	measured  int // frames the measurement rests on
	adjusted  bool
	advice    axis.Advice
	note      string
}

// answer is where the axis is.
type answer struct {
	axis   sphere.Local
	offset axis.Offset
	cov    [2][2]float64 // altitude, azimuth on the sky
	moves  [2]axis.Move
	from   string // the frame
	at     time.Time
}

func newEngine(pole axis.PoleKind, tolerance float64) *engine {
	e := &engine{pole: pole, tolerance: tolerance}
	e.fresh()
	return e
}

// fresh starts a new measurement.
func (e *engine) fresh() {
	*e = engine{pole: e.pole, tolerance: e.tolerance, phase: phaseMeasure, here: -1}
}

// setTolerance changes the tolerance.
func (e *engine) setTolerance(arcmin float64) {
	e.tolerance = arcmin
	if e.follow != nil {
		e.follow.Tolerance = sphere.Angle(arcmin) * sphere.Arcminute
		e.advice = e.follow.State().Advice
	}
}

const (
	// mostSightings bounds the measurement; more do not make it better by much.
	mostSightings = 12
	// mostTrail bounds the picture of the way.
	mostTrail = 240
	// sameTurn is how far the camera must turn to make a sighting of its own:
	// frames taken in a row at one place of RA replace each other.
	sameTurn = 0.5 * sphere.Degree
)

// sight takes one more solved frame. An error is a fault of the frame, which then
// counts for nothing.
func (e *engine) sight(s axis.Sighting) (step, error) {
	e.note = ""
	if e.follow == nil {
		return e.measure(s)
	}
	st, err := e.follow.Next(s)
	if err != nil {
		return step{}, err
	}
	out := step{kind: journal.Adjustment, changed: st.Touched != 0, alt: st.Turns.Alt, az: st.Turns.Az, fit: &st.Frame}
	adjuster := st.Touched.Has(axis.TouchAltitude) || st.Touched.Has(axis.TouchAzimuth)
	switch {
	case st.Touched == axis.TouchRA && !e.adjusted:
		// One more sighting of the same axis: all of them together say more than
		// one after the other.
		e.add(s)
		if again, err := e.fit(); err == nil {
			again.fit = out.fit
			return again, nil
		}
		e.phase = phaseMeasure
	case adjuster:
		e.phase, e.adjusted, e.sightings = phaseAdjust, true, nil
		e.here = int(axis.Altitude)
		if onSky(st.Turns.Az, st.Offset) > st.Turns.Alt.Abs() {
			e.here = int(axis.Azimuth)
		}
	case st.Touched == 0 || e.adjusted:
		e.phase = phaseAdjust
	}
	e.note = touchWords(st)
	e.stand(st)
	e.answer.from, e.answer.at = s.Name, s.Time
	return out, nil
}

// stand takes over what the follower says.
func (e *engine) stand(st axis.State) {
	e.advice = st.Advice
	e.set(answer{axis: st.Axis, offset: st.Offset, cov: st.Cov, moves: st.Moves, from: st.Name, at: st.Time})
}

// onSky is the size of an azimuth adjuster's turn as an angle on the sky.
func onSky(az sphere.Angle, o axis.Offset) sphere.Angle {
	_, alt := o.Pole.AzAlt()
	return (az * sphere.Angle(alt.Cos())).Abs()
}

// measure takes one more sighting while there is no axis yet.
func (e *engine) measure(s axis.Sighting) (step, error) {
	before := e.sightings
	e.sightings = append([]axis.Sighting(nil), before...)
	e.add(s)
	if len(e.sightings) < 2 {
		return step{kind: journal.Sighting, changed: true}, nil
	}
	st, err := e.fit()
	if e.weak = nil; errors.As(err, &e.weak) {
		return step{kind: journal.Sighting, changed: true}, nil
	}
	if err != nil {
		e.sightings = before
	}
	return st, err
}

// fit measures the axis from the sightings and starts to follow it.
func (e *engine) fit() (step, error) {
	r, err := axis.Fit(e.sightings)
	if err != nil {
		return step{}, err
	}
	f, err := axis.Follow(r)
	if err != nil {
		return step{}, err
	}
	f.Pole, f.Tolerance = e.pole, sphere.Angle(e.tolerance)*sphere.Arcminute
	e.follow, e.measured = f, len(e.sightings)
	e.phase, e.advice, e.weak = phaseMeasure, axis.NoNeed, nil
	o := r.Offset(e.pole)
	last := e.sightings[len(e.sightings)-1]
	e.set(answer{axis: r.Axis, offset: o, cov: r.Cov, moves: o.Moves(), from: last.Name, at: last.Time})
	for _, w := range r.Warnings {
		e.note = join(e.note, w.String())
	}
	return step{kind: journal.Measurement, changed: true, fit: &r.Frames[len(r.Frames)-1]}, nil
}

// add adds a sighting, in place of the last one when the camera has hardly
// turned between them.
func (e *engine) add(s axis.Sighting) {
	n := len(e.sightings)
	if n > 0 && turned(e.sightings[n-1], s) < sameTurn {
		e.sightings[n-1] = s
		return
	}
	if n == mostSightings {
		e.sightings = append(e.sightings[:1], e.sightings[2:]...)
	}
	e.sightings = append(e.sightings, s)
}

// turned is by how much the camera turned over the ground.
func turned(a, b axis.Sighting) sphere.Angle {
	return pictureFromLocal(b).Mul(pictureFromLocal(a).Inv()).Angle()
}

// pictureFromLocal is how a sighting's picture lies in the sky: z to its middle,
// x toward its right edge. Good to the bending of the field by the air.
func pictureFromLocal(s axis.Sighting) sphere.Rot {
	look := func(x, y float64) r3.Vec {
		sky := s.SkyFromCam.Apply(s.Lens.Cam(x, y).Vec())
		return s.Place.Observed(sphere.SkyVec(sky)).Vec()
	}
	w, h := float64(s.W-1), float64(s.H-1)
	z := look(w/2, h/2)
	y := r3.Unit(r3.Cross(z, look(w, h/2)))
	return sphere.RotFromRows(r3.Cross(y, z), y, z)
}

// set takes over an answer.
func (e *engine) set(a answer) {
	e.answer = &a
	p := page.Point{Alt: a.offset.Alt.Arcminutes(), Az: a.offset.AzSky.Arcminutes()}
	if len(e.trail) == mostTrail {
		e.trail = append(e.trail[:1], e.trail[2:]...)
	}
	e.trail = append(e.trail, p)
}

// within reports whether the axis is within the tolerance.
func (e *engine) within() bool {
	return e.answer != nil && e.answer.offset.Total.Arcminutes() <= e.tolerance
}

// sure reports whether the measurement is good enough for the tolerance.
func (e *engine) sure() bool {
	return e.answer != nil && e.answer.offset.Err.Total.Arcminutes() <= e.tolerance/3
}

// sighted is how many frames the measurement rests on, or will.
func (e *engine) sighted() int { return max(e.measured, len(e.sightings)) }

// doubtful reports whether something besides RA and the adjusters moved, or it is
// not clear what did.
func (e *engine) doubtful() bool {
	switch e.advice {
	case axis.NoNeed, axis.Rough, axis.Worn:
		return false
	}
	return true
}
