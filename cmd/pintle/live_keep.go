package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis"
	"pintle/axis/place"
	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/page"
	"pintle/index/optics"
	"pintle/index/sphere"
)

// keeper writes what was measured to the journal, and what is needed to go on
// from there with it.
type keeper struct {
	path    string
	dir     string // the folder watched
	session string
	name    string // of the site, from the gear
	note    string // goes with every record
	now     func() time.Time
	still   int // frames since the state was last written
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
	Phase     string         `json:"phase"`
	Adjusted  bool           `json:"adjusted"`
	Here      int            `json:"here"`
	Measured  int            `json:"measured"`
	Sightings []keptSighting `json:"sightings,omitempty"`
	Follower  *axis.Follower `json:"follower,omitempty"`
	Trail     []page.Point   `json:"trail,omitempty"`
	Pole      axis.PoleKind  `json:"pole"`
	Tolerance float64        `json:"tolerance"`
}

const keptFormat = 1

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
	k := keptState{Format: keptFormat, Phase: e.phase, Adjusted: e.adjusted, Here: e.here, Measured: e.measured,
		Trail: e.trail, Pole: e.pole, Tolerance: e.tolerance}
	for _, s := range e.sightings {
		k.Sightings = append(k.Sightings, keep(s))
	}
	k.Follower = e.follow
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
	e.sightings, e.trail = sightings, k.Trail
	if k.Follower != nil {
		e.follow = k.Follower
		e.follow.Pole, e.follow.Tolerance = e.pole, sphere.Angle(e.tolerance)*sphere.Arcminute
		e.trail = slices.Clone(k.Trail)
		if n := len(e.trail); n > 0 {
			e.trail = e.trail[:n-1] // stand adds it again
		}
		e.stand(e.follow.State())
	}
	return nil
}

// add writes one solved frame.
func (k *keeper) add(e *engine, g *glimpse, st step, note string) error {
	if k == nil || k.path == "" {
		return nil
	}
	r := journal.Record{
		Kind: st.kind, Time: g.time, Session: k.session, Tolerance: e.tolerance, Note: join(k.note, note),
		Site: journal.Site{Name: k.name, Lat: g.site.Lat.Degrees(), Lon: g.site.Lon.Degrees(), Elev: g.site.Elev},
		Air:  journal.Air{Pressure: g.air.Pressure, Temp: g.air.Temp},
	}
	f := journal.Frame{Name: g.name, Time: g.time.UTC(), RA: g.ra, Dec: g.dec, Stars: len(g.sighting.Matches), RMS: finite(g.rms)}
	if st.fit != nil {
		f.Turn, f.Stars = finite(st.fit.Turn.Degrees()), st.fit.Inliers
	}
	r.Frames = []journal.Frame{f}
	if a := e.answer; a != nil {
		r.Axis = journal.Direction(direction(a.axis))
		r.Pole = journal.Pole{Kind: poleName(e.pole), Direction: journal.Direction(direction(a.offset.Pole))}
		r.Offset, r.Sigma = journal.Offset(*parts(a.offset.Parts)), journal.Offset(*parts(a.offset.Err))
	}
	if st.kind == journal.Adjustment {
		r.Moved = &journal.Moved{Alt: st.alt.Arcminutes(), AzKnob: st.az.Arcminutes()}
	}
	if k.still++; st.changed || k.still >= stillEvery {
		k.still = 0
		s := e.state()
		s.Folder, s.Written, s.File = k.dir, k.now(), g.mod
		b, err := json.Marshal(s)
		if err != nil {
			return err
		}
		r.State = b
	}
	return journal.Append(k.path, r)
}

// earlier is a run that can be resumed.
type earlier struct {
	state   keptState
	session string
	at      time.Time
	total   float64
	solved  bool // it had an answer
}

// errNothingKept says that there is nothing to resume.
var errNothingKept = errors.New("no earlier run of this folder is in the journal")

// earlier returns the last run of the folder, unless it is older than most.
func (k *keeper) earlier(most time.Duration) (*earlier, error) {
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
		e := &earlier{session: r.Session, at: at.Written, total: r.Offset.Total, solved: r.Kind != journal.Sighting}
		if err := json.Unmarshal(r.State, &e.state); err != nil {
			return nil, fmt.Errorf("the run kept in %s cannot be resumed: %w", k.path, err)
		}
		return e, nil
	}
	return nil, errNothingKept
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
	if k != nil {
		k.session = newSession(k.now())
	}
}
