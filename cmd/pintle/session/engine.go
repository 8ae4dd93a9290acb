package session

import (
	"errors"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis"
	"pintle/axis/drive"
	"pintle/axis/place"
	"pintle/cmd/pintle/journal"
	"pintle/index/sphere"
)

// Phase is what the hands are at.
type Phase string

// The phases.
const (
	Measuring Phase = "measure" // the person turns RA
	Adjusting Phase = "adjust"  // the person turns the adjusters
)

// step is what the engine makes of one more frame.
type step struct {
	kind    string       // of the journal's record
	changed bool         // something was turned: what is known is to be kept
	turns   axis.Turns   // since the frame before
	turned  sphere.Angle // of the frame about the axis, since the first
	stars   int          // kept by the fit; 0 without one
}

// engine knows where the axis is, from one frame to the next. It has no clock,
// reads nothing and writes nothing.
type engine struct {
	setting *Setting

	phase     Phase
	sightings []axis.Sighting // of the measurement, until an adjuster is turned
	follow    *axis.Follower
	answer    *Answer
	weak      *axis.WeakError // why the sightings give no answer yet
	trail     []Point
	here      int // the adjuster turned last, -1 none
	measured  int // frames the measurement rests on
	adjusted  bool
	advice    axis.Advice
	touched   *axis.Seen     // between the last two frames
	warnings  []axis.Warning // of the measurement that the answer rests on
	turned    sphere.Angle   // of the last frame
	pointed   *axis.Sighting // the last frame taken up
	last      time.Time      // its time
	lastName  string
}

// Answer is where the axis is.
type Answer struct {
	Axis   sphere.Local
	Offset axis.Offset
	Cov    [2][2]float64 // altitude, azimuth on the sky; square radians
	Moves  [2]axis.Move
	From   string // the frame
	At     time.Time
	// Result is the fit the answer was read off, and Sightings the frames in it;
	// nil once the adjusters were turned.
	Result    *axis.Result
	Sightings []axis.Sighting
}

// Point is a place of the axis relative to the pole, on the sky: altitude, and
// azimuth clockwise.
type Point struct{ Alt, Az sphere.Angle }

func newEngine(s *Setting) *engine {
	e := &engine{setting: s}
	e.fresh()
	return e
}

// fresh starts a new measurement.
func (e *engine) fresh() {
	*e = engine{setting: e.setting, phase: Measuring, here: -1}
}

// aim tells the follower what the setting asks for.
func (e *engine) aim() {
	if e.follow == nil {
		return
	}
	e.follow.Pole, e.follow.Tolerance, e.follow.Aim = e.setting.Pole, e.setting.Tolerance, nil
	if e.setting.King != nil {
		e.follow.Aim = &e.setting.King.Pole
	}
}

// setTolerance changes the tolerance.
func (e *engine) setTolerance(t sphere.Angle) {
	e.setting.Tolerance = t
	if e.follow != nil {
		e.aim()
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
	// turnedFor is a turn of RA that nobody makes by turning the adjusters.
	turnedFor = 1 * sphere.Degree
)

// measureAll measures the axis from all sightings at once, and does not follow.
func (e *engine) measureAll(all []axis.Sighting) error {
	e.sightings = all
	r, err := axis.FitAs(all, e.setting.Manner)
	if e.weak = nil; errors.As(err, &e.weak) {
		return nil
	}
	if err != nil {
		return err
	}
	e.measuredBy(r)
	return nil
}

// sight takes one more solved frame. An error is a fault of the frame, which then
// counts for nothing.
func (e *engine) sight(s axis.Sighting) (step, error) {
	e.touched = nil
	st, err := e.see(s)
	if err == nil {
		e.turned, e.pointed, e.last, e.lastName = st.turned, &s, s.Time, s.Name
	}
	return st, err
}

func (e *engine) see(s axis.Sighting) (step, error) {
	if e.follow == nil {
		return e.measure(s)
	}
	st, err := e.follow.Next(s)
	if err != nil {
		return step{}, err
	}
	out := step{kind: journal.Adjustment, changed: st.Touched != 0, turns: st.Turns, turned: e.turnOf(s.Time, &st), stars: st.Frame.Inliers}
	adjuster := st.Touched.Has(axis.TouchAltitude) || st.Touched.Has(axis.TouchAzimuth)
	switch {
	case !e.adjusted && (st.Touched == axis.TouchRA || st.Turns.RA.Abs() > turnedFor):
		// RA was turned, and nobody turns the adjusters with it: one more sighting of
		// the same axis. All of them together say more than one after the other, and
		// what slipped meanwhile.
		e.add(s)
		again, err := e.fit()
		if err == nil {
			return again, nil
		}
		if e.phase = Measuring; errors.As(err, &e.weak) {
			// They do not belong together: what two of them said means nothing.
			e.follow, e.answer, e.trail = nil, nil, nil
			return step{kind: journal.Sighting, changed: true, stars: len(s.Matches)}, nil
		}
	case adjuster:
		e.phase, e.adjusted, e.sightings = Adjusting, true, nil
		e.here = int(axis.Altitude)
		if onSky(st.Turns.Az, st.Offset) > st.Turns.Alt.Abs() {
			e.here = int(axis.Azimuth)
		}
	case st.Touched == 0 || e.adjusted:
		e.phase = Adjusting
	}
	e.stand(st)
	e.touched = &st.Seen
	e.answer.From, e.answer.At = s.Name, s.Time
	return out, nil
}

// standing returns where the middle of a frame must be if the drive stands, as it
// did, and nobody turned RA; nil when it runs, or is not known.
func (e *engine) standing(at time.Time) *sphere.Sky {
	if e.follow == nil || e.pointed == nil || at.IsZero() || e.follow.State().Drive != axis.Standing {
		return nil
	}
	p, err := place.At(at, e.pointed.Place.Site(), e.pointed.Place.Air())
	if err != nil {
		return nil // the time of the frame is impossible, which it is told itself
	}
	sky := p.Catalogue(e.pointed.Place.Observed(middle(e.pointed)))
	return &sky
}

// turnOf is by how much the mount stands turned about its axis: what it was, what
// the drive did, and what the hand did.
func (e *engine) turnOf(at time.Time, st *axis.State) sphere.Angle {
	turned := e.turned + st.Turns.RA
	if st.Drive == axis.Tracking {
		sky := sphere.Angle(drive.Sidereal * at.Sub(e.last).Seconds())
		if !e.setting.South() {
			sky = -sky // westward, about the north pole
		}
		turned += sky
	}
	return turned.Wrap()
}

// stand takes over what the follower says.
func (e *engine) stand(st axis.State) {
	e.advice = st.Advice
	e.set(Answer{Axis: st.Axis, Offset: st.Offset, Cov: st.Cov, Moves: st.Moves, From: st.Name, At: st.Time})
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
	begun := step{kind: journal.Sighting, changed: true, stars: len(s.Matches)}
	if len(e.sightings) < 2 {
		return begun, nil
	}
	st, err := e.fit()
	if e.weak = nil; errors.As(err, &e.weak) {
		return begun, nil
	}
	if err != nil {
		e.sightings = before
	}
	return st, err
}

// fit measures the axis from the sightings and starts to follow it.
func (e *engine) fit() (step, error) {
	r, err := axis.FitAs(e.sightings, e.setting.Manner)
	if err != nil {
		return step{}, err
	}
	f, err := axis.Follow(r)
	if err != nil {
		return step{}, err
	}
	e.follow = f
	e.aim()
	e.phase, e.weak = Measuring, nil
	e.measuredBy(r)
	last := r.Frames[len(r.Frames)-1]
	return step{kind: journal.Measurement, changed: true, turned: last.Turn, stars: last.Inliers}, nil
}

// measuredBy takes over the result of a fit to the sightings.
func (e *engine) measuredBy(r *axis.Result) {
	e.measured, e.advice, e.warnings = len(e.sightings), axis.NoNeed, r.Warnings
	o := e.setting.offset(r)
	last := e.sightings[len(e.sightings)-1]
	e.set(Answer{Axis: r.Axis, Offset: o, Cov: r.Cov, Moves: o.Moves(), From: last.Name, At: last.Time, Result: r,
		Sightings: append([]axis.Sighting(nil), e.sightings...)})
}

// offset is the axis minus the pole that the setting asks for.
func (s *Setting) offset(r *axis.Result) axis.Offset {
	if s.King == nil {
		return r.Offset(s.Pole)
	}
	// What uncertain air does to the refracted pole is the larger part of what it
	// does to King's, so its errors stand.
	o := r.OffsetFrom(s.King.Pole)
	full := r.Offset(axis.Refracted)
	o.Err, o.By = full.Err, full.By
	return o
}

// add adds a sighting, in place of the last one when the camera has hardly
// turned between them.
func (e *engine) add(s axis.Sighting) {
	n := len(e.sightings)
	if n > 0 && turnBetween(e.sightings[n-1], s) < sameTurn {
		e.sightings[n-1] = s
		return
	}
	if n == mostSightings {
		e.sightings = append(e.sightings[:1], e.sightings[2:]...)
	}
	e.sightings = append(e.sightings, s)
}

// turnBetween is by how much the camera turned over the ground.
func turnBetween(a, b axis.Sighting) sphere.Angle {
	return pictureFromLocal(b).Mul(pictureFromLocal(a).Inv()).Angle()
}

// pictureFromLocal is how a sighting's picture lies in the sky: z to its middle,
// x toward its right edge. Good to what the air does within the field.
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
func (e *engine) set(a Answer) {
	e.answer = &a
	if len(e.trail) == mostTrail {
		e.trail = append(e.trail[:1], e.trail[2:]...)
	}
	e.trail = append(e.trail, Point{a.Offset.Alt, a.Offset.AzSky})
}

// within reports whether the axis is within the tolerance.
func (e *engine) within() bool {
	return e.answer != nil && e.answer.Offset.Total <= e.setting.Tolerance
}

// sure reports whether the measurement is good enough for the tolerance.
func (e *engine) sure() bool {
	return e.answer != nil && e.answer.Offset.Err.Total <= e.setting.Tolerance/3
}

// sighted is how many frames the measurement rests on, or will.
func (e *engine) sighted() int { return max(e.measured, len(e.sightings)) }
