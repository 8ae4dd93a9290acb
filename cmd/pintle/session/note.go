package session

import (
	"time"

	"pintle/axis"
	"pintle/cmd/pintle/series"
	"pintle/index/sphere"
)

// Note is something that goes with an answer, or with the want of one.
type Note struct {
	Kind          NoteKind
	Warning       *axis.Warning       // of FitWarning
	Contradiction *axis.Contradiction // of Contradicts
	Doubt         *axis.SiteDoubt     // of OtherFits
	Seen          *axis.Seen          // of Touched
	Advice        axis.Advice         // of MeasureAnew
	Finding       *series.Finding     // of StarsShow
	Adjuster      axis.Adjuster       // of BeyondAdjuster
	Frame         string
	Other         string
	Angle         sphere.Angle
	Gap           time.Duration
	Share         [2]sphere.Angle // a range
	Text          string          // not ours: of a file
	Frames        []string
	Lat, Lon      bool
	Source        Source
	Err           error
}

// NoteKind is a kind of note.
type NoteKind int

// The kinds, and what of a Note they use.
const (
	FitWarning       NoteKind = iota // Warning: what the fit found
	NearZenith                       // the pole stands so high that azimuth means little
	Contradicts                      // Contradiction: what was told, what files state and what frames show
	SiteMirrored                     // the site, of Source, is Other of the gear file but for the sign of Lat or Lon
	TimeGuessed                      // the time of Frame is the file's own, or its zone was guessed
	ClockFar                         // Frame was taken Gap after the computer's present, by its time; before it when negative
	WrittenLate                      // the file of Frame was written Gap after the end of its exposure, by its time
	ExposuresOverlap                 // those of Other and Frame, by Gap
	Unsure                           // the answer is uncertain by Angle, too much for the tolerance
	MeasureAnew                      // Advice
	Touched                          // Seen: what was turned between the last two frames
	OfFile                           // Text: what the reader says of Frame
	OtherFits                        // Doubt: the stars fit another site or clock better
	NotKept                          // Err: the journal cannot be written
	GearLeftOut                      // Err: the gear file cannot be read; it is not needed
	ClockMoved                       // the clock moved by Gap between Other and Frame; the measurement begins anew
	Begun                            // a new measurement was asked for
	Resumed                          // an earlier run goes on
	NotResumed                       // Err: why an earlier run does not
	FolderGone                       // the folder is gone
	FolderBack                       // it is back
	AgainSeen                        // Frame is the same picture as Other
	BuildingIndex                    // patterns of Share, degrees, are being built
	LongSearch                       // the solver's last search runs
	LooksFar                         // Frame is not where it must be, and looked for elsewhere
	PassedOver                       // Frames were passed over for newer ones: not looked at, or not to the end
	NotDone                          // Err: an action that was asked for
	FolderTooDeep                    // Text: the first folder that lies too deep to be watched
	FolderTooMany                    // Text: the first folder beyond those that are watched
	StarsShow                        // Finding: what the look of the stars tells of air, optics and mount
)

// Doubtful reports whether the note makes the answer doubtful: such notes stand
// above the arrows.
func (n Note) Doubtful() bool {
	switch n.Kind {
	case Unsure, MeasureAnew, OtherFits, SiteMirrored, TimeGuessed, ExposuresOverlap:
		return true
	case ClockFar:
		return n.Gap.Abs() > notThisYear || n.Gap > 0 && n.Gap <= zones
	case Contradicts:
		return n.Contradiction.Kind != axis.SitesDiffer && n.Contradiction.Kind != axis.OneTimeTold
	case FitWarning:
		switch n.Warning.Kind {
		case axis.Disagree, axis.CameraShifted, axis.Bends, axis.FarAxis, axis.SmallTurn, axis.MountMoved:
			return true
		case axis.Flops: // or the camera is loose
			return !n.Warning.Certain()
		}
	}
	return false
}

// mendable reports whether a new measurement could end the doubt: it cannot set a
// camera's clock or its zone, nor move the mount.
func (n Note) mendable() bool {
	switch n.Kind {
	case SiteMirrored, TimeGuessed, ClockFar, ExposuresOverlap:
		return false
	}
	return n.Kind != Contradicts || n.Contradiction.Kind != axis.ZoneFar
}

// Refusal says why there is no answer.
type Refusal struct {
	Kind    RefusalKind
	Frame   string
	Other   string
	Angle   sphere.Angle
	Count   int
	Of      int
	Weak    *axis.WeakError
	Warning *axis.Warning
	Doubt   *axis.SiteDoubt
	Source  Source
	Err     error
}

// RefusalKind is a kind of reason for no answer.
type RefusalKind int

// The reasons.
const (
	TooFew        RefusalKind = iota // Count of Of frames can be used
	WeakGeometry                     // Weak: the frames do not say where the axis is
	OtherPole                        // the header of Frame states the other hemisphere than Source does
	StarsRefuse                      // Doubt: it cannot have been seen from there at that time
	FrameNeeded                      // Frame does not take part, and every frame is needed
	NoFit                            // Err: the frames cannot be fitted together
	DeviceScatter                    // Warning: frames turned by a device scatter beyond their errors
)
