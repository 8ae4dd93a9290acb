// Package page shows the adjustment of a mount in a browser: a page embedded in
// the program, a stream of what there is to show, and who may see it.
//
// It computes nothing: a State is shown as it is.
package page

// State is everything a viewer shows. Angles have their unit in the name.
type State struct {
	Seq       int    `json:"seq"`
	Phase     string `json:"phase"`     // "measure" or "adjust"
	Simulated bool   `json:"simulated"` // nothing here was photographed

	// The last frame.
	Frame     string  `json:"frame"`
	Time      string  `json:"time"` // middle of its exposure, UTC
	Solved    bool    `json:"solved"`
	Reason    string  `json:"reason"` // why not
	ElapsedMS float64 `json:"elapsed_ms"`
	Count     int     `json:"frames"`    // taken up so far
	Sightings int     `json:"sightings"` // the measurement rests on so many

	// The answer; Offset is nil while there is none.
	Offset    *Parts  `json:"offset_arcmin"`
	Sigma     *Parts  `json:"sigma_arcmin"`
	Moves     []Move  `json:"moves"`
	Tolerance float64 `json:"tolerance_arcmin"`
	Within    bool    `json:"within_tolerance"`
	// Old is true when the answer is not from the last frame; Since is the name
	// of the frame it is from.
	Old   bool   `json:"old"`
	Since string `json:"since"`
	// Doubt is true when something besides the adjusters moved, or the answer has
	// become too uncertain: measure anew.
	Doubt bool `json:"doubt"`

	Next  string `json:"next"` // what to do, one sentence
	Note  string `json:"note"`
	Offer string `json:"offer"` // an earlier run that can be resumed, or ""

	Trail   []Point  `json:"trail"`
	Ellipse *Ellipse `json:"ellipse"`

	// The last frame as a picture; its number changes with it.
	Picture int          `json:"picture"`
	Wide    int          `json:"wide"` // pixels of the frame
	High    int          `json:"high"`
	Marks   [][2]float64 `json:"marks"` // matched stars, pixels of the frame

	Muted bool `json:"muted"` // sound is off everywhere

	// Rehearsal, when Simulated: how the pretended mount stands.
	Mount *Mount `json:"mount,omitempty"`

	// At is when the answer was made, AgeMS how long ago that was when the state
	// was sent.
	AgeMS int64 `json:"age_ms"`
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
	Arcmin    float64 `json:"arcmin"`
	Sigma     float64 `json:"sigma_arcmin"`
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

// Action is something a viewer asked for.
type Action struct {
	Name  string
	Value float64
}

// Actions a viewer may ask for. The last ones are of rehearsal only.
const (
	Fresh     = "fresh"     // a new measurement
	Tolerance = "tolerance" // arcmin
	Mute      = "mute"      // 1 on, 0 off
	Resume    = "resume"    // what Offer offers
	TurnRA    = "turn-ra"   // degrees
	TurnAlt   = "turn-alt"  // arcmin, up positive
	TurnAz    = "turn-az"   // arcmin, clockwise positive
	Tracking  = "tracking"  // 1 on, 0 off
	Cloud     = "cloud"     // 1 on, 0 off
)

// limits of the values of each action.
var limits = map[string][2]float64{
	Fresh: {0, 0}, Tolerance: {0.05, 600}, Mute: {0, 1}, Resume: {0, 0},
	TurnRA: {-180, 180}, TurnAlt: {-600, 600}, TurnAz: {-600, 600}, Tracking: {0, 1}, Cloud: {0, 1},
}
