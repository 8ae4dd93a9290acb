package session

import (
	"slices"

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

// starNotes are what the look of the stars tells, or what of that concerns the last frame.
func (s *Session) starNotes(ofLast bool) (out []Note) {
	if s.findings == nil {
		s.findings = append([]series.Finding{}, series.Judge(s.looks)...)
	}
	for i := range s.findings {
		if !ofLast || slices.Contains(s.findings[i].Names, s.looks[len(s.looks)-1].Name) {
			out = append(out, Note{Kind: StarsShow, Finding: &s.findings[i]})
		}
	}
	return out
}
