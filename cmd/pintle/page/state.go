// Package page shows the adjustment of a mount in a browser: a page embedded in
// the program, a stream of what there is to show, and who may see it.
//
// It computes nothing: a State is shown as it is.
package page

import (
	"fmt"
	"time"

	"pintle/cmd/pintle/session"
	"pintle/index/written"
)

// State is everything a viewer shows. Angles have their unit in the name.
type State struct {
	Seq       int    `json:"seq"`
	Phase     string `json:"phase"`     // "measure" or "adjust"
	Simulated bool   `json:"simulated"` // nothing here was photographed

	// The last frame.
	Frame     string  `json:"frame"`
	Time      string  `json:"time"`  // middle of its exposure, UTC
	Clock     string  `json:"clock"` // the same in the zone of the person
	Solved    bool    `json:"solved"`
	Brief     string  `json:"brief"`  // why not, in a few words
	Reason    string  `json:"reason"` // the same with all details
	ElapsedMS float64 `json:"elapsed_ms"`
	Count     int     `json:"frames"`    // taken up so far
	Sightings int     `json:"sightings"` // the measurement rests on so many

	// The answer; Offset is nil while there is none.
	Offset    *Parts  `json:"offset_arcmin"`
	Sigma     *Parts  `json:"sigma_arcmin"`
	Moves     []Move  `json:"moves"`
	OffBy     string  `json:"off_by"`   // the total, in words
	Plus      string  `json:"off_plus"` // its standard error, in words
	Tolerance float64 `json:"tolerance_arcmin"`
	Allowed   string  `json:"allowed"` // the same, with no more digits than it needs
	Within    bool    `json:"within_tolerance"`
	// Old is true when the answer is not from the last frame; Since is the name
	// of the frame it is from.
	Old   bool   `json:"old"`
	Since string `json:"since"`
	// Doubts stand above the arrows; Refusal says why there is no answer.
	Doubts  []string `json:"doubts"`
	Refusal string   `json:"refusal"`

	Next   string   `json:"next"`   // what to do, one sentence
	Spoken string   `json:"spoken"` // what the voice says
	Notes  []string `json:"notes"`
	Offer  string   `json:"offer"` // an earlier run that can be resumed, or ""

	// Where the mount stands, which pole is aimed at and where times come from, each
	// with its source. Asks is true while nobody has said where.
	Site       string `json:"site"`
	Pole       string `json:"pole"`
	TimeSource string `json:"time_source"`
	Viewpoint  string `json:"viewpoint"` // from where left and right are seen
	Asks       bool   `json:"asks"`

	Trail   []Point  `json:"trail"`
	Ellipse *Ellipse `json:"ellipse"`

	// The last frame as a picture; its number changes with it.
	Picture int          `json:"picture"`
	Wide    int          `json:"wide"` // pixels of the frame
	High    int          `json:"high"`
	Marks   [][2]float64 `json:"marks"` // matched stars, pixels of the frame, the brightest
	Stars   int          `json:"stars"` // matched in all

	Muted bool `json:"muted"` // sound is off everywhere

	// Rehearsal, when Simulated: how the pretended mount stands.
	Mount *Mount `json:"mount,omitempty"`

	// Hands, when a camera or a mount is commanded.
	Hands *Hands `json:"hands,omitempty"`
	// Evening is the version of GET api/v1/evening, where there is one.
	Evening uint64 `json:"evening,omitempty"`

	// AgeMS is how long ago the answer was made when the state was sent.
	AgeMS int64 `json:"age_ms"`
	// Resumed is when the answer of a run that goes on was made, zero for others.
	Resumed time.Time `json:"-"`
}

// Parts are the parts of an offset or of its standard error.
type Parts struct {
	Alt    float64 `json:"alt"`
	AzKnob float64 `json:"az_knob"`
	AzSky  float64 `json:"az_sky"`
	Total  float64 `json:"total"`
}

// Move is what one adjuster must do.
type Move struct {
	Adjuster  string  `json:"adjuster"`  // "altitude" or "azimuth"
	Direction string  `json:"direction"` // "raise", "lower", "clockwise" or "counter-clockwise"
	Way       string  `json:"way"`       // of the axis: "up", "down", "left" or "right"
	Arcmin    float64 `json:"arcmin"`
	Amount    string  `json:"amount"` // the same, with no more digits than one can follow
	Hand      string  `json:"hand"`   // what the hand must do, a sentence
	// Turns of the adjuster, 0 when it is not known how far one turn goes; Sense
	// is the way to turn it, "" when not known.
	Turns float64 `json:"turns,omitempty"`
	Sense string  `json:"sense,omitempty"`
	// Here is true for the adjuster that was turned last; Done when its share is
	// so small that the total can be within the tolerance.
	Here bool `json:"here,omitempty"`
	Done bool `json:"done,omitempty"`
}

// Point is a place of the axis relative to the pole, arcmin on the sky: altitude,
// and azimuth clockwise.
type Point struct {
	Alt float64 `json:"alt"`
	Az  float64 `json:"az"`
}

// Ellipse is the standard error of the last point: half axes in arcmin, and the
// angle of the larger one from the azimuth axis toward altitude, degrees.
type Ellipse struct {
	Major float64 `json:"major"`
	Minor float64 `json:"minor"`
	Angle float64 `json:"angle_deg"`
}

// Mount is the pretended mount of a rehearsal.
type Mount struct {
	Turn     float64 `json:"turn_deg"` // RA by hand
	Alt      float64 `json:"alt_arcmin"`
	Az       float64 `json:"az_arcmin"`
	Tracking bool    `json:"tracking"`
	Cloud    bool    `json:"cloud"`
}

// asked is an action that a viewer may ask for.
type asked struct {
	// read reads its value as the command line reads its own; nil when it has none.
	read func(string) (float64, error)
	// rehearsed is true for what only a rehearsal can do.
	rehearsed bool
}

var actions = map[session.ActionName]asked{
	session.Fresh:     {},
	session.Tolerance: {read: written.Tolerance.Parse},
	session.Mute:      {read: onOff},
	session.ResumeRun: {},
	session.HandRA:    {written.Span("turn in RA", -180, 180, false).Parse, true},
	session.HandAlt:   {written.Small("turn in altitude", -600, 600).Parse, true},
	session.HandAz:    {written.Small("turn in azimuth", -600, 600).Parse, true},
	session.Tracking:  {onOff, true},
	session.Cloud:     {onOff, true},
	session.Stop:      {},
	session.GoOn:      {},
	session.Agree:     {read: number},
	session.Decline:   {read: number},
}

// onOff reads 1 or 0.
func onOff(s string) (float64, error) {
	if s != "0" && s != "1" {
		return 0, fmt.Errorf("value %.20q, 1 or 0 is needed", s)
	}
	return float64(s[0] - '0'), nil
}
