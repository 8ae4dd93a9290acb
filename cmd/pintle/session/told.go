package session

import (
	"time"

	"pintle/axis"
	"pintle/axis/place"
	"pintle/cmd/pintle/targets"
	"pintle/index/sphere"
	"pintle/solve/frame"
)

// Told is what the person said, on the command line or on the page. The zero
// value of a field means that nothing was said of it.
type Told struct {
	// Site is a place in latitude and longitude; SiteName one of the gear file's.
	// Elev, metres, goes with a site that comes from elsewhere.
	Site     *place.Site
	SiteName string
	Elev     *float64
	// HeaderWrong says that the sites in the frames' headers are wrong, and that
	// what is told here holds even where the two lie in different hemispheres.
	HeaderWrong bool
	// What the air is like; Humidity is from 0 to 1, Pressure 0 stands for no air.
	Pressure, Temp, Humidity *float64 // hPa, degrees Celsius

	Frames frame.Options // time, zone and exposure where files do not say

	Pole   axis.PoleKind
	King   *KingWish // King's pole, in place of Pole
	Mount  string    // of the gear file
	Camera string    // of the gear file; Auto goes by it
	// Tolerance in arcmin, or Auto: what the camera's exposures allow.
	Tolerance *float64
	Auto      bool
	// AltPerTurn and AzPerTurn are arcmin for a turn of an adjuster.
	AltPerTurn, AzPerTurn float64
	Note                  string // to keep with the measurement
}

// KingWish asks for the pole at which refraction drives a target least.
type KingWish struct {
	Target targets.Target
	MinAlt sphere.Angle
}

// Source says where a part of the setting comes from.
type Source struct {
	Kind SourceKind
	Name string // of the frame, the header card, the thing of the gear file
	Text string // what the file calls it
}

// SourceKind is a kind of source.
type SourceKind int

// The kinds of source, from the strongest.
const (
	NoSource    SourceKind = iota
	FromPerson             // said now, on the command line or on the page
	FromHeader             // the header of frame Name, in words of the reader: Text
	FromGear               // the thing called Name in the gear file
	FromCamera             // worked out for the camera called Name
	Partly                 // said in part, the rest assumed
	Assumed                // what is usual
	NoAir                  // no refraction was asked for
	FromEarlier            // the run that is resumed
)

// zone returns the zone in which times are told: the one told, else the
// computer's.
func (t *Told) zone(now time.Time) *time.Location {
	if t.Frames.TimeZone != nil {
		return t.Frames.TimeZone
	}
	return now.Location()
}
