package session

import (
	"slices"
	"time"

	"pintle/axis"
	"pintle/index/sphere"
)

// Every check on an answer stands in this file, whichever way the frames came.

// Limits (common practice, no source).
const (
	lowest    = -0.5 * sphere.Degree   // a frame's middle: refraction lifts a setting star by as much
	clockGap  = 3 * time.Hour          // between two frames of one measurement
	clockSame = 200 * time.Millisecond // hardly time to turn a mount
	turnedFor = 1 * sphere.Degree      // and this much was turned in it
	poleward  = 1 * sphere.Degree      // nearer to the equator a sign of the latitude says nothing
)

// impossible says why a sighting cannot have been taken where and when it is
// said to be: an axis worked out all the same would be worse than none.
func impossible(s *axis.Sighting) *Refusal {
	_, alt := s.Place.Observed(sphere.SkyVec(s.SkyFromCam.Apply(s.Lens.Cam(float64(s.W-1)/2, float64(s.H-1)/2).Vec()))).AzAlt()
	if alt < lowest {
		return &Refusal{Kind: BelowHorizon, Frame: s.Name, Angle: alt}
	}
	if _, sun := s.Place.Sun().Seen.AzAlt(); sun > 0 {
		return &Refusal{Kind: Daylight, Frame: s.Name, Angle: sun}
	}
	return nil
}

// contradicted looks for frames whose headers state another site than the one in
// use: another hemisphere is a refusal, unless the person has said that the
// headers are wrong; elsewhere is a doubt.
func (s *Setting) contradicted(frames []*Frame, headerWrong bool) (*Refusal, []Note) {
	if s.SiteSource.Kind == FromHeader || !s.Settled {
		return nil, nil
	}
	for _, f := range frames {
		if f.siteTold() == nil {
			continue
		}
		there := placeOf(f)
		d := apart(there, s.Site)
		if d <= farApart {
			continue
		}
		opposite := there.Lat*s.Site.Lat < 0 && there.Lat.Abs() > poleward && s.Site.Lat.Abs() > poleward
		if opposite && !headerWrong {
			return &Refusal{Kind: OtherPole, Frame: f.Name, Source: s.SiteSource, Angle: there.Lat}, nil
		}
		return nil, []Note{{Kind: HeaderSays, Frame: f.Name, Source: s.SiteSource, Angle: d}}
	}
	return nil, nil
}

// timeDoubts names frames whose time was guessed.
func timeDoubts(frames []*Frame) []Note {
	for _, f := range frames {
		if f.In() && f.Read != nil && f.Read.Time.Doubtful {
			return []Note{{Kind: TimeGuessed, Frame: f.Name, Text: f.Read.Time.Source}}
		}
	}
	return nil
}

// clockDoubts names pairs of frames between which the clock stood still while
// the mount turned, or jumped. The fit cannot see it: a wrong clock turns the
// whole sky about the pole, axis and all.
func clockDoubts(r *axis.Result, oneTime bool) (out []Note) {
	var used []*axis.FrameFit
	for i := range r.Frames {
		if r.Frames[i].Used {
			used = append(used, &r.Frames[i])
		}
	}
	slices.SortStableFunc(used, func(a, b *axis.FrameFit) int { return a.Time.Compare(b.Time) })
	for i := 1; i < len(used); i++ {
		a, b := used[i-1], used[i]
		turn := (b.Turn - a.Turn).Wrap().Abs()
		switch gap := b.Time.Sub(a.Time); {
		case gap > clockGap:
			out = append(out, Note{Kind: ClockGap, Frame: b.Name, Other: a.Name, Gap: gap})
		case gap < clockSame && turn > turnedFor && !oneTime:
			out = append(out, Note{Kind: ClockStood, Frame: b.Name, Other: a.Name, Angle: turn})
		}
	}
	return out
}

// answerNotes are what there is to say of the engine's answer.
func (e *engine) answerNotes() (out []Note) {
	a := e.answer
	if a == nil {
		return nil
	}
	for i := range e.warnings {
		out = append(out, Note{Kind: FitWarning, Warning: &e.warnings[i]})
	}
	if a.Result != nil {
		out = append(out, clockDoubts(a.Result, e.setting.OneTime)...)
	}
	if a.Offset.NearZenith {
		out = append(out, Note{Kind: NearZenith})
	}
	switch {
	case e.mustAgain():
		out = append(out, Note{Kind: MeasureAnew, Advice: e.advice})
	case a.Offset.Err.Total > e.setting.Tolerance && a.Offset.Total < e.setting.Tolerance+4*a.Offset.Err.Total:
		out = append(out, Note{Kind: Unsure, Angle: a.Offset.Err.Total})
	}
	if e.touched != nil && e.touched.Touched != 0 {
		out = append(out, Note{Kind: Touched, Seen: e.touched})
	}
	return out
}

// mustAgain reports whether something besides RA and the adjusters moved, it is
// not clear what did, or the axis is no longer known well enough.
func (e *engine) mustAgain() bool {
	switch e.advice {
	case axis.NoNeed:
		return false
	case axis.Rough:
		return e.adjusted
	}
	return true
}
