package session

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis"
	"pintle/axis/place"
	"pintle/cmd/pintle/journal"
	"pintle/index/optics"
	"pintle/index/sphere"
)

// keeper writes what was measured to the journal, and what is needed to go on
// from there with it. A nil keeper keeps nothing.
type keeper struct {
	path    string
	dir     string // the folder watched, "" for a measurement made at once
	session string
	note    string // goes with every record
	now     func() time.Time
	still   int // frames since the state was last written
	misses  []journal.Frame
	words   func(State) []string
	why     func(*Frame) string
}

func newKeeper(c *Config) *keeper {
	if c.Journal == "" {
		return nil
	}
	k := &keeper{path: c.Journal, note: c.Told.Note, now: c.Now}
	if c.Folder != "" {
		k.dir = absolute(c.Folder)
		k.fresh()
	}
	return k
}

// Keep sets how the doubts and notes of a state read in the record, and why a frame
// took no part.
func (s *Session) Keep(words func(State) []string, why func(*Frame) string) {
	if s.keep != nil {
		s.keep.words, s.keep.why = words, why
	}
}

// stillEvery is after how many frames without a turn the state is written all the
// same: what is lost of it is only how long nothing was touched.
const stillEvery = 20

// keptState is the state of an engine as it goes to the journal.
type keptState struct {
	Format    int            `json:"format"`
	Folder    string         `json:"folder"`
	Written   time.Time      `json:"written"`
	File      time.Time      `json:"file"` // when the frame's file was written
	Phase     Phase          `json:"phase"`
	Adjusted  bool           `json:"adjusted"`
	Here      int            `json:"here"`
	Measured  int            `json:"measured"`
	Sightings []keptSighting `json:"sightings,omitempty"`
	Follower  *axis.Follower `json:"follower,omitempty"`
	Trail     []Point        `json:"trail,omitempty"`
	Warnings  []axis.Warning `json:"warnings,omitempty"`
	Turned    sphere.Angle   `json:"turned"`
	Last      time.Time      `json:"last"`
	LastName  string         `json:"last_name"`
	Setting   keptSetting    `json:"setting"`
}

// keptSetting is where and for what an earlier run reckoned.
type keptSetting struct {
	Site      place.Site    `json:"site"`
	SiteName  string        `json:"site_name"`
	Air       place.Air     `json:"air"`
	Times     string        `json:"times"`
	Pole      axis.PoleKind `json:"pole"`
	King      *King         `json:"king,omitempty"`
	Tolerance sphere.Angle  `json:"tolerance"`
}

// keptFormat is raised when old states can no longer be read.
const keptFormat = 2

// keptSighting is a sighting with nothing left out; angles are radians.
type keptSighting struct {
	Name    string       `json:"name"`
	Time    time.Time    `json:"time"`
	Site    place.Site   `json:"site"`
	Air     place.Air    `json:"air"`
	W       int          `json:"w"`
	H       int          `json:"h"`
	Lens    optics.Lens  `json:"lens"`
	Turn    r3.Vec       `json:"sky_from_cam"` // rotation vector
	Matches [][6]float64 `json:"matches"`      // x, y, error, sky direction, error
}

func keep(s axis.Sighting) keptSighting {
	k := keptSighting{Name: s.Name, Time: s.Time, Site: s.Place.Site(), Air: s.Place.Air(), W: s.W, H: s.H, Lens: s.Lens, Turn: s.SkyFromCam.Vec()}
	for _, m := range s.Matches {
		ra, dec := m.Sky.RADec()
		k.Matches = append(k.Matches, [6]float64{m.X, m.Y, m.Err, float64(ra), float64(dec), float64(m.CatErr)})
	}
	return k
}

func (k keptSighting) sighting() (axis.Sighting, error) {
	p, err := place.At(k.Time, k.Site, k.Air)
	if err != nil {
		return axis.Sighting{}, err
	}
	s := axis.Sighting{Name: k.Name, Time: k.Time, Place: p, W: k.W, H: k.H, Lens: k.Lens, SkyFromCam: sphere.TurnVec(k.Turn)}
	for _, m := range k.Matches {
		s.Matches = append(s.Matches, axis.Match{X: m[0], Y: m[1], Err: m[2], Sky: sphere.SkyAt(sphere.Angle(m[3]), sphere.Angle(m[4])), CatErr: sphere.Angle(m[5])})
	}
	return s, nil
}

// state returns what is to be kept of an engine.
func (e *engine) state() keptState {
	s := e.setting
	k := keptState{Format: keptFormat, Phase: e.phase, Adjusted: e.adjusted, Here: e.here, Measured: e.measured, Follower: e.follow,
		Trail: e.trail, Warnings: e.warnings, Turned: e.turned, Last: e.last, LastName: e.lastName,
		Setting: keptSetting{s.Site, s.SiteName, s.Air, s.Times, s.Pole, s.King, s.Tolerance}}
	for _, s := range e.sightings {
		k.Sightings = append(k.Sightings, keep(s))
	}
	return k
}

// restore makes the engine stand where it stood.
func (e *engine) restore(k keptState) error {
	if k.Format != keptFormat {
		return fmt.Errorf("the state kept has format %d, this program knows %d", k.Format, keptFormat)
	}
	var sightings []axis.Sighting
	for _, s := range k.Sightings {
		x, err := s.sighting()
		if err != nil {
			return err
		}
		sightings = append(sightings, x)
	}
	e.fresh()
	e.phase, e.adjusted, e.here, e.measured = k.Phase, k.Adjusted, k.Here, k.Measured
	e.sightings, e.trail, e.warnings = sightings, k.Trail, k.Warnings
	e.turned, e.last, e.lastName = k.Turned, k.Last, k.LastName
	if k.Follower != nil {
		e.follow = k.Follower
		e.aim()
		e.trail = slices.Clone(k.Trail)
		if n := len(e.trail); n > 0 {
			e.trail = e.trail[:n-1] // stand adds it again
		}
		e.stand(e.follow.State())
	}
	return nil
}

// record writes what is known after a frame, or after all of them.
func (s *Session) record(f *Frame, st step) {
	if s.keep == nil {
		return
	}
	if err := s.keep.add(s, f, st); err != nil {
		s.passing = append(s.passing, Note{Kind: NotKept, Err: err})
	}
}

// add writes one record.
func (k *keeper) add(s *Session, f *Frame, st step) error {
	e, set := s.engine, &s.setting
	r := journal.Record{
		Kind: st.kind, Time: f.Time(), Session: k.session, Tolerance: set.Tolerance.Arcminutes(), Note: k.note,
		Site: journal.Site{Name: set.SiteName, Lat: set.Site.Lat.Degrees(), Lon: set.Site.Lon.Degrees(), Elev: set.Site.Elev},
		Air:  journal.Air{Pressure: set.Air.Pressure, Temp: set.Air.Temp},
	}
	r.Frames, k.misses = append(k.misses, s.framesKept(f, st)...), nil
	if a := e.answer; a != nil {
		r.Axis = journalDirection(a.Axis)
		r.Pole = journal.Pole{Kind: set.PoleName(), Direction: journalDirection(a.Offset.Pole)}
		r.Offset, r.Sigma = journalOffset(a.Offset.Parts), journalOffset(a.Offset.Err)
		r.Mount = set.MountName
		if st.kind == journal.Measurement && a.Result != nil {
			by := a.Offset.By
			r.Made = &journal.Made{Stars: by.Stars.Total.Arcminutes(), Mount: by.Mount.Total.Arcminutes(), Refraction: by.Refraction.Total.Arcminutes()}
			r.Scatter = shown(a.Result)
		}
		if a.At.After(r.Time) {
			r.Time = a.At
		}
	}
	if k.words != nil {
		r.Warnings = k.words(s.State())
	}
	if s.c.Hands != nil && st.kind == journal.Measurement {
		r.Turns = TurnsKept(s.c.Hands.Status().Turns)
	}
	if st.kind == journal.Adjustment && e.follow != nil {
		if s, ok := e.follow.Scatter(); ok {
			r.Scatter = finite(s.Arcseconds())
		}
	}
	if st.kind == journal.Adjustment {
		r.Moved = &journal.Moved{Alt: st.turns.Alt.Arcminutes(), AzKnob: st.turns.Az.Arcminutes()}
	}
	if k.still++; k.dir != "" && (st.changed || k.still >= stillEvery) {
		k.still = 0
		kept := e.state()
		kept.Folder, kept.Written, kept.File = k.dir, k.now(), f.Mod
		b, err := json.Marshal(kept)
		if err != nil {
			return err
		}
		r.State = b
	}
	return journal.Append(k.path, r)
}

// shown returns the scatter of a measurement's frames, arcsec per axis, or 0 where
// frames are too few to show it.
func shown(r *axis.Result) float64 {
	used := 0
	for i := range r.Frames {
		if r.Frames[i].Used {
			used++
		}
	}
	if used < fewestForScatter {
		return 0
	}
	return finite(r.Tilt.Arcseconds())
}

// fewestForScatter frames show by how much they scatter: three lie on one circle
// always.
const fewestForScatter = 4

// framesKept are the frames that a record rests on: of a measurement all of
// them, else the one.
func (s *Session) framesKept(f *Frame, st step) (out []journal.Frame) {
	a := s.engine.answer
	if st.kind != journal.Measurement || a == nil || a.Result == nil {
		return []journal.Frame{frameKept(f, f.Turned, st.stars)}
	}
	for i := range a.Sightings {
		sg, ff := &a.Sightings[i], &a.Result.Frames[i]
		k := journal.Frame{Name: sg.Name, Time: sg.Time.UTC(), Turn: finite(ff.Turn.Degrees()), Stars: ff.Inliers, RMS: finite(ff.RMS.Arcseconds())}
		ra, dec := middle(sg).RADec()
		k.RA, k.Dec = ra.Degrees(), dec.Degrees()
		k.By = s.cameraOf(sg)
		out = append(out, k)
	}
	for _, x := range s.frames {
		if x.Miss != nil {
			out = append(out, s.keep.missKept(x))
		}
	}
	return out
}

// cameraOf is the camera that the hands took a sighting's frame with.
func (s *Session) cameraOf(sg *axis.Sighting) string {
	for _, f := range s.frames {
		if f.Name == sg.Name && f.Time().Equal(sg.Time) {
			return f.TakenBy
		}
	}
	return s.takenBy(filepath.Join(s.c.Folder, sg.Name)) // an earlier one of a run
}

// TurnsKept are turns that a device made, as the journal keeps them.
func TurnsKept(turns []Turn) (out []journal.Turn) {
	for _, t := range turns {
		k := journal.Turn{Asked: t.Asked.Degrees(), Reported: finite(t.Reported.Degrees()), Direction: "east", Rate: finite(t.Rate.Degrees()), Seconds: t.Time.Seconds(), StoppedBy: t.StoppedBy}
		if t.West {
			k.Direction = "west"
		}
		if t.Measured != nil {
			m := finite(t.Measured.Degrees())
			k.Measured = &m
		}
		out = append(out, k)
	}
	return out
}

// TurnsOf are turns that were kept.
func TurnsOf(kept []journal.Turn) (out []Turn) {
	deg := func(x float64) sphere.Angle { return sphere.Angle(x) * sphere.Degree }
	for _, k := range kept {
		t := Turn{Asked: deg(k.Asked), Reported: deg(k.Reported), West: k.Direction == "west", Rate: deg(k.Rate), Time: time.Duration(k.Seconds * float64(time.Second)), StoppedBy: k.StoppedBy}
		if k.Measured != nil {
			m := deg(*k.Measured)
			t.Measured = &m
		}
		out = append(out, t)
	}
	return out
}

// middle is where a sighting's frame looks, ICRS.
func middle(s *axis.Sighting) sphere.Sky {
	return sphere.SkyVec(s.SkyFromCam.Apply(s.Lens.Cam(float64(s.W-1)/2, float64(s.H-1)/2).Vec()))
}

func frameKept(f *Frame, turned sphere.Angle, stars int) journal.Frame {
	k := journal.Frame{Name: f.Name, By: f.TakenBy, Time: f.Time().UTC(), Turn: finite(turned.Degrees()), Stars: stars}
	if f.Solution != nil {
		ra, dec := f.Solution.Centre().RADec()
		k.RA, k.Dec, k.RMS = ra.Degrees(), dec.Degrees(), finite(f.Solution.RMS.Arcseconds())
	} else if f.Sighting != nil {
		ra, dec := middle(f.Sighting).RADec()
		k.RA, k.Dec = ra.Degrees(), dec.Degrees()
	}
	return k
}

// missKept is a frame that took no part, with the reason.
func (k *keeper) missKept(f *Frame) journal.Frame {
	out := journal.Frame{Name: f.Name, Time: f.Time().UTC(), Missed: true}
	if f.Miss != nil && k.why != nil {
		out.Reason = k.why(f)
	}
	return out
}

// mostMisses bounds the frames of a long cloud in one record.
const mostMisses = 100

// missed notes a frame that took no part, for the next record.
func (k *keeper) missed(f *Frame) {
	if k == nil {
		return
	}
	if len(k.misses) == mostMisses {
		k.misses = k.misses[1:]
	}
	k.misses = append(k.misses, k.missKept(f))
}

// recovered forgets a frame that took no part, because it takes part after all.
func (k *keeper) recovered(f *Frame) {
	if k != nil {
		k.misses = slices.DeleteFunc(k.misses, func(m journal.Frame) bool { return m.Name == f.Name && m.Time.Equal(f.Time()) })
	}
}

func journalDirection(l sphere.Local) journal.Direction {
	az, alt := l.AzAlt()
	return journal.Direction{Az: az.Degrees(), Alt: alt.Degrees()}
}

func journalOffset(p axis.Parts) journal.Offset {
	return journal.Offset{Alt: p.Alt.Arcminutes(), AzKnob: p.AzKnob.Arcminutes(), AzSky: p.AzSky.Arcminutes(), Total: p.Total.Arcminutes()}
}

// finite turns what JSON cannot hold into 0.
func finite(x float64) float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return 0
	}
	return x
}

// PoleName is the pole's kind as records and --json have it.
func (s *Setting) PoleName() string {
	switch {
	case s.King != nil:
		return "king"
	case s.Pole == axis.True:
		return "true"
	}
	return "refracted"
}

// Earlier is a run that can be gone on with.
type Earlier struct {
	At       time.Time
	Total    sphere.Angle
	Measured bool // it had an answer
	File     time.Time
	state    keptState
	session  string
}

// ErrNothingKept says that there is nothing to resume.
var ErrNothingKept = errors.New("no earlier run of this folder is in the journal")

// LookBack offers the last run of the folder, unless it is older than most.
func (s *Session) LookBack(most time.Duration) (*Earlier, error) {
	if s.keep == nil || s.keep.dir == "" {
		return nil, ErrNothingKept
	}
	x, err := s.keep.earlier(most)
	if err != nil {
		return nil, err
	}
	s.offer = x
	return x, nil
}

// earlier returns the last run of the folder, unless it is older than most.
func (k *keeper) earlier(most time.Duration) (*Earlier, error) {
	records, _, err := journal.Read(k.path)
	if err != nil {
		return nil, err
	}
	for _, r := range slices.Backward(records) {
		if len(r.State) == 0 {
			continue
		}
		var at struct {
			Format  int       `json:"format"`
			Folder  string    `json:"folder"`
			Written time.Time `json:"written"`
		}
		if json.Unmarshal(r.State, &at) != nil || at.Format != keptFormat || at.Folder != k.dir {
			continue
		}
		if k.now().Sub(at.Written) > most {
			break
		}
		e := &Earlier{session: r.Session, At: at.Written, Total: sphere.Angle(r.Offset.Total) * sphere.Arcminute, Measured: r.Kind != journal.Sighting}
		if err := json.Unmarshal(r.State, &e.state); err != nil {
			return nil, fmt.Errorf("the run kept in %s cannot be resumed: %w", k.path, err)
		}
		e.File = e.state.File
		return e, nil
	}
	return nil, ErrNothingKept
}

// Resume goes on with the earlier run that is offered.
func (s *Session) Resume() {
	x := s.offer
	if x == nil {
		return
	}
	s.offer = nil
	k := x.state.Setting
	if s.c.Told.Site == nil && s.c.Told.SiteName == "" || !s.setting.Settled {
		s.setting.Site, s.setting.SiteName, s.setting.SiteSource, s.setting.Settled = k.Site, k.SiteName, Source{Kind: FromEarlier}, true
		s.setting.Air, s.setting.AirSource, s.setting.Times = k.Air, Source{Kind: FromEarlier}, k.Times
	}
	s.asks = nil
	if err := s.engine.restore(x.state); err != nil {
		s.engine.fresh()
		s.pass(Note{Kind: NotResumed, Err: err})
		return
	}
	s.keep.session, s.resumed = x.session, x.At
	s.pass(Note{Kind: Resumed})
}

// newSession names a run.
func newSession(t time.Time) string { return "live-" + t.UTC().Format("20060102T150405.000000Z") }

// absolute is the folder's name by which it is found again.
func absolute(dir string) string {
	if a, err := filepath.Abs(dir); err == nil {
		dir = a
	}
	if a, err := filepath.EvalSymlinks(dir); err == nil {
		dir = a
	}
	return dir
}

// fresh begins a new run.
func (k *keeper) fresh() {
	if k != nil && k.dir != "" {
		k.session = newSession(k.now())
	}
}
