package session

import (
	"slices"

	"pintle/axis"
	"pintle/axis/place"
	"pintle/cmd/pintle/series"
)

// lookAt adds what a frame's stars look like to the series. Frames
// that were not recognised have their place in it: clouds and dew are why.
func (s *Session) lookAt(f *Frame) {
	if f.Field == nil || f.Read == nil || f.Time().IsZero() || f.Solution == nil && (f.Miss == nil || f.Miss.Kind != Unsolved) {
		return
	}
	var p *place.Place
	if s.setting.Settled {
		p, _ = place.At(f.Time(), s.setting.Site, s.setting.Air) // an impossible time is told itself
	}
	s.looks = slices.DeleteFunc(s.looks, func(l series.Look) bool { // it was lost, and is found
		return l.Name == f.Name && l.At.Equal(f.Time())
	})
	s.looks = series.Add(s.looks, series.Of(f.Name, f.Time(), f.Field, f.Solution, p, f.Read.Exposure))
	s.findings = nil // until somebody asks
}

// lookAgain forgets the series.
func (s *Session) lookAgain() { s.looks, s.findings = nil, nil }

// starNotes are what the look of the stars tells of the frames that the answer rests on,
// or will, and of the last one.
func (s *Session) starNotes() (out []Note) {
	if s.findings == nil {
		s.findings = append([]series.Finding{}, series.Judge(s.looks)...)
	}
	if s.findings == nil {
		s.findings = append([]series.Finding{}, series.Judge(s.looks)...)
	}
	concerned := func(name string) bool {
		for _, f := range s.frames {
			if f.Name == name {
				return true
			}
		}
		return slices.ContainsFunc(s.engine.sightings, func(x axis.Sighting) bool { return x.Name == name })
	}
	for i := range s.findings {
		if slices.ContainsFunc(s.findings[i].Names, concerned) {
			out = append(out, Note{Kind: StarsShow, Finding: &s.findings[i]})
		}
	}
	return out
}
