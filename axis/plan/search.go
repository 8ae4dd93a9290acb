package plan

import (
	"cmp"
	"math"
	"slices"

	"pintle/axis/drive"
	"pintle/index/sphere"
)

// Suggestion is a set of frames worth taking.
type Suggestion struct {
	Dec      sphere.Angle   // of the target circle about the pole, north positive
	HA       []sphere.Angle // of the frames, west positive, in the order to take them
	Frames   []Pointing
	Expected Expected
	Lowest   sphere.Angle // altitude of the lowest frame
}

// Span returns the whole turn in right ascension.
func (s Suggestion) Span() sphere.Angle { return (s.HA[len(s.HA)-1] - s.HA[0]).Abs() }

// Middle returns the direction half way through the turn.
func (s Suggestion) Middle(n Night) sphere.Local {
	return drive.NewFrame(n.Pole, n.South).At((s.HA[0]+s.HA[len(s.HA)-1])/2, s.Dec)
}

// Wish is what the user is willing to do.
type Wish struct {
	Frames  int          // 2 to 6
	MaxSpan sphere.Angle // largest turn in right ascension
	// OneSide keeps all frames on one side of the meridian, so that a mount with
	// a counterweight need not change sides.
	OneSide bool
}

// fewestStars is how many stars make a frame worth planning: what the solver
// asks for at least.
const fewestStars = 4

// apart is how far the middles of two suggestions must differ, so that a user
// gains a choice (no source, chosen as about four hands at arm's length).
const apart = 35 * sphere.Degree

// Suggest searches declinations, starting points and turns for the frames from
// which the axis will be best known, and returns up to most suggestions, best
// first, that point into different parts of the sky. None when nothing can be
// seen.
func (n Night) Suggest(c Camera, w Wish, most int) []Suggestion {
	all := n.candidates(c, w)
	slices.SortStableFunc(all, func(a, b Suggestion) int { return cmp.Compare(a.rank(), b.rank()) })
	var out []Suggestion
	for _, s := range all {
		if len(out) == most || len(out) > 0 && s.Expected.Total() > 4*out[0].Expected.Total() {
			break
		}
		mid := s.Middle(n)
		if !slices.ContainsFunc(out, func(o Suggestion) bool { return o.Middle(n).Sep(mid) < apart }) {
			out = append(out, s)
		}
	}
	return out
}

// rank is the expected error, with a small charge for low frames, so that of
// two nearly equal suggestions the higher one wins (the charge: no source, chosen
// small).
func (s Suggestion) rank() float64 {
	return float64(s.Expected.Total()) * (1 + 0.2*math.Max(0, 1-s.Lowest.Sin()))
}

// look is one cell of the sky, looked at once.
type look struct {
	dir   sphere.Local
	stars float64 // 0 when it cannot be seen
}

// searchStep is that of the search in declination and hour angle (no source,
// chosen as what can be set by hand).
const searchStep = 5 * sphere.Degree

func (n Night) candidates(c Camera, w Wish) []Suggestion {
	f := drive.NewFrame(n.Pole, n.South)
	const around = int(2 * math.Pi / searchStep)
	var out []Suggestion
	for dec := -85 * sphere.Degree; dec < 86*sphere.Degree; dec += searchStep {
		ring := make([]look, around)
		for i := range ring {
			l := f.At(sphere.Angle(i)*searchStep, dec)
			ring[i].dir = l
			if n.Clear(l) {
				ring[i].stars = n.Stars(l)
			}
		}
		out = append(out, n.onRing(c, w, dec, ring)...)
	}
	return out
}

// onRing tries every start and every turn along one circle of declination.
func (n Night) onRing(c Camera, w Wish, dec sphere.Angle, ring []look) (out []Suggestion) {
	gaps := w.Frames - 1
	for gap := 1; sphere.Angle(gap*gaps)*searchStep <= w.MaxSpan+1e-9; gap++ {
		span := sphere.Angle(gap*gaps) * searchStep
		for start := range ring {
			// Hour angles from -180 to 180 so that sides can be told apart.
			ha := (sphere.Angle(start) * searchStep).Wrap()
			if w.OneSide && !oneSide(ha, ha+span) {
				continue
			}
			if s, ok := n.try(c, dec, ring, start, gap, w.Frames); ok {
				out = append(out, s)
			}
		}
	}
	return out
}

// oneSide is true when hour angles a to b, a above -180 degrees, lie on one
// side of the meridian.
func oneSide(a, b sphere.Angle) bool {
	const slack = 1e-9
	return b <= slack || a >= -slack && b <= math.Pi+slack
}

func (n Night) try(c Camera, dec sphere.Angle, ring []look, start, gap, frames int) (s Suggestion, ok bool) {
	s = Suggestion{Dec: dec, Lowest: math.Pi / 2}
	for i := range frames {
		at := start + i*gap
		l := ring[at%len(ring)]
		if l.stars < fewestStars {
			return s, false
		}
		s.HA = append(s.HA, (sphere.Angle(start)*searchStep).Wrap()+sphere.Angle(i*gap)*searchStep)
		s.Frames = append(s.Frames, Pointing{l.dir, l.stars})
		_, alt := l.dir.AzAlt()
		s.Lowest = min(s.Lowest, alt)
	}
	e, err := n.Expect(c, s.Frames)
	if err != nil {
		return s, false
	}
	s.Expected = e
	return s, true
}
