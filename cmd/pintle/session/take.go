package session

import (
	"context"
	"errors"
	"slices"
	"time"

	"pintle/axis/place"
	"pintle/cmd/pintle/journal"
	"pintle/index/sphere"
	"pintle/solve"
)

// Taken is what became of a file.
type Taken int

// What became of it.
const (
	TakenUp Taken = iota // the State is of it
	NotYet               // it is not whole, and may become so
	Ignored              // it is no photograph, gone again, or was there before
)

// Take takes one more file, written at mod, and looks for its stars without a bound.
// last says that it will not be finished any more. An error is one that every further
// frame would meet.
func (s *Session) Take(ctx context.Context, path string, mod time.Time, last bool) (Taken, error) {
	f, err := s.c.Camera.Read(ctx, path)
	if err != nil {
		return Ignored, err
	}
	if t := s.receive(f, mod, last); t != TakenUp {
		return t, nil
	}
	if f.Miss == nil {
		f.Look = s.look(f, solve.Everything)
		if err := s.c.Camera.Recognise(ctx, f); err != nil {
			return Ignored, err
		}
	}
	s.settle(f)
	return TakenUp, nil
}

// receive says what is to become of a file that was read. One that is taken up has a
// place on the ground, or a Miss, and its stars are to be looked for.
func (s *Session) receive(f *Frame, mod time.Time, last bool) Taken {
	f.Mod, f.TakenBy = mod, s.takenBy(f.Path)
	if m := f.Miss; m != nil {
		switch {
		case f.gone():
			return Ignored
		case errors.Is(m.Err, ErrNotWhole) && !last:
			return NotYet
		case m.Kind == NoPicture:
			return Ignored
		}
	}
	if first, twice := s.seen.before(f); twice {
		s.pass(Note{Kind: AgainSeen, Frame: f.Name, Other: first})
		return Ignored
	}
	if f.Miss == nil {
		s.whereOf(f)
	}
	return TakenUp
}

// standWithin is how far off a frame is looked for on a mount that stands, from
// where it must be if nobody turned RA (no source: more than adjusters are turned
// from frame to frame).
const standWithin = 2 * sphere.Degree

// look says where and how far the stars of a frame are looked for. On a mount that
// tracks it must be where the one before was, which the camera knows.
func (s *Session) look(f *Frame, e solve.Effort) Look {
	return Look{Effort: e, At: s.engine.standing(f.Time()), Within: standWithin}
}

// pass sets the notes of what just happened.
func (s *Session) pass(ns ...Note) {
	s.passing = ns
	s.seq++
}

// settle makes of a frame that was looked for what can be made of it. Whatever is
// wrong with it, the next one has its chance.
func (s *Session) settle(f *Frame) {
	s.count++
	s.takeUp(f)
}

// found takes up a frame that was lost when it was settled, and was looked for further.
func (s *Session) found(lost, f *Frame) {
	s.keep.recovered(lost)
	s.takeUp(f)
}

// stayedLost takes over what the end of a search in the whole sky says of a lost
// frame; newer ones have their say before it.
func (s *Session) stayedLost(lost, f *Frame) {
	s.pass()
	if len(s.frames) == 1 && s.frames[0] == lost {
		s.keep.recovered(lost)
		s.keep.missed(f)
		s.frames = []*Frame{f}
	}
}

func (s *Session) takeUp(f *Frame) {
	s.pass()
	s.frames = []*Frame{f}
	s.engine.touched = nil
	s.known = s.known || f.Solution != nil
	s.lookAt(f)
	if f.Miss == nil && s.setting.Settled {
		s.sight(f)
	}
	if !f.In() {
		s.keep.missed(f)
	}
}

// whereOf settles the site by the first frame that can, and holds a later one's
// header against it. Without a site there is a question, and no end.
func (s *Session) whereOf(f *Frame) {
	if told := f.siteTold(); told != nil && s.setting.SiteSource.Kind == FromHeader {
		if d := apart(placeOf(f), s.setting.Site); d > farApart {
			f.miss(Miss{Kind: OtherSite, Other: s.setting.SiteSource.Name, Apart: d})
			return
		}
	}
	err := s.setting.settleSite(&s.c.Told, s.c.Gear, []*Frame{f})
	if err == nil {
		err = s.setting.settleKing(&s.c.Told, []*Frame{f})
	}
	var un *Unsettled
	if errors.As(err, &un) {
		s.asks = un
		if un.Kind == SiteUnread {
			f.miss(Miss{Kind: BadSite, Err: un.Err})
		} else {
			f.miss(Miss{Kind: NoSite, Err: un})
		}
		return
	}
	s.asks = nil
}

// sight hands a frame to the engine, when its time goes on from the last one's.
func (s *Session) sight(f *Frame) {
	f.placed(&s.setting)
	if s.strayed(f) {
		return
	}
	if s.place(s.frames, s.engine.sightings, s.engine.phase == Measuring); s.refusal != nil {
		return
	}
	st, err := s.engine.sight(*f.Sighting)
	if err != nil {
		f.miss(Miss{Kind: Misfit, Err: err})
		return
	}
	s.offer = nil
	f.Turned = st.turned
	if st.kind == journal.Measurement {
		if s.refusal = s.scattered(); s.refusal != nil {
			s.engine.unanswer()
			st.kind = journal.Sighting
		}
	}
	s.record(f, st)
}

// Limits of the times of frames that come one by one (no source; chosen so that
// a filter change or a meal is no step of the clock, and a wrong zone is).
const (
	jump     = 3 * time.Hour
	oneClock = time.Minute // two frames agree so well on how far a clock moved
)

// strayed sets a frame aside whose time does not go on from that of the last one
// taken up. When a second one agrees with it, the clock has moved: everything is
// then turned about the pole, and the measurement begins anew.
func (s *Session) strayed(f *Frame) bool {
	e := s.engine
	if e.last.IsZero() || !f.In() {
		return false
	}
	gap := f.Time().Sub(e.last)
	if gap > 0 && gap <= jump || gap <= 0 && e.follow == nil && -gap <= jump {
		s.aside = nil
		return false
	}
	kind := FarTime
	if gap <= 0 {
		kind = OldTime
	}
	if s.clockMoved(f) {
		s.pass(Note{Kind: ClockMoved, Frame: f.Name, Other: e.lastName, Gap: gap})
		agrees := s.aside[len(s.aside)-1] // any before it strayed by another amount
		s.aside = nil
		s.anew()
		_, _ = e.sight(*agrees.Sighting) // what it cannot use it has no need of
		return false
	}
	kept := *f
	s.aside = append(s.aside, &kept)
	f.miss(Miss{Kind: kind, Other: e.lastName, Gap: gap.Abs()})
	return true
}

// clockMoved reports whether the frame agrees with the last one set aside on how
// far the camera's clock is from that of the files.
func (s *Session) clockMoved(f *Frame) bool {
	if len(s.aside) == 0 {
		return false
	}
	b := s.aside[len(s.aside)-1]
	step, file := f.Time().Sub(b.Time()), f.Mod.Sub(b.Mod)
	return step > 0 && file > 0 && (step-file).Abs() < oneClock
}

// SetSite answers the question where the mount stands, or corrects what was
// believed: the measurement begins anew.
func (s *Session) SetSite(site place.Site) error {
	told := s.c.Told
	told.Site, told.SiteName, told.Elev = &site, "", nil
	next := Setting{Pole: s.setting.Pole, Zone: s.setting.Zone, Tolerance: s.setting.Tolerance, ToleranceSource: s.setting.ToleranceSource,
		Mount: s.setting.Mount, MountName: s.setting.MountName}
	if err := next.settleSite(&told, s.c.Gear, nil); err != nil {
		return err
	}
	s.c.Told, s.setting, s.asks, s.refusal = told, next, nil, nil
	s.doubts, s.stars = nil, nil
	s.anew()
	s.pass(Note{Kind: Begun})
	return nil
}

// SetTolerance changes the tolerance.
func (s *Session) SetTolerance(t sphere.Angle) error {
	if !(t >= leastTolerance && t <= mostTolerance) {
		return &Unsettled{Kind: ToleranceOutOfRange, Value: t.Arcminutes(), Limit: mostTolerance.Arcminutes()}
	}
	s.engine.setTolerance(t)
	s.setting.ToleranceSource = Source{Kind: FromPerson}
	s.pass()
	return nil
}

// anew forgets the measurement, and what was doubtful about its frames.
func (s *Session) anew() {
	s.doubts = slices.DeleteFunc(s.doubts, func(n Note) bool { return n.Kind != GearLeftOut })
	s.stated, s.opposed = nil, nil
	s.engine.fresh()
	s.lookAgain()
	s.keep.fresh()
}

// Begin starts a new measurement.
func (s *Session) Begin() {
	s.anew()
	s.offer, s.aside, s.refusal, s.stars = nil, nil, nil, nil
	s.pass(Note{Kind: Begun})
}

// Mute switches the sound of all faces.
func (s *Session) Mute(on bool) {
	s.muted = on
	s.pass()
}
