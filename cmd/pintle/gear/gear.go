// Package gear keeps what a user tells once: sites, cameras with their lenses,
// and mounts, in one readable TOML file that is safe to edit by hand.
//
// A change by the program touches only the lines it is about: comments, order
// and everything else stay as the user wrote them. The file is replaced in one
// step, so that a crash leaves the old or the new one and never a half.
package gear

import (
	"math"
	"strconv"
	"strings"
	"time"

	"pintle/axis/drive"
	"pintle/axis/place"
	"pintle/index/optics"
	"pintle/index/sphere"
)

// Gear is the whole file.
type Gear struct {
	Tolerance Tolerance         `toml:"tolerance"`
	Default   Default           `toml:"default"`
	Sites     map[string]Site   `toml:"site"`
	Cameras   map[string]Camera `toml:"camera"`
	Mounts    map[string]Mount  `toml:"mount"`
}

// Default names what is used when a command is told nothing.
type Default struct {
	Site   string `toml:"site,omitempty"`
	Camera string `toml:"camera,omitempty"`
	Mount  string `toml:"mount,omitempty"`
}

// Site is a place for the tripod.
type Site struct {
	Lat   float64 `toml:"lat"`              // degrees, north positive
	Lon   float64 `toml:"lon"`              // degrees, east positive
	Elev  float64 `toml:"elev"`             // metres
	Blind string  `toml:"blocks,omitempty"` // file that tells what blocks the sky
}

// Place returns the site as package place wants it.
func (s Site) Place() place.Site {
	return place.Site{Lat: sphere.Angle(s.Lat) * sphere.Degree, Lon: sphere.Angle(s.Lon) * sphere.Degree, Elev: s.Elev}
}

// Camera is a camera with its lens or telescope, and how it is used.
type Camera struct {
	Focal    float64 `toml:"focal_mm,omitzero"`
	Pixel    float64 `toml:"pixel_um,omitzero"`
	Width    int     `toml:"width_px,omitzero"`
	Height   int     `toml:"height_px,omitzero"`
	Exposure float64 `toml:"exposure_s,omitzero"`
	Trail    float64 `toml:"trail_px,omitzero"` // allowed trail; 1 when absent
	Guided   bool    `toml:"guided,omitempty"`
	// Corner is the angle from the guide star to the far corner of the frame,
	// or from the centre to the corner; half the diagonal when absent.
	Corner float64 `toml:"corner_deg,omitzero"`
	At     string  `toml:"at,omitempty"` // address of a camera that can be commanded
}

// Shot returns the camera's usual exposure for the reckoning of tolerances.
// ok is false when the file does not tell enough for one.
func (c Camera) Shot() (e drive.Exposure, ok bool) {
	e = drive.Exposure{Focal: c.Focal, Pixel: c.Pixel, Trail: c.Trail, Guided: c.Guided,
		Time: time.Duration(c.Exposure * float64(time.Second)), Corner: sphere.Angle(c.Corner) * sphere.Degree}
	if e.Trail == 0 {
		e.Trail = 1
	}
	if e.Focal == 0 || e.Pixel == 0 || e.Time == 0 {
		return e, false
	}
	if e.Corner == 0 {
		half := math.Hypot(float64(c.Width), float64(c.Height)) / 2
		scale := float64(e.Scale())
		e.Corner = optics.Taken(1/scale, half).Off(half * scale)
	}
	return e, e.Check() == nil
}

// Mount is an equatorial mount's pair of adjusters. Zero means not known.
type Mount struct {
	AltPerTurn float64 `toml:"alt_arcmin_per_turn,omitzero"`
	AltSense   string  `toml:"alt_clockwise,omitempty"` // "raises" or "lowers"
	AltMin     float64 `toml:"alt_min_deg,omitzero"`    // lowest and highest altitude the axis can take
	AltMax     float64 `toml:"alt_max_deg,omitzero"`
	AltMarks   float64 `toml:"alt_divisions,omitzero"` // marks on the knob, a turn
	AzPerTurn  float64 `toml:"az_arcmin_per_turn,omitzero"`
	AzSense    string  `toml:"az_clockwise,omitempty"` // "clockwise" or "counter-clockwise", seen from above
	AzRange    float64 `toml:"az_range_deg,omitzero"`  // from end to end, the middle of it straight ahead
	AzMarks    float64 `toml:"az_divisions,omitzero"`
	Scatter    float64 `toml:"scatter_arcsec,omitzero"` // of frames about one rotation, per axis; the journal tells it otherwise
	At         string  `toml:"at,omitempty"`            // address of a mount that can be commanded
}

// The senses: what turning the adjuster clockwise, seen facing its head, does
// to the axis.
const (
	Raises    = "raises"
	Lowers    = "lowers"
	Clockwise = "clockwise"
	Counter   = "counter-clockwise"
)

// Tolerance is the polar error that is good enough: a number of arcmin, or
// worked out from the camera and its exposure. The zero value means the
// program's default.
type Tolerance struct {
	Auto   bool
	Arcmin float64
}

// Pick returns what is called name among the things of one kind, or the
// default one when name is empty; with no default, the only one. ok is false
// when there is no such thing.
func Pick[T any](things map[string]T, name, usual string) (picked string, thing T, ok bool) {
	if name == "" {
		name = usual
	}
	if name == "" && len(things) == 1 {
		for name = range things {
		}
	}
	thing, ok = things[name]
	return name, thing, ok
}

// AutoTolerance returns the polar error, arcmin, that a camera's usual exposure
// allows whatever the target, and the camera's name; with no name given the
// default camera's. Its error is a *Fault.
func (g Gear) AutoTolerance(camera string) (arcmin float64, name string, err error) {
	name, c, found := Pick(g.Cameras, camera, g.Default.Camera)
	if !found {
		return 0, "", fault("", known(g.Names(KindCamera), "pintle gear add camera NAME --focal 400 --pixel 3.76 --exposure 180"),
			"the tolerance is to come from the camera, but which?")
	}
	e, usable := c.Shot()
	if !usable {
		return 0, "", fault("", "pintle gear add camera "+strconv.Quote(name)+" --replace --focal 400 --pixel 3.76 --exposure 180",
			"the tolerance is to come from camera %q, but its focal length, pixel size or exposure is not known", name)
	}
	return e.Worst(0).Arcminutes(), name, nil
}

// known lists names for a hint, or says how to make the first one.
func known(names []string, first string) string {
	if len(names) == 0 {
		return first
	}
	return "there is: " + strings.Join(names, ", ")
}
