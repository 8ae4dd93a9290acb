// Package night is an invented night: a mount out of true and what its camera
// sees. It serves for demonstration, for rehearsal and for measuring the
// program: everything follows from a Spec, the truth as well as the pixels.
//
// The chain from the ground to the picture is exact rotations, named from the
// target to the source:
//
//	localFromBase  the tripod, perhaps out of level
//	baseFromHead   the two adjusters: azimuth turns about the base's vertical,
//	               altitude about the horizontal axis that azimuth carries
//	Turn(z)        the RA axis
//	headFromCam    declination, cone error and roll of the camera
//
// The head's frame has z along the axis toward the elevated pole, y up and
// perpendicular to it, x to the left of someone looking along the axis: west
// on a northern mount, east on a southern one.
package night

import (
	"time"

	"pintle/axis/place"
	"pintle/index/optics"
	"pintle/index/sphere"
	"pintle/solve/render"
)

// Spec is what there is to know of a night.
type Spec struct {
	Name   string // of the invented place, printable ASCII
	Seed   uint64 // of noise, defects, faint stars and clouds
	Start  time.Time
	Site   place.Site
	Air    place.Air
	Sky    Sky
	Camera Camera
	Setup  Setup
	Frames []Frame
}

// Sky is what stands between the stars and the camera.
type Sky struct {
	Brightness float64 // V magnitude of a square arcsecond; 0 stands for no light at all
	DX, DY     float64 // gradient: change across the whole width and height, as a fraction
	Extinction float64 // magnitudes for one mass of air
	Cloud      float64 // share of the frame under patches of cloud, below 1
	// Skyline is the altitude under which the ground hides the sky.
	Skyline sphere.Angle
	// Scatter is by how many of its stated standard errors the list of stars
	// misses the true places: 1 is honest, 0 draws the list itself.
	Scatter float64
	// Faint adds invented stars where the list ends, in the numbers to expect
	// there. They keep their places from frame to frame.
	Faint bool
}

// Camera is optics and sensor.
type Camera struct {
	W, H     int           // pixels
	Pixel    float64       // micrometres
	Focal    float64       // mm, the true one
	Nominal  float64       // mm, the focal length that the header states; 0 leaves it out
	Aperture float64       // mm, clear diameter
	Exposure time.Duration // of every frame

	Law        optics.Law // of the lens, rectilinear when 0
	K1, K2     float64    // distortion, see optics.Lens
	OffX, OffY float64    // pixel of the optical axis minus the middle of the frame
	Mirrored   bool       // the picture shows the sky as a mirror does
	Vignette   float64    // fraction of light lost in the corner

	PSF     render.PSF // its Trail is not used: trails follow from the motion
	Sensor  render.Sensor
	Defects render.Defects
}

// Setup is how mount and camera were put up, before anything was turned.
type Setup struct {
	// ErrAlt and ErrAz are the axis minus the refracted pole: altitude, and the
	// plain difference of azimuth. Up and clockwise seen from above are positive.
	ErrAlt, ErrAz sphere.Angle
	// Lean is how far the base is out of level: its vertical leans away from the
	// zenith toward azimuth LeanAz. It does not change where the axis points at
	// first, only what the adjusters do.
	Lean, LeanAz sphere.Angle
	Dec          sphere.Angle // reading of the declination circle, north positive
	// Cone is the angle by which the camera misses the perpendicular to the
	// declination axis, toward west when it looks at the meridian.
	Cone sphere.Angle
	// Roll is the position angle of the picture's up, decreasing row, from north
	// through east by the circles of the mount.
	Roll     sphere.Angle
	Tracking bool // the motor runs from Start on
	// Worm is the amplitude of the drive's periodic error, as an angle of the RA
	// axis, and Period its time, 0 for none.
	Worm   sphere.Angle
	Period time.Duration

	// Shake turns each frame on its own, as wind, gears and the air's slow part
	// do: the standard deviation about each of the camera's axes.
	Shake sphere.Angle
	// Sag is by how much the camera droops where it looks level; higher up it is
	// that times the sine of the zenith distance.
	Sag sphere.Angle
}

// Frame is one photograph of the night.
type Frame struct {
	At time.Duration // from Start to the start of the exposure
	Pose
	Motion Motion
}

// Motion is what moves while the shutter is open, besides motor and sky: evenly from a
// moment of the exposure to its end. A camera that swings about its place is one whose
// pose is set back by half of that.
type Motion struct {
	Turn, Dec sphere.Angle // of the axes by the end, as in Pose
	From      float64      // when it begins, as a share of the exposure, below 1
}

// by returns how much of the motion is done at a share of the exposure.
func (m Motion) by(share float64) sphere.Angle {
	return sphere.Angle(max(0, (share-m.From)/(1-m.From)))
}

// Pose is how far everything has been moved by hand since the start.
type Pose struct {
	// Turn is the RA axis, right-handed about the end of the axis that lies
	// toward the elevated pole: counter-clockwise for someone who looks from the
	// pole down the axis at the mount. 0 looks at the meridian above the pole,
	// positive to the east of it in the north, to the west in the south. What the
	// motor does comes on top.
	Turn sphere.Angle
	Alt  sphere.Angle // altitude adjuster, raising is positive
	Az   sphere.Angle // azimuth adjuster, clockwise seen from above is positive

	// What should not happen while the axis is measured and adjusted.
	Dec          sphere.Angle // the declination axis, north positive
	Roll         sphere.Angle // the camera in its holder, picture's up from north toward east
	Sink, SinkAz sphere.Angle // the base has tipped by Sink toward azimuth SinkAz
}
