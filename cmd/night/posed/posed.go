// Package posed pretends a camera for tests that are not about pixels: a file says
// how an invented mount stands, and Camera makes the sighting that a camera there
// would give. It is for tests alone.
package posed

import (
	"encoding/json"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis"
	"pintle/cmd/night"
	"pintle/index/sphere"
)

// A pretended camera for tests that are not about pixels: a file says how the
// mount stands, and the eye makes the sighting a camera there would give.

// Pose is the content of such a file.
type Pose struct {
	At        float64 `json:"at"`        // seconds after the start
	Turn      float64 `json:"turn"`      // degrees of RA
	Alt       float64 `json:"alt"`       // arcmin of the altitude adjuster
	Az        float64 `json:"az"`        // arcmin of the azimuth adjuster
	Dec       float64 `json:"dec"`       // degrees of declination
	Lost      bool    `json:"lost"`      // a cloud: not solved
	Clock     float64 `json:"clock"`     // seconds the camera's clock is ahead
	Zone      float64 `json:"zone"`      // hours that the clock states to be ahead of UTC, 0 for none
	Homeless  bool    `json:"homeless"`  // the header has no site
	Elsewhere bool    `json:"elsewhere"` // the header states the other hemisphere
	Fade      float64 `json:"fade"`      // magnitudes that the stars have lost
	Pad       string  `json:"pad,omitempty"`
}

// Camera sees the poses. It is the same for the same seed.
type Camera struct {
	Night *night.Night
	stars int
	err   float64 // px
}

// New returns the camera of an invented northern night.
func New(t testing.TB) *Camera { return Of(t, night.Random(11, false)) }

// Of returns the camera of a night.
func Of(t testing.TB, s night.Spec) *Camera {
	n, err := night.New(s)
	if err != nil {
		t.Fatal(err)
	}
	return &Camera{Night: n, stars: 60, err: 0.03}
}

// Truth is where the mount stands.
func (e *Camera) Truth(p Pose) (night.Truth, error) {
	spec := e.Night.Spec()
	m := e.Night.Mount(spec.Start)
	err := m.Move(night.Pose{Turn: sphere.Angle(p.Turn) * sphere.Degree, Alt: sphere.Angle(p.Alt) * sphere.Arcminute, Az: sphere.Angle(p.Az) * sphere.Arcminute, Dec: sphere.Angle(p.Dec) * sphere.Degree})
	if err != nil {
		return night.Truth{}, err
	}
	return m.Truth(spec.Start.Add(time.Duration(p.At * float64(time.Second))))
}

// Sighting is what a camera would give, noise and all.
func (e *Camera) Sighting(p Pose) (axis.Sighting, error) {
	t, err := e.Truth(p)
	if err != nil {
		return axis.Sighting{}, err
	}
	c := e.Night.Spec().Camera
	rng := rand.New(rand.NewPCG(uint64(p.At*1000), 77))
	s := axis.Sighting{Time: t.Mid, Place: t.Place, W: c.W, H: c.H, Lens: t.Lens}
	for range e.stars {
		x, y := rng.Float64()*float64(c.W-1), rng.Float64()*float64(c.H-1)
		s.Matches = append(s.Matches, axis.Match{
			X: x + e.err*rng.NormFloat64(), Y: y + e.err*rng.NormFloat64(), Err: e.err,
			Sky: t.Sky(x, y), CatErr: 0.05 * sphere.Arcsecond,
		})
	}
	// The sky seen along the camera's own axes, all but refraction.
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

// Save writes a posed file in one step.
func (p Pose) Save(t testing.TB, path string) {
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

// Course is a whole adjustment: three frames with RA turned, one still, then
// turns of the adjusters until the axis is where it belongs.
func Course(e *Camera) []Pose {
	o := e.Night.Truth(0).Offset
	alt, az := -o.Alt.Arcminutes(), -o.AzKnob.Arcminutes()
	c := []Pose{{}, {Turn: 20}, {Turn: 45}, {Turn: 45}}
	for _, s := range [][2]float64{{0.5, 0}, {0.9, 0}, {0.98, 0}, {0.98, 0.6}, {0.98, 1.05}, {1, 0.99}, {1, 1}} {
		c = append(c, Pose{Turn: 45, Alt: alt * s[0], Az: az * s[1]})
	}
	for i := range c {
		c[i].At = 20 * float64(i)
	}
	return c
}
