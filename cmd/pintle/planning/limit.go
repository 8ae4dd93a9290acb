package planning

import (
	"time"

	"pintle/axis/drive"
	"pintle/axis/plan"
	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/targets"
	"pintle/index/sphere"
)

// Limits says how far the axis may be off.
type Limits struct {
	Exposure drive.Exposure
	Camera   string       // what the gear file calls it, "" when it does not
	Worst    sphere.Angle // allowed for any target: one on the equator
	Home     *Home        // nil when nobody says where

	// What a target allows on its longest stretch of the night, and the poles
	// there are for it; nil without a target.
	Target  *targets.Target
	Stretch *plan.Stretch
	Allowed *drive.Allowance
	Poles   []drive.PoleChoice

	Known *Known // nil when no error is known
}

// Known is a known error of the axis and what it does in one exposure, at its
// worst.
type Known struct {
	Alt, AzKnob sphere.Angle
	Sep         sphere.Angle // of axis and pole
	Measured    time.Time    // zero when the error is just given
	ForTarget   bool         // on the target's stretch; else any star, the whole day round
	Trail       float64      // the longest, px
	HA          sphere.Angle // hour angle at which that exposure starts
	Effect      drive.Effect
}

// LimitsOf says what an exposure allows for any target.
func LimitsOf(e drive.Exposure, camera string) *Limits {
	return &Limits{Exposure: e, Camera: camera, Worst: e.Worst(0)}
}

// For works out what a target allows tonight, and which pole serves. The home
// must be known.
func (l *Limits) For(t targets.Target, minAlt sphere.Angle) error {
	l.Target = &t
	s, ok, err := l.Home.Evening().Longest(t.Pos, minAlt)
	if err != nil {
		return advice.With(err, checkWhen)
	}
	if !ok {
		return &Impossible{Kind: NeverUp, Home: *l.Home, Target: t.Title(), MinAlt: minAlt}
	}
	s.From, s.To = s.From.In(l.Home.Zone), s.To.In(l.Home.Zone)
	l.Stretch = &s
	p, err := l.Home.Place(s.From.Add(s.To.Sub(s.From) / 2))
	if err != nil {
		return err
	}
	a := l.Exposure.Allowed(p.RefractedPole(), p.South(), s.Window)
	l.Allowed, l.Poles = &a, drive.Poles(p, s.Window)
	return nil
}

// Off works out what a known error does: to the target, or to a star on the
// equator, at its worst hour angle. The home must be known.
func (l *Limits) Off(alt, azKnob sphere.Angle) error {
	at := l.Home.At
	w := drive.Window{From: -180 * sphere.Degree, To: 180 * sphere.Degree}
	k := &Known{Alt: alt, AzKnob: azKnob}
	if l.Stretch != nil {
		at, w, k.ForTarget = l.Stretch.From, l.Stretch.Window, true
	}
	p, err := l.Home.Place(at)
	if err != nil {
		return err
	}
	d := drive.Off(p.RefractedPole(), alt, azKnob, p.South())
	k.Sep = d.Sep()
	k.Trail, k.HA = l.Exposure.WorstTrail(d, w)
	k.Effect = l.Exposure.Effect(d, k.HA, w.Dec)
	l.Known = k
	return nil
}

// AsMeasured is Off for the last record at this site.
func (l *Limits) AsMeasured(es []journal.Evening) error {
	for i := len(es) - 1; i >= 0; i-- {
		r := es[i].Last()
		if !r.Site.Near(l.Home.Site.Lat.Degrees(), l.Home.Site.Lon.Degrees()) {
			continue
		}
		err := l.Off(sphere.Angle(r.Offset.Alt)*sphere.Arcminute, sphere.Angle(r.Offset.AzKnob)*sphere.Arcminute)
		if err == nil {
			l.Known.Measured = r.Time
		}
		return err
	}
	return &Impossible{Kind: NeverMeasured, Home: *l.Home}
}
