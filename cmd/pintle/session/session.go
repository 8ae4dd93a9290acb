package session

import (
	"cmp"
	"context"
	"errors"
	"math"
	"os"
	"slices"
	"time"

	"pintle/axis"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/series"
)

// Config is what a session is made of.
type Config struct {
	Told   Told
	Gear   gear.Gear
	Broken error // why the gear file cannot be read: it stops only what needs it
	Camera Camera
	Now    func() time.Time
	// Journal is the file of the record, "" for none; Folder the one watched, for
	// an earlier run to be found by.
	Journal, Folder string
	Simulated       bool // nothing is really photographed
	// Newest is how many of the photographs given at once are taken, the newest by
	// their files; 0 for all.
	Newest int
	Hands  Hands // nil when nobody but the person photographs and turns
}

// Session is one measurement of an axis, from what the person said to the
// record. It is not for concurrent use.
type Session struct {
	c       Config
	setting Setting
	engine  *engine
	frames  []*Frame // of a measurement made at once; else the last
	refusal *Refusal
	doubts  []Note // about setting and frames
	stars   []Note // what the stars say of them
	passing []Note // of the last thing that happened
	keep    *keeper
	offer   *Earlier
	resumed time.Time  // when the run that goes on was written
	asks    *Unsettled // the question that is open before there can be answers
	count   int
	seq     int
	muted   bool
	seen    seen
	known   bool             // a frame was recognised: lens and place are known
	passed  []string         // frames passed over before the last one
	aside   []*Frame         // frames with times that do not go on from the last one's
	before  *Frame           // the last that took part
	stated  *axis.StatedSite // the first site that a header stated
	opposed *Refusal         // of a frame whose header stated the other hemisphere

	looks    []series.Look // of the series that goes on
	findings []series.Finding
}

// New settles what needs no frame.
func New(c Config) (*Session, error) {
	s := &Session{c: c, muted: true}
	s.setting.Pole, s.setting.Zone = c.Told.Pole, c.Told.zone(c.Now())
	s.setting.OneTime = !c.Told.Frames.At.IsZero()
	if c.Broken != nil && c.Told.needsGear() {
		return nil, &Unsettled{Kind: GearBroken, Err: c.Broken}
	}
	if err := s.setting.settleGear(&c.Told, c.Gear); err != nil {
		return nil, err
	}
	if c.Broken != nil {
		s.doubts = append(s.doubts, Note{Kind: GearLeftOut, Err: c.Broken})
	}
	s.setting.learn(&c)
	s.engine = newEngine(&s.setting)
	s.keep = newKeeper(&c)
	return s, nil
}

// needsGear reports whether something told stands in the gear file.
func (t *Told) needsGear() bool {
	return t.SiteName != "" || t.Mount != "" || t.Camera != "" || t.Auto
}

// Setting returns what the answer is reckoned with.
func (s *Session) Setting() *Setting { return &s.setting }

// Measure measures the axis from the files given, all at once. The error is of
// what was told or of the world; an answer that cannot be had is no error, the
// State says why.
func (s *Session) Measure(ctx context.Context, paths []string) error {
	if err := s.Gather(ctx, paths); err != nil || s.refusal != nil {
		return err
	}
	in := s.sightings()
	if len(in) < 2 {
		s.refusal = &Refusal{Kind: TooFew, Count: len(in), Of: len(s.frames)}
		return nil
	}
	if err := s.engine.measureAll(in); err != nil {
		s.refusal = &Refusal{Kind: NoFit, Err: err}
		return nil
	}
	s.concluded()
	if s.refusal = cmp.Or(s.refusal, s.scattered()); s.refusal != nil {
		return nil
	}
	if s.engine.answer != nil {
		if math.IsNaN(float64(s.engine.answer.Offset.Total)) {
			return errors.New("the fit gave no number for the offset: this is a fault of the program")
		}
		s.ranked()
		s.record(s.frames[len(s.frames)-1], step{kind: journal.Measurement})
	}
	return nil
}

// concluded turns what the engine found out about its geometry into a refusal.
func (s *Session) concluded() {
	if s.engine.weak != nil && s.engine.answer == nil {
		s.refusal = &Refusal{Kind: WeakGeometry, Weak: s.engine.weak}
		s.note(stepped(s.frames)...)
	}
}

// ranked gives each frame its turn in the fit.
func (s *Session) ranked() {
	r := s.engine.answer.Result
	k := 0
	for _, f := range s.frames {
		if f.In() {
			f.Turned = r.Frames[k].Turn
			k++
		}
	}
}

// Gather reads the files, settles where they were taken, and recognises them:
// Frames has them then, and the State says what is wrong.
func (s *Session) Gather(ctx context.Context, paths []string) error {
	if err := s.read(ctx, paths); err != nil {
		return err
	}
	tellApart(s.frames)
	otherNights(s.frames)
	if err := s.enough(); err != nil {
		return err
	}
	s.count = len(s.frames)
	if err := s.setting.settleSite(&s.c.Told, s.c.Gear, s.frames); err != nil {
		return err
	}
	if err := s.setting.settleKing(&s.c.Told, s.frames); err != nil {
		return err
	}
	for _, f := range s.frames {
		if f.Miss != nil {
			continue
		}
		if err := s.c.Camera.Recognise(ctx, f); err != nil {
			return err
		}
	}
	s.place(s.frames, nil, true)
	for _, f := range s.frames {
		s.lookAt(f)
	}
	return nil
}

// read reads the files; of the newest only as many as are wanted, and no more
// than it takes to find them.
func (s *Session) read(ctx context.Context, paths []string) error {
	if s.c.Newest > 0 {
		paths = newestFirst(paths)
	}
	for _, p := range paths {
		f, err := s.c.Camera.Read(ctx, p)
		if err != nil {
			return err
		}
		if f.gone() {
			return &Fault{Frame: f}
		}
		f.TakenBy = s.takenBy(p)
		s.frames = append(s.frames, f)
		if s.c.Newest == 0 {
			continue
		}
		if sameShots(s.frames); count(s.frames) == s.c.Newest {
			break
		}
	}
	if s.c.Newest > 0 {
		slices.Reverse(s.frames)
	} else {
		sameShots(s.frames)
	}
	return nil
}

// count is how many frames are not out.
func count(frames []*Frame) (n int) {
	for _, f := range frames {
		if f.Miss == nil {
			n++
		}
	}
	return n
}

// newestFirst orders files by when they were written.
func newestFirst(paths []string) []string {
	mod := map[string]time.Time{}
	for _, p := range paths {
		if fi, err := os.Stat(p); err == nil {
			mod[p] = fi.ModTime()
		}
	}
	out := slices.Clone(paths)
	slices.SortStableFunc(out, func(a, b string) int { return mod[b].Compare(mod[a]) })
	return out
}

// Fault is a file without which there is nothing to do.
type Fault struct{ Frame *Frame }

func (f *Fault) Error() string {
	if f.Frame.Miss.Err != nil {
		return f.Frame.Miss.Err.Error()
	}
	return f.Frame.Name // words say what is wrong with it
}

func (f *Fault) Unwrap() error { return f.Frame.Miss.Err }

// enough refuses to go on when fewer than two frames are left, or not even one
// of a single one; the first that is out says why.
func (s *Session) enough() error {
	bad := slices.IndexFunc(s.frames, func(f *Frame) bool { return f.Miss != nil })
	if bad >= 0 && count(s.frames) < min(2, len(s.frames)) {
		return &Fault{Frame: s.frames[bad]}
	}
	return nil
}

// place puts the frames where they were taken, and looks, together with those
// taken up before, whether they can have been. deep asks all that the stars know.
func (s *Session) place(frames []*Frame, before []axis.Sighting, deep bool) {
	together := slices.Clone(before)
	for _, f := range frames {
		f.placed(&s.setting)
		if !f.In() {
			continue
		}
		together = append(together, *f.Sighting)
		if s.setting.Times == "" {
			s.setting.Times = f.Read.Time.Source
		}
	}
	refusal, doubts := s.contradicted(frames)
	s.note(doubts...)
	s.note(s.setting.mirrored(s.c.Gear)...)
	s.note(s.setting.timeDoubts(frames)...)
	if !s.setting.OneTime && !s.c.Simulated {
		s.note(clockFar(frames)...)
		s.note(s.overlap(frames)...)
	}
	if refusal == nil {
		if refusal, doubts = seeable(together, deep); deep {
			s.stars = doubts
		}
	}
	s.refusal = refusal
}

// note keeps doubts about setting and frames, of each kind the first.
func (s *Session) note(ns ...Note) {
	same := func(a, b Note) bool {
		return a.Kind == b.Kind && (a.Contradiction == nil || a.Contradiction.Kind == b.Contradiction.Kind)
	}
	for _, n := range ns {
		if !slices.ContainsFunc(s.doubts, func(o Note) bool { return same(o, n) }) {
			s.doubts = append(s.doubts, n)
		}
	}
}

// Frames returns the frames in the order in which they were given.
func (s *Session) Frames() []*Frame { return s.frames }

// sightings are those of the frames that take part.
func (s *Session) sightings() (out []axis.Sighting) {
	for _, f := range s.frames {
		if f.In() {
			out = append(out, *f.Sighting)
		}
	}
	return out
}

// Together returns the sightings of all frames, for what needs every one of
// them; a refusal names the first that does not take part.
func (s *Session) Together() ([]axis.Sighting, *Refusal) {
	if s.refusal != nil {
		return nil, s.refusal
	}
	for _, f := range s.frames {
		if !f.In() {
			return nil, &Refusal{Kind: FrameNeeded, Frame: f.Name, Err: f.Miss.Err}
		}
	}
	return s.sightings(), nil
}

// sameShots leaves out pictures that were given twice: the same pixels, or the
// raw file and the JPEG of one shot.
func sameShots(frames []*Frame) {
	byHash, byShot := map[uint64]*Frame{}, map[string]*Frame{}
	for _, f := range frames {
		if f.Read == nil || f.Miss != nil {
			continue
		}
		if first, twice := byHash[f.Read.Hash]; twice {
			f.miss(Miss{Kind: SamePicture, Other: first.Name})
			continue
		}
		byHash[f.Read.Hash] = f
		key := shotKey(f)
		first, twice := byShot[key]
		switch {
		case !twice:
			byShot[key] = f
		case first.Read.Format == f.Read.Format:
			// Two files of one format are two photographs.
		case rank(f) > rank(first):
			first.miss(Miss{Kind: SameShot, Other: f.Name})
			byShot[key] = f
		default:
			f.miss(Miss{Kind: SameShot, Other: first.Name})
		}
	}
}

// shotKey is the same for the files of one press of the button: they lie in one
// folder under one name, but for the ending.
func shotKey(f *Frame) string {
	end := len(f.Path)
	for i := len(f.Path) - 1; i >= 0 && f.Path[i] != '/' && f.Path[i] != '\\'; i-- {
		if f.Path[i] == '.' {
			end = i
			break
		}
	}
	return f.Path[:end]
}

// rank prefers the file that was treated least.
func rank(f *Frame) int {
	switch f.Read.Format {
	case "JPEG":
		return 0
	case "PNG", "TIFF":
		return 1
	}
	return 2
}

// oneNight is how far apart frames of one evening may lie (common practice, no
// source).
const oneNight = 12 * time.Hour

// otherNights leaves out frames of other evenings than most, or than the latest
// where no evening has most. With no evening of two frames nothing is left out.
func otherNights(frames []*Frame) {
	var in []*Frame
	for _, f := range frames {
		if f.Miss == nil {
			in = append(in, f)
		}
	}
	slices.SortStableFunc(in, func(a, b *Frame) int { return a.Time().Compare(b.Time()) })
	var nights [][]*Frame
	for i, f := range in {
		if i == 0 || f.Time().Sub(in[i-1].Time()) > oneNight {
			nights = append(nights, nil)
		}
		nights[len(nights)-1] = append(nights[len(nights)-1], f)
	}
	var best []*Frame
	for _, n := range nights {
		if len(n) >= len(best) {
			best = n
		}
	}
	if len(best) < 2 {
		return
	}
	for _, n := range nights {
		for _, f := range n {
			if gap := f.Time().Sub(best[0].Time()); gap.Abs() > oneNight && !slices.Contains(best, f) {
				f.miss(Miss{Kind: OtherNight, Other: best[0].Name, Gap: gap.Abs()})
			}
		}
	}
}
