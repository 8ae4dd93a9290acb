package main

import (
	"math"
	"time"

	"pintle/axis"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/page"
	"pintle/index/sphere"
)

// scene is what the viewers are shown of the engine and the last frame.
type scene struct {
	mount gear.Mount // how far a turn of each adjuster goes, as far as known
	sim   bool
	state page.State
}

// took notes the last frame.
func (sc *scene) took(g *glimpse, elapsed time.Duration) {
	s := &sc.state
	s.Count++
	s.Frame, s.Solved, s.Reason = g.path, g.sighting != nil, g.why
	s.Time = ""
	if !g.time.IsZero() {
		s.Time = g.time.UTC().Format(time.RFC3339Nano)
	}
	s.ElapsedMS = math.Round(elapsed.Seconds()*1e4) / 10
	s.Wide, s.High, s.Marks = g.w, g.h, thin(g.marks)
	if s.Marks == nil {
		s.Marks = [][2]float64{}
	}
}

// thin keeps at most 120 marks, the brightest, to a tenth of a pixel.
func thin(marks [][2]float64) [][2]float64 {
	out := make([][2]float64, 0, 120)
	for _, m := range marks[:min(len(marks), 120)] {
		out = append(out, [2]float64{math.Round(m[0]*10) / 10, math.Round(m[1]*10) / 10})
	}
	return out
}

// of fills in what the engine knows. note is a further remark on the frame.
func (sc *scene) of(e *engine, note string) {
	s := &sc.state
	s.Seq++
	s.Phase, s.Simulated, s.Tolerance, s.Sightings = e.phase, sc.sim, e.tolerance, e.sighted()
	s.Offset, s.Sigma, s.Ellipse = nil, nil, nil
	s.Moves, s.Trail = []page.Move{}, append([]page.Point{}, e.trail...)
	s.Within, s.Old, s.Since, s.Doubt = e.within(), false, "", e.doubtful()
	s.Note = join(e.note, note)
	if a := e.answer; a != nil {
		o := a.offset
		s.Offset, s.Sigma = (*page.Parts)(parts(o.Parts)), (*page.Parts)(parts(o.Err))
		s.Since = a.from
		s.Old = s.Count > 0 && !s.Solved
		for i, m := range a.moves {
			s.Moves = append(s.Moves, sc.move(m, o, e.here == i, e.tolerance))
		}
		s.Ellipse = ellipse(a.cov, o)
	}
	s.Next = nextSentence(e, s)
}

// move says what one adjuster must do, in the terms of the mount.
func (sc *scene) move(m axis.Move, o axis.Offset, here bool, tolerance float64) page.Move {
	p := page.Move{Adjuster: m.Adjuster.String(), Direction: m.Direction.String(), Arcmin: m.Amount.Arcminutes(), Sigma: m.Err.Arcminutes(), Here: here}
	_, alt := o.Pole.AzAlt()
	var a gear.Amount
	share := m.Amount
	switch {
	case m.Adjuster == axis.Altitude && m.Direction == axis.Raise:
		a = sc.mount.Alt(m.Amount, alt)
	case m.Adjuster == axis.Altitude:
		a = sc.mount.Alt(-m.Amount, alt)
	case m.Direction == axis.Clockwise:
		a, share = sc.mount.Az(m.Amount), onSky(m.Amount, o)
	default:
		a, share = sc.mount.Az(-m.Amount), onSky(m.Amount, o)
	}
	p.Turns, p.Sense = a.Turns, a.Sense
	p.Done = share.Arcminutes() <= 0.7*tolerance
	return p
}

// ellipse is the error ellipse on the sky, scaled to the errors that are told.
func ellipse(c [2][2]float64, o axis.Offset) *page.Ellipse {
	// What the covariance of the axis leaves out, the air above all, is in the
	// errors told.
	c[0][0] = math.Max(c[0][0], float64(o.Err.Alt)*float64(o.Err.Alt))
	c[1][1] = math.Max(c[1][1], float64(o.Err.AzSky)*float64(o.Err.AzSky))
	mean, diff := (c[1][1]+c[0][0])/2, (c[1][1]-c[0][0])/2
	r := math.Hypot(diff, c[0][1])
	arcminOf := func(v float64) float64 { return sphere.Angle(math.Sqrt(math.Max(v, 0))).Arcminutes() }
	return &page.Ellipse{
		Major: arcminOf(mean + r), Minor: arcminOf(mean - r),
		Angle: sphere.Angle(math.Atan2(c[0][1], diff) / 2).Degrees(),
	}
}

// liveJSON is a line of live --json.
type liveJSON struct {
	Frame     string     `json:"frame"`
	Time      string     `json:"time"`
	Solved    bool       `json:"solved"`
	Reason    string     `json:"reason"`
	Phase     string     `json:"phase"`
	Offset    *partsJSON `json:"offset_arcmin"`
	Sigma     *partsJSON `json:"sigma_arcmin"`
	Moves     []moveJSON `json:"moves"`
	Within    bool       `json:"within_tolerance"`
	Tolerance float64    `json:"tolerance_arcmin"`
	Note      string     `json:"note"`
	ElapsedMS float64    `json:"elapsed_ms"`
	Simulated bool       `json:"simulated,omitempty"`
}

// lineOf is the state as a line of JSON. A frame that was not solved has no
// offset: the last one known is not its own.
func lineOf(s page.State) liveJSON {
	j := liveJSON{
		Frame: s.Frame, Time: s.Time, Solved: s.Solved, Reason: s.Reason, Phase: s.Phase, Moves: []moveJSON{},
		Tolerance: s.Tolerance, Note: s.Note, ElapsedMS: s.ElapsedMS, Simulated: s.Simulated,
	}
	if s.Old || s.Offset == nil {
		return j
	}
	j.Offset, j.Sigma, j.Within = (*partsJSON)(s.Offset), (*partsJSON)(s.Sigma), s.Within
	for _, m := range s.Moves {
		j.Moves = append(j.Moves, moveJSON{m.Adjuster, m.Direction, m.Arcmin})
	}
	return j
}
