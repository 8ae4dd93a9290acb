package session

import (
	"context"
	"errors"
	"math"
	"time"

	"pintle/axis"
	"pintle/axis/place"
	"pintle/index/sphere"
	"pintle/solve"
	"pintle/solve/detect"
	"pintle/solve/frame"
)

// Frame is a photograph on its way from file to sighting.
type Frame struct {
	Path string
	// TakenBy is the camera that the program took it with, "" when it was not its own.
	TakenBy string
	Name    string // the base name of Path, and folders where that tells frames apart
	Mod     time.Time
	Seen    time.Time // by the computer's clock, when it was read; zero when nobody looked
	// Read is what the file says, its pixels dropped once the stars are found; nil
	// when it could not be read.
	Read     *frame.Frame
	Field    *detect.Field
	Look     Look // how its stars are to be looked for
	Solution *solve.Solution
	// Sighting is what goes into the fit; nil when Miss says why not.
	Sighting *axis.Sighting
	Miss     *Miss
	Notes    []string // of the reader, foreign text among them
	Elapsed  time.Duration
	// Picture draws the frame small, nil when nobody wants it.
	Picture func() []byte
	// Turned is by how much the mount had turned about its axis since the first
	// frame of the measurement; right-handed about the axis.
	Turned sphere.Angle
}

// Look is how far, and where first, the stars of a frame are looked for.
type Look struct {
	Effort solve.Effort
	// At is where the middle of the frame must be, good to Within; nil when the mount
	// does not tell.
	At     *sphere.Sky
	Within sphere.Angle
	// Hold is that of [solve.Options].
	Hold func(ctx context.Context)
}

// Time is the middle of the exposure; zero when it is not known.
func (f *Frame) Time() time.Time {
	if f.Read == nil {
		return time.Time{}
	}
	return f.Read.Time.Mid
}

// In reports whether the frame takes part.
func (f *Frame) In() bool { return f.Sighting != nil && f.Miss == nil }

// Miss says why a frame does not take part.
type Miss struct {
	Kind  MissKind
	Err   error         // the reader's, the solver's or the fit's own
	Other string        // the frame it disagrees with
	Apart sphere.Angle  // two sites
	Gap   time.Duration // two times
}

// MissKind is a kind of reason for which a frame does not take part.
type MissKind int

// The reasons.
const (
	Unreadable  MissKind = iota // Err: damaged, not supported, or the file system's
	NoPicture                   // it is no photograph
	Unsolved                    // Err says what the solver missed
	NoTime                      // the file does not say when it was taken
	BadTime                     // Err: what it says of the time is impossible
	SamePicture                 // as Other
	SameShot                    // Other is the same photograph in another format
	OtherSite                   // its header states a site Apart from the others'
	BadSite                     // Err: what its header says of the site is impossible
	NoSite                      // nobody says where it was taken
	OtherNight                  // taken Gap from the others
	OldTime                     // its time lies Gap before that of Other, taken up earlier
	FarTime                     // its time lies Gap after that of Other, taken up earlier
	Misfit                      // Err: it cannot be of this camera, or cannot be followed
)

func (f *Frame) miss(m Miss) { f.Miss, f.Sighting = &m, nil }

// mayBeFar reports whether the frame was not found because it was not looked for
// everywhere.
func (f *Frame) mayBeFar() bool {
	var un *solve.Unsolved
	return f.Miss != nil && errors.As(f.Miss.Err, &un) && un.Bounded
}

// siteTold returns the site that the frame's header states.
func (f *Frame) siteTold() *frame.Site {
	if f.Read == nil {
		return nil
	}
	return f.Read.Site
}

// placed makes the sighting of a solved frame, as seen from the setting's site.
func (f *Frame) placed(s *Setting) {
	if f.Miss != nil || f.Solution == nil {
		return
	}
	p, err := place.At(f.Time(), s.Site, s.Air)
	if err != nil {
		f.miss(Miss{Kind: BadTime, Err: err})
		return
	}
	sg := axis.Sighting{
		Name: f.Name, Key: f.Path, Time: f.Time(), Place: p, W: f.Field.W, H: f.Field.H,
		Lens: f.Solution.Lens, SkyFromCam: f.Solution.CamFromSky.Inv(),
	}
	for _, m := range f.Solution.Matches {
		d := f.Field.Stars[m.Detected]
		sg.Matches = append(sg.Matches, axis.Match{
			X: d.X, Y: d.Y, Err: math.Sqrt((d.ErrX*d.ErrX + d.ErrY*d.ErrY) / 2),
			Sky: m.Star.Pos, CatErr: m.Star.Err,
		})
	}
	f.Sighting = &sg
}
