package session

import (
	"math"
	"slices"
	"time"

	"pintle/axis"
	"pintle/cmd/pintle/gear"
	"pintle/index/sphere"
)

// State is all there is to say of a session at one moment. It shares nothing
// that changes later: faces may keep it.
type State struct {
	Seq       int
	Phase     Phase
	Simulated bool
	Setting   Setting
	// Frames are the frames of a measurement made at once. Last is the latest one
	// looked at, Count how many were.
	Frames []*Frame
	Last   *Frame
	Count  int
	// Resumed is when the run that goes on here was written, zero for one that began
	// here: as old is what it says until the next frame.
	Resumed time.Time
	// Passed are frames that were passed over for newer ones, since the frame
	// before Last: not looked at, or not to the end.
	Passed    []string
	Sightings int // the measurement rests on so many

	Answer *Answer // nil while there is none
	Moves  [2]Move // of the answer
	// Within is true when the axis is within the tolerance; Sure when the answer
	// is good enough to say so for certain.
	Within, Sure bool
	// Old is true when the answer is not from the last frame.
	Old     bool
	Refusal *Refusal // why there is no answer, nor will be
	Weak    *axis.WeakError
	Asks    *Unsettled // what the person must say first

	Doubts []Note // these stand above the arrows
	Notes  []Note
	News   []Note // those of both that are of the last frame or of what just happened
	Next   Next

	Trail   []Point
	Ellipse *Ellipse
	Picture int // the number of the last picture made
	Muted   bool
	Offer   *Earlier // an earlier run that can be gone on with
	Mount   *Pretended
	Hands   *Handling // nil when nothing is commanded
}

// Move is what one adjuster must do, in the terms of the mount as well.
type Move struct {
	axis.Move
	Bolt  gear.Amount
	OnSky sphere.Angle // its share of the error, on the sky
	Here  bool         // this adjuster was turned last
	Done  bool         // its share is so small that the total can be within the tolerance
}

// Ellipse is the standard error of the answer on the sky: half axes, and the
// angle of the larger one from the azimuth axis toward altitude.
type Ellipse struct{ Major, Minor, Angle sphere.Angle }

// Pretended is the mount of a rehearsal.
type Pretended struct {
	Turn, Alt, Az   sphere.Angle // by hand, since the start
	Tracking, Cloud bool
}

// Next is what to do next.
type Next struct {
	Kind NextKind
	Move int // the adjuster, of TurnAdjuster
}

// NextKind is a kind of what to do next.
type NextKind int

// The kinds.
const (
	Photograph   NextKind = iota // any patch of clear sky
	TurnRA                       // by 30 degrees or more, and photograph
	TurnRAMore                   // further the same way
	ThirdFrame                   // once more, to prove the first two
	TurnAdjuster                 // Move
	AllDone                      // within the tolerance
	MeasureFresh                 // a doubt says why
	WaitSolved                   // the last frame was not solved
	SaySite                      // where the mount stands
	MendInput                    // a refusal says what
)

// State returns the state as it is now.
func (s *Session) State() State {
	e := s.engine
	st := State{
		Seq: s.seq, Phase: e.phase, Simulated: s.c.Simulated, Setting: s.setting, Frames: slices.Clone(s.frames), Count: s.count, Passed: slices.Clone(s.passed),
		Sightings: e.sighted(), Answer: e.answer, Within: e.within(), Sure: e.sure(), Refusal: s.refusal, Weak: e.weak, Asks: s.asks,
		Trail: slices.Clone(e.trail), Muted: s.muted, Offer: s.offer, Resumed: s.resumed,
	}
	if s.c.Hands != nil {
		h := s.c.Hands.Status()
		st.Hands = &h
	}
	if n := len(s.frames); n > 0 {
		st.Last = s.frames[n-1]
	}
	if s.refusal != nil {
		st.Answer, st.Within, st.Sure = nil, false, false
	}
	if a := st.Answer; a != nil {
		st.Old = s.old()
		for i, m := range a.Moves {
			st.Moves[i] = s.setting.move(m, a.Offset, e.here == i)
		}
		st.Ellipse = ellipse(a.Cov, a.Offset)
	}
	st.News = append(append(append(s.fileNotes(), s.starNotes(true)...), s.overtaken()...), s.passing...)
	for _, n := range s.notes() {
		if n.Doubtful() {
			st.Doubts = append(st.Doubts, n)
		} else {
			st.Notes = append(st.Notes, n)
		}
	}
	st.Next = s.next(&st)
	return st
}

// old reports whether the last frame, one of several that came one by one, says
// nothing of the answer.
func (s *Session) old() bool {
	n := len(s.frames)
	return s.engine.follow != nil && n > 0 && s.frames[n-1].Miss != nil
}

// notes puts together what there is to say: of setting and frames, of the
// answer, of the files, and of what just happened.
func (s *Session) notes() []Note {
	out := slices.Clone(s.doubts)
	if s.refusal == nil {
		out = append(append(out, s.stars...), s.engine.answerNotes()...)
	}
	out = append(out, s.starNotes(s.engine.phase != Measuring)...)
	return append(append(append(out, s.fileNotes()...), s.overtaken()...), s.passing...)
}

// overtaken tells of the frames that were passed over.
func (s *Session) overtaken() []Note {
	if len(s.passed) == 0 {
		return nil
	}
	return []Note{{Kind: PassedOver, Frames: slices.Clone(s.passed)}}
}

// fileNotes are the readers' words on the frames, each once.
func (s *Session) fileNotes() (out []Note) {
	said := map[string]bool{}
	for _, f := range s.frames {
		for _, n := range f.Notes {
			if !said[n] {
				said[n] = true
				out = append(out, Note{Kind: OfFile, Frame: f.Name, Text: n})
			}
		}
	}
	return out
}

// OfFrame is the state with the notes of its last frame alone, without what was
// said of an answer that the frame says nothing of.
func (st State) OfFrame() State {
	st.Doubts, st.Notes = nil, st.News
	return st
}

// share is the part of the tolerance that one adjuster alone may leave, so that
// two of them together can be within it: about the square root of a half.
const share = 0.7

// move says what one adjuster must do, in the terms of the mount.
func (s *Setting) move(m axis.Move, o axis.Offset, here bool) Move {
	_, alt := o.Pole.AzAlt()
	out := Move{Move: m, OnSky: m.Amount, Here: here}
	signed := m.Amount
	if m.Direction == axis.Lower || m.Direction == axis.CounterClockwise {
		signed = -signed
	}
	if m.Adjuster == axis.Altitude {
		out.Bolt = s.Mount.Alt(signed, alt)
	} else {
		out.Bolt, out.OnSky = s.Mount.Az(signed), onSky(signed, o)
	}
	out.Done = out.OnSky <= share*s.Tolerance
	return out
}

// ellipse is the error ellipse on the sky, scaled to the errors that are told.
func ellipse(c [2][2]float64, o axis.Offset) *Ellipse {
	// What the covariance of the axis leaves out, the air above all, is in the
	// errors told.
	c[0][0] = math.Max(c[0][0], float64(o.Err.Alt)*float64(o.Err.Alt))
	c[1][1] = math.Max(c[1][1], float64(o.Err.AzSky)*float64(o.Err.AzSky))
	mean, diff := (c[1][1]+c[0][0])/2, (c[1][1]-c[0][0])/2
	r := math.Hypot(diff, c[0][1])
	root := func(v float64) sphere.Angle { return sphere.Angle(math.Sqrt(math.Max(v, 0))) }
	return &Ellipse{Major: root(mean + r), Minor: root(mean - r), Angle: sphere.Angle(math.Atan2(c[0][1], diff) / 2)}
}

// next says what to do next.
func (s *Session) next(st *State) Next {
	e := s.engine
	switch {
	case st.Asks != nil:
		return Next{Kind: SaySite}
	case st.Refusal != nil:
		return Next{Kind: MendInput}
	case st.Last != nil && st.Last.Miss != nil && !s.atOnce():
		return Next{Kind: WaitSolved}
	case len(e.sightings) == 0 && st.Answer == nil:
		return Next{Kind: Photograph}
	case st.Answer == nil && e.weak != nil:
		return Next{Kind: TurnRAMore}
	case st.Answer == nil:
		return Next{Kind: TurnRA}
	case e.mustAgain():
		return Next{Kind: MeasureFresh}
	case st.Within && slices.ContainsFunc(st.Doubts, Note.mendable):
		return Next{Kind: MeasureFresh}
	case st.Within && st.Sure:
		return Next{Kind: AllDone}
	case !e.adjusted && !st.Sure && !s.atOnce():
		return Next{Kind: TurnRAMore}
	case e.phase == Measuring && e.measured == 2 && !s.atOnce():
		return Next{Kind: ThirdFrame}
	case st.Within:
		return Next{Kind: AllDone}
	}
	return Next{Kind: TurnAdjuster, Move: st.pick()}
}

// atOnce reports whether the frames were given all at once.
func (s *Session) atOnce() bool { return s.engine.follow == nil && s.engine.answer != nil }

// pick chooses the adjuster to turn: the one in hand until its share is done,
// else the one with more to do.
func (st *State) pick() int {
	for i, m := range st.Moves {
		if m.Here && !m.Done {
			return i
		}
	}
	if st.Moves[axis.Azimuth].OnSky > st.Moves[axis.Altitude].OnSky {
		return int(axis.Azimuth)
	}
	return int(axis.Altitude)
}

// Used returns what the fit says of a frame, nil when it is in none.
func (st *State) Used(f *Frame) *axis.FrameFit {
	if st.Answer == nil || st.Answer.Result == nil || !f.In() {
		return nil
	}
	r := st.Answer.Result
	for i := range st.Answer.Sightings {
		if s := &st.Answer.Sightings[i]; s.Key == f.Path && s.Time.Equal(f.Time()) {
			return &r.Frames[i]
		}
	}
	return nil
}

// LastTime is the middle of the latest exposure in the answer.
func (st *State) LastTime() time.Time {
	if st.Answer == nil {
		return time.Time{}
	}
	return st.Answer.At
}
