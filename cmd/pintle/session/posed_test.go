package session

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis"
	"pintle/cmd/night"
	"pintle/index/sphere"
	"pintle/index/stars"
	"pintle/solve"
	"pintle/solve/detect"
	"pintle/solve/frame"
)

// A pretended camera for tests that are not about pixels: a file says how the
// mount stands, and the eye makes the sighting a camera there would give.

// posed is the content of such a file.
type posed struct {
	At        float64 `json:"at"`        // seconds after the start
	Turn      float64 `json:"turn"`      // degrees of RA
	Alt       float64 `json:"alt"`       // arcmin of the altitude adjuster
	Az        float64 `json:"az"`        // arcmin of the azimuth adjuster
	Dec       float64 `json:"dec"`       // degrees of declination
	Lost      bool    `json:"lost"`      // a cloud: not solved
	Clock     float64 `json:"clock"`     // seconds the camera's clock is ahead
	Homeless  bool    `json:"homeless"`  // the header has no site
	Elsewhere bool    `json:"elsewhere"` // the header states the other hemisphere
	Pad       string  `json:"pad,omitempty"`
}

// posedEye sees posed files. It is the same for the same seed.
type posedEye struct {
	night *night.Night
	stars int
	err   float64 // px
}

func newPosedEye(t testing.TB) *posedEye {
	n, err := night.New(night.Random(11, false))
	if err != nil {
		t.Fatal(err)
	}
	return &posedEye{night: n, stars: 60, err: 0.03}
}

// truth is where the mount stands.
func (e *posedEye) truth(p posed) (night.Truth, error) {
	spec := e.night.Spec()
	m := e.night.Mount(spec.Start)
	err := m.Move(night.Pose{Turn: sphere.Angle(p.Turn) * sphere.Degree, Alt: sphere.Angle(p.Alt) * sphere.Arcminute, Az: sphere.Angle(p.Az) * sphere.Arcminute, Dec: sphere.Angle(p.Dec) * sphere.Degree})
	if err != nil {
		return night.Truth{}, err
	}
	return m.Truth(spec.Start.Add(time.Duration(p.At * float64(time.Second))))
}

// sighting is what a camera would give, noise and all.
func (e *posedEye) sighting(p posed) (axis.Sighting, error) {
	t, err := e.truth(p)
	if err != nil {
		return axis.Sighting{}, err
	}
	c := e.night.Spec().Camera
	rng := rand.New(rand.NewPCG(uint64(p.At*1000), 77))
	s := axis.Sighting{Time: t.Mid, Place: t.Place, W: c.W, H: c.H, Lens: t.Lens}
	for range e.stars {
		x, y := rng.Float64()*float64(c.W-1), rng.Float64()*float64(c.H-1)
		s.Matches = append(s.Matches, axis.Match{
			X: x + e.err*rng.NormFloat64(), Y: y + e.err*rng.NormFloat64(), Err: e.err,
			Sky: t.Sky(x, y), CatErr: 0.05 * sphere.Arcsecond,
		})
	}
	// The sky seen along the camera's own axes, all but the bending by the air.
	cx, cy := float64(c.W-1)/2, float64(c.H-1)/2
	z := t.Sky(cx, cy).Vec()
	side := t.Sky(cx+1, cy).Vec()
	y := r3.Unit(r3.Cross(z, side))
	if t.Lens.Mirrored {
		y = r3.Scale(-1, y)
	}
	s.SkyFromCam = sphere.RotFromRows(r3.Cross(y, z), y, z).Inv()
	return s, nil
}

// Read and Recognise make posedEye a Camera.
func (e *posedEye) Read(_ context.Context, path string) (*Frame, error) {
	f := &Frame{Path: path, Name: filepath.Base(path)}
	b, err := os.ReadFile(path)
	if err != nil {
		f.miss(Miss{Kind: Unreadable, Err: err})
		return f, nil
	}
	var p posed
	if err := json.Unmarshal(b, &p); err != nil {
		f.miss(Miss{Kind: Unreadable, Err: fmt.Errorf("%w: %w", ErrNotWhole, err)})
		return f, nil
	}
	spec := e.night.Spec()
	t, err := e.truth(p)
	if err != nil {
		return nil, err
	}
	f.Field = &detect.Field{W: spec.Camera.W, H: spec.Camera.H}
	f.Read = &frame.Frame{Name: f.Name, Format: "posed", Hash: uint64(p.At*1000) + 1, Time: frame.Time{Mid: t.Mid.Add(time.Duration(p.Clock * float64(time.Second))), Source: "the pose"},
		Site: &frame.Site{Lat: spec.Site.Lat, Lon: spec.Site.Lon, Elev: spec.Site.Elev, Source: "the pose"}}
	if p.Homeless {
		f.Read.Site = nil
	}
	if p.Elsewhere {
		f.Read.Site.Lat *= -1
	}
	f.Read.Optics.Source = string(b)
	return f, nil
}

func (e *posedEye) Recognise(_ context.Context, f *Frame) error {
	var p posed
	if err := json.Unmarshal([]byte(f.Read.Optics.Source), &p); err != nil {
		return err
	}
	if p.Lost {
		f.miss(Miss{Kind: Unsolved, Err: errors.New("cloud")})
		return nil
	}
	s, err := e.sighting(p)
	if err != nil {
		return err
	}
	f.Solution = &solve.Solution{Lens: s.Lens, CamFromSky: s.SkyFromCam.Inv(), W: s.W, H: s.H}
	for i, m := range s.Matches {
		f.Field.Stars = append(f.Field.Stars, detect.Star{X: m.X, Y: m.Y, ErrX: m.Err, ErrY: m.Err})
		f.Solution.Matches = append(f.Solution.Matches, solve.Match{Detected: i, Star: stars.Star{Pos: m.Sky, Err: m.CatErr}})
	}
	return nil
}

// save writes a posed file in one step.
func (p posed) save(t testing.TB, path string) {
	t.Helper()
	b, err := json.Marshal(p)
	if err != nil {
		t.Fatal(err)
	}
	tmp := filepath.Join(filepath.Dir(path), "."+filepath.Base(path))
	if err := os.WriteFile(tmp, b, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(tmp, path); err != nil {
		t.Fatal(err)
	}
}

// course is a whole adjustment: three frames with RA turned, one still, then
// turns of the adjusters until the axis is where it belongs.
func course(e *posedEye) []posed {
	o := e.night.Truth(0).Offset
	alt, az := -o.Alt.Arcminutes(), -o.AzKnob.Arcminutes()
	c := []posed{{}, {Turn: 20}, {Turn: 45}, {Turn: 45}}
	for _, s := range [][2]float64{{0.5, 0}, {0.9, 0}, {0.98, 0}, {0.98, 0.6}, {0.98, 1.05}, {1, 0.99}, {1, 1}} {
		c = append(c, posed{Turn: 45, Alt: alt * s[0], Az: az * s[1]})
	}
	for i := range c {
		c[i].At = 20 * float64(i)
	}
	return c
}
