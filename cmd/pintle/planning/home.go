// Package planning answers what is asked before the night's work: where to
// point for the smallest error of the axis, and how large that error may be. It
// knows a site and a time, and no photographs; it returns kinds with numbers.
package planning

import (
	"time"

	"pintle/axis/place"
	"pintle/axis/plan"
	"pintle/cmd/pintle/advice"
	"pintle/index/sphere"
)

// Home is where and when.
type Home struct {
	Site   place.Site
	Name   string // of the site; "" when it has none
	Blocks string // file of what blocks the sky; "" for none
	Air    place.Air
	Zone   *time.Location // in which times are told
	At     time.Time
	Given  bool // At was asked for, it is not just now
}

// Place prepares the sky at a time.
func (h *Home) Place(t time.Time) (*place.Place, error) {
	p, err := place.At(t, h.Site, h.Air)
	return p, advice.With(err, checkWhen)
}

// Evening is the night of the home's time.
func (h *Home) Evening() plan.Evening { return plan.Evening{Site: h.Site, Air: h.Air, At: h.At} }

// waitForDark moves the time to the first dark moment of tonight, unless it is
// dark now.
func (h *Home) waitForDark() error {
	t, ok, err := h.Evening().Dark()
	if err != nil {
		return advice.With(err, checkWhen)
	}
	if !ok {
		return &Impossible{Kind: NeverDark, Home: *h}
	}
	h.At = t.In(h.Zone)
	return nil
}

const checkWhen = "check --at and the site"

// Impossible is why there is no answer at this place and time.
type Impossible struct {
	Kind   ImpossibleKind
	Home   Home
	Sun    sphere.Angle // its altitude
	Target string
	MinAlt sphere.Angle
}

// ImpossibleKind is a kind of what is impossible.
type ImpossibleKind int

// The kinds.
const (
	NeverDark     ImpossibleKind = iota // it does not get dark tonight
	TooBright                           // Sun: no stars show at the time asked for
	NeverUp                             // Target is never as high as MinAlt tonight
	NeverMeasured                       // nothing was ever measured at this site
)

func (*Impossible) Error() string { return "not possible here and then" } // words say why
