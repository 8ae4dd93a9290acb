package frame

import (
	"errors"
	"time"

	"pintle/index/sphere"
)

// MaxPixels is the largest picture that is read, in pixels. It is checked
// against what a file claims before anything is allocated.
const MaxPixels = 400_000_000

// Kinds of failure. Every error of Read wraps one of these or an error of the
// file system.
var (
	// ErrFormat is a file that is not a picture of a known kind.
	ErrFormat = errors.New("not a picture of a known kind")
	// ErrDamaged is a file that is truncated or contradicts itself.
	ErrDamaged = errors.New("damaged file")
	// ErrTooLarge is a file that claims more pixels than MaxPixels, or more
	// than its bytes can hold.
	ErrTooLarge = errors.New("too large")
	// ErrUnsupported is a known kind of file that uses something not read here.
	ErrUnsupported = errors.New("not supported")
)

// Frame is a photograph: its pixels, and what its file says of time, site and
// optics.
type Frame struct {
	Image  Image
	Name   string // base name of the file
	Format string // "FITS", "JPEG", ...
	Time   Time
	// Site is nil when the file does not say where it was taken.
	Site *Site
	// SiteErr says why what the file says of the site was refused, else nil.
	SiteErr *SiteError
	Optics  Optics
	// Camera is what the file calls the camera, foreign text; "" when it does not.
	Camera string
	// Exposure is zero when unknown.
	Exposure time.Duration
	// Stars is set instead of pixels when the frame was given as a star list,
	// in the order of the list.
	Stars []Star
	// Notes are warnings to be shown with the answer.
	Notes []string
	// Hash is a fingerprint of the pixels or of the star list. Equal hashes
	// mean the same picture given twice, whatever its name and header. It is
	// comparable within one run of one build only.
	Hash uint64
}

// Time is the middle of the exposure and where it came from.
type Time struct {
	// Mid is the middle of the exposure, UTC; zero when unknown.
	Mid time.Time
	// Source says in plain words where Mid came from.
	Source string
	// Doubtful is set when the zone of the clock was guessed or the time is
	// that of the file itself. Differences between frames of one camera are
	// then still good; the time of day may be hours off.
	Doubtful bool
	// Zone is how far ahead of UTC the file's EXIF block says that its clock is,
	// east positive; nil when it does not say, or Mid comes from elsewhere.
	Zone *time.Duration
	// Err says why the time the file states was refused, else nil. Mid is
	// then zero: a stated but impossible time is not replaced by a weaker one.
	Err error
}

// Site is a place on the ground: geodetic latitude, longitude east-positive,
// elevation in metres above sea level.
type Site struct {
	Lat, Lon sphere.Angle
	Elev     float64
	Source   string
}

// Optics is a hint of the scale and nothing more.
type Optics struct {
	Scale  sphere.Angle // per pixel at the centre, 0 unknown
	Source string
}

// Star is an entry of a frame that was given as a star list. X and Y are in
// pixels: (0, 0) is the centre of the first pixel of the first row.
type Star struct{ X, Y, Flux float64 }

// Options say what the file may not.
type Options struct {
	// At, when not zero, is the time of all frames, whatever the files say.
	At time.Time
	// TimeZone is the zone of clocks that do not state one, or nil.
	TimeZone *time.Location
	// Exposure, when not zero, goes before the exposure in the file.
	Exposure time.Duration
}

func (f *Frame) note(s string) { f.Notes = append(f.Notes, s) }
