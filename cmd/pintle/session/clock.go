package session

import (
	"slices"
	"time"

	"pintle/axis"
)

// Limits of what is said of a camera's clock beside the computer's (no source).
const (
	// ahead is more than two clocks differ that somebody has set, and less than the
	// least step of time zones.
	ahead = 10 * time.Minute
	// zones is how far two zones are apart at most (UTC-12 and UTC+14): a camera that is
	// ahead by less may be set to the wrong one, which turns the answer by up to half a
	// circle. One that is days ahead is beside a computer whose clock stood still as
	// often, so that is a note.
	zones = 26 * time.Hour
	// justWritten is how old a file is that came as it was read; one that was copied
	// from a card may be as fresh, so no more than a note can follow from it.
	justWritten = time.Minute
	// notToday is how old photographs are that are not of this night.
	notToday = 24 * time.Hour
	// notThisYear is how old they are when, as likely as not, the clock went back to
	// the year in which the camera was made.
	notThisYear = 366 * 24 * time.Hour
	// overlapping is how far exposures may overlap: the sky turns by a quarter of a
	// degree meanwhile.
	overlapping = time.Minute
)

// pretended is what the frames of an invented night call their camera: nothing was
// photographed, and no clock is wrong.
const pretended = "simulated camera"

// clockFar holds the times of frames against the computer's clock when they were read,
// and names the first that cannot be of this night. The stars know the time of day, as
// far as they know it, but not the year.
func clockFar(frames []*Frame) (out []Note) {
	for _, f := range frames {
		if !f.In() || f.Seen.IsZero() || f.Read.Camera == pretended {
			continue
		}
		gap := f.Time().Sub(f.Seen)
		if gap > ahead || gap < -notToday {
			return []Note{{Kind: ClockFar, Frame: f.Name, Gap: gap}}
		}
		late := f.Mod.Sub(f.Time().Add(f.Read.Exposure / 2))
		if fresh := f.Seen.Sub(f.Mod); fresh >= 0 && fresh < justWritten && late > ahead {
			return []Note{{Kind: WrittenLate, Frame: f.Name, Gap: late}}
		}
	}
	return nil
}

// stepped names the first two frames, of those that take part, that lie too far apart
// for one measurement: where there is no answer, that may be why.
func stepped(frames []*Frame) []Note {
	var last *Frame
	for _, f := range inOrder(frames) {
		if last != nil && f.Time().Sub(last.Time()) > jump {
			c := axis.Contradiction{Kind: axis.ClockJumped, Names: []string{last.Name, f.Name}, Gap: f.Time().Sub(last.Time())}
			return []Note{{Kind: Contradicts, Contradiction: &c}}
		}
		last = f
	}
	return nil
}

// inOrder are the frames that take part, by their times.
func inOrder(frames []*Frame) []*Frame {
	out := slices.DeleteFunc(slices.Clone(frames), func(f *Frame) bool { return !f.In() || f.Read == nil })
	slices.SortStableFunc(out, func(a, b *Frame) int { return a.Time().Compare(b.Time()) })
	return out
}

// overlap names the first two frames that take part and cannot both have been exposed
// when they say, the one before them included.
func (s *Session) overlap(frames []*Frame) (out []Note) {
	for _, f := range inOrder(frames) {
		if b := s.before; b != nil && out == nil {
			gap := f.Time().Sub(b.Time())
			if both := (f.Read.Exposure + b.Read.Exposure) / 2; gap >= 0 && both-gap > overlapping {
				out = []Note{{Kind: ExposuresOverlap, Frame: f.Name, Other: b.Name, Gap: both - gap}}
			}
		}
		s.before = f
	}
	return out
}
