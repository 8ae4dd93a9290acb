package session

import (
	"pintle/axis"
	"pintle/cmd/pintle/gear"
	"pintle/index/sphere"
)

// Every check on an answer stands in this file, whichever way the frames came.

// poleward is how near to the equator a sign of the latitude says nothing (no
// source).
const poleward = 1 * sphere.Degree

// seeable looks whether the sightings can have been taken where and when it is
// said that they were, and asks the stars which site and clock would fit: an axis
// worked out all the same would be worse than none. With deep the shapes of the
// frames are asked as well, not only horizon and daylight.
func seeable(all []axis.Sighting, deep bool) (*Refusal, []Note) {
	if !deep && len(axis.Unseeable(all)) == 0 {
		return nil, nil
	}
	d, doubted := axis.DoubtSite(all)
	switch {
	case !doubted:
		return nil, nil
	case d.Refused:
		return &Refusal{Kind: StarsRefuse, Doubt: &d}, nil
	}
	return nil, []Note{{Kind: OtherFits, Doubt: &d}}
}

// contradicted looks for frames whose headers state another site than the one in
// use: another hemisphere is a refusal, until the measurement begins anew, unless the
// person has said that the headers are wrong; elsewhere is a doubt.
func (s *Session) contradicted(frames []*Frame) (refusal *Refusal, notes []Note) {
	if !s.setting.Settled {
		return nil, nil
	}
	here := s.setting.Site
	taken, stated := &here, s.statedBy(frames)
	if s.setting.SiteSource.Kind == FromHeader {
		taken = nil
	}
	for _, c := range axis.SitesAgainst(taken, stated) {
		there := stated[c.Frames[0]].Site
		opposite := there.Lat*here.Lat < 0 && there.Lat.Abs() > poleward && here.Lat.Abs() > poleward
		if c.Kind == axis.SiteDiffers && opposite && !s.c.Told.HeaderWrong {
			s.opposed = &Refusal{Kind: OtherPole, Frame: c.Names[0], Source: s.setting.SiteSource, Angle: there.Lat}
			continue
		}
		notes = append(notes, Note{Kind: Contradicts, Contradiction: &c, Source: s.setting.SiteSource})
	}
	return s.opposed, notes
}

// statedBy are the sites that the frames' headers state, after the first that was stated
// before. A frame that is out for stating another site says so itself.
func (s *Session) statedBy(frames []*Frame) (out []axis.StatedSite) {
	if s.stated != nil {
		out = append(out, *s.stated)
	}
	for _, f := range frames {
		if f.siteTold() != nil && !(f.Miss != nil && f.Miss.Kind == OtherSite) {
			out = append(out, axis.StatedSite{Name: f.Name, Site: placeOf(f)})
		}
	}
	if s.stated == nil && len(out) > 0 {
		s.stated = &out[0]
	}
	return out
}

// mirrored names the place of the gear file that the site is the mirror image of: it has
// the same latitude and longitude but for a sign, as when a letter was left out. Near
// the equator and the meridian of Greenwich signs say nothing.
func (s *Setting) mirrored(g gear.Gear) []Note {
	if !s.Settled || s.SiteName != "" {
		return nil
	}
	mirror := func(a, b sphere.Angle) bool { return (a+b).Wrap().Abs() < farApart && a.Abs() > poleward }
	for _, name := range g.Names(gear.KindSite) {
		t := g.Sites[name].Place()
		lat, lon := mirror(s.Site.Lat, t.Lat), mirror(s.Site.Lon, t.Lon)
		if (lat || (s.Site.Lat-t.Lat).Abs() < farApart) && (lon || (s.Site.Lon-t.Lon).Wrap().Abs() < farApart) && (lat || lon) {
			return []Note{{Kind: SiteMirrored, Other: name, Source: s.SiteSource, Lat: lat, Lon: lon}}
		}
	}
	return nil
}

// timeDoubts names the first of the frames that take part whose time was guessed,
// and the first whose clock keeps the time of another part of the Earth than the
// site's.
func (s *Setting) timeDoubts(frames []*Frame) (out []Note) {
	guessed, far := false, false
	for _, f := range frames {
		if !f.In() || f.Read == nil {
			continue
		}
		t := &f.Read.Time
		if t.Doubtful && !guessed {
			guessed = true
			out = append(out, Note{Kind: TimeGuessed, Frame: f.Name, Text: t.Source})
		}
		if t.Zone == nil || far {
			continue
		}
		var c axis.Contradiction
		if c, far = axis.ZoneAgainst(f.Name, *t.Zone, s.Site.Lon); far {
			out = append(out, Note{Kind: Contradicts, Contradiction: &c, Source: s.SiteSource})
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
		for _, c := range axis.ClockSteps(a.Result.Frames, e.setting.OneTime) {
			out = append(out, Note{Kind: Contradicts, Contradiction: &c})
		}
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
