package page

import (
	"math"
	"path/filepath"
	"strings"
	"time"

	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/words"
)

// Of is a session's state as the page shows it, every sentence made.
func Of(st *session.State) State {
	s := State{
		Seq: st.Seq, Phase: string(st.Phase), Simulated: st.Simulated, Count: st.Count, Sightings: st.Sightings,
		Tolerance: st.Setting.Tolerance.Arcminutes(), Allowed: words.Allowed(st.Setting.Tolerance), Within: st.Within, Old: st.Old,
		Next: words.Next(st), Spoken: words.Spoken(st), Doubts: some(words.Notes(st.Doubts)), Notes: some(words.Notes(st.Notes)), Muted: st.Muted,
		Site: words.Site(&st.Setting), Pole: words.Pole(&st.Setting), TimeSource: words.Times(&st.Setting), Viewpoint: words.Viewpoint(st),
		Asks: st.Asks != nil, Resumed: st.Resumed, Moves: []Move{}, Trail: []Point{}, Marks: [][2]float64{},
	}
	s.Hands = handsOf(st.Hands)
	if st.Refusal != nil {
		s.Refusal = words.Refusal(st.Refusal)
	}
	if st.Offer != nil {
		s.Offer = words.Earlier(st.Offer)
	}
	s.frame(st)
	for _, p := range st.Trail {
		s.Trail = append(s.Trail, Point{p.Alt.Arcminutes(), p.Az.Arcminutes()})
	}
	if m := st.Mount; m != nil {
		s.Mount = &Mount{Turn: m.Turn.Degrees(), Alt: m.Alt.Arcminutes(), Az: m.Az.Arcminutes(), Tracking: m.Tracking, Cloud: m.Cloud}
	}
	if st.Answer != nil {
		s.answer(st)
	}
	return s
}

// some is a list that is never null.
func some(list []string) []string {
	if list == nil {
		return []string{}
	}
	return list
}

func (s *State) answer(st *session.State) {
	o := st.Answer.Offset
	s.Offset = &Parts{o.Alt.Arcminutes(), o.AzKnob.Arcminutes(), o.AzSky.Arcminutes(), o.Total.Arcminutes()}
	s.Sigma = &Parts{o.Err.Alt.Arcminutes(), o.Err.AzKnob.Arcminutes(), o.Err.AzSky.Arcminutes(), o.Err.Total.Arcminutes()}
	s.OffBy, s.Plus, s.Since = words.Arcminutes(o.Total), "± "+words.Sigma(o.Err.Total), st.Answer.From
	e := st.Ellipse
	s.Ellipse = &Ellipse{e.Major.Arcminutes(), e.Minor.Arcminutes(), e.Angle.Degrees()}
	for _, m := range st.Moves {
		s.Moves = append(s.Moves, Move{Adjuster: m.Adjuster.String(), Direction: m.Direction.String(), Way: words.Way(m.Direction), Arcmin: m.Amount.Arcminutes(),
			Amount: strings.TrimSuffix(words.Arcminutes(m.Amount), "'"), Hand: words.Hand(m), Turns: m.Bolt.Turns, Sense: m.Bolt.Sense, Here: m.Here, Done: m.Done})
	}
}

// frame fills in the last frame.
func (s *State) frame(st *session.State) {
	f := st.Last
	if f == nil {
		return
	}
	s.Frame, s.Solved, s.ElapsedMS = filepath.Base(f.Path), f.In(), math.Round(f.Elapsed.Seconds()*1e4)/10
	if t := f.Time(); !t.IsZero() {
		s.Time, s.Clock = t.UTC().Format(time.RFC3339Nano), words.Clock(t, st.Setting.Zone)
	}
	if f.Miss != nil {
		s.Brief, s.Reason = words.MissBrief(f), words.Miss(f)
	}
	if f.Field != nil {
		s.Wide, s.High = f.Field.W, f.Field.H
	}
	if f.Sighting != nil {
		s.Stars = len(f.Sighting.Matches)
		for _, m := range f.Sighting.Matches[:min(len(f.Sighting.Matches), mostMarks)] {
			s.Marks = append(s.Marks, [2]float64{math.Round(m.X*10) / 10, math.Round(m.Y*10) / 10})
		}
	}
}

// mostMarks is how many stars are marked on the picture, the brightest.
const mostMarks = 120

// View shows a run on the page.
type View struct{ Server *Server }

// Frame shows the state after a frame.
func (v View) Frame(st session.State) { v.Server.Show(Of(&st), true) }

// Show shows a change that came of no frame.
func (v View) Show(st session.State) { v.Server.Show(Of(&st), false) }
