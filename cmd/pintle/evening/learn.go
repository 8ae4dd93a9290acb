package evening

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"pintle/axis/plan"
	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/session"
	"pintle/cmd/pintle/words"
	"pintle/index/sphere"
	"pintle/index/stars"
)

// Learnt is what a photograph shows of what blocks the sky; it is offered, and counts
// once it is taken over.
type Learnt struct {
	Photograph string    `json:"photograph"`
	Words      string    `json:"words"`
	Stretches  []Stretch `json:"stretches"`
}

// Only photographs wider than that are asked, degrees over the diagonal: narrow ones
// show neither ground nor enough stars (no source). Stars are expected to
// learnFaintest.
const (
	learnWide     = 15
	learnFaintest = 9
)

// learn returns what blocks the sky in a photograph that was recognised.
func learn(f *session.Frame) []Stretch {
	if !f.In() || f.Solution == nil || f.Solution.Diagonal() < learnWide*sphere.Degree {
		return nil
	}
	var out []Stretch
	for _, b := range plan.Learn(looksOf(f)) {
		out = append(out, Stretch{degrees(b.From), degrees(b.To), degrees(b.Alt)})
	}
	return out
}

// looksOf are the listed stars within a photograph, and whether a spot is where each of
// them should be: some pixels, and what refraction moves them by.
func looksOf(f *session.Frame) (out []plan.Look) {
	s, p := f.Solution, f.Sighting.Place
	spots := spotsOf(f)
	s.Listed(stars.Embedded(), learnFaintest, stars.JulianYear(f.Time()), func(x stars.Star, px, py float64) {
		l := p.Observed(x.Pos)
		if _, alt := l.AzAlt(); alt > 0 {
			r := max(3, 2*f.Field.FWHM) + float64(p.Refraction(l)/s.Lens.Scale())
			out = append(out, plan.Look{Dir: l, V: float64(x.V), Seen: spots.near(px, py, r)})
		}
	})
	return out
}

// spots are places on a photograph, by row.
type spots [][2]float64

func spotsOf(f *session.Frame) (out spots) {
	for _, s := range f.Field.Stars {
		out = append(out, [2]float64{s.X, s.Y})
	}
	slices.SortFunc(out, func(a, b [2]float64) int { return cmp.Compare(a[1], b[1]) })
	return out
}

// near reports whether one of them is within r of a place.
func (s spots) near(x, y, r float64) bool {
	i, _ := slices.BinarySearchFunc(s, y-r, func(p [2]float64, y float64) int { return cmp.Compare(p[1], y) })
	for ; i < len(s) && s[i][1] <= y+r; i++ {
		if math.Hypot(s[i][0]-x, s[i][1]-y) <= r {
			return true
		}
	}
	return false
}

// sectors is in how many a drawn skyline is kept.
const sectors = 360 / drawStep

// merged is what blocks the sky with stretches taken over: azimuth and altitude of each
// sector's ends, as a finger draws.
func merged(now plan.Skyline, stretches []Stretch) (line [][2]float64) {
	for i := range sectors {
		from := float64(i * drawStep)
		alt := 0.0
		for k := 0.5; k < drawStep; k++ {
			alt = math.Max(alt, now.Lowest(sphere.Angle(from+k)*sphere.Degree).Degrees())
		}
		for _, s := range stretches {
			if s.From == from {
				alt = s.Alt
			}
		}
		line = append(line, [2]float64{from + 0.01, math.Ceil(alt)}, [2]float64{from + drawStep - 0.01, math.Ceil(alt)})
	}
	return line
}

// tellsMore reports whether stretches say something that differs from what is known, by
// more than they are good to.
func tellsMore(now plan.Skyline, stretches []Stretch) bool {
	return slices.ContainsFunc(stretches, func(s Stretch) bool {
		mid := sphere.Angle(s.From+drawStep/2.0) * sphere.Degree
		return math.Abs(now.Lowest(mid).Degrees()-s.Alt) > 4
	})
}

// learnt is what the newest photograph that tells something of it shows, nil when none
// does, or when it is known.
func (e *Evening) learnt() *Learnt {
	p, ok := e.unanswered()
	if !ok {
		return nil
	}
	now, err := e.skyline()
	if err != nil || !tellsMore(now, p.Blocked) {
		return nil
	}
	return &Learnt{p.Name, words.BlockedSeen(p.Name, blocksIn(p.Blocked)), slices.Clone(p.Blocked)}
}

// unanswered is the newest photograph that shows what blocks the sky and of which the
// person has not said what is to become of that.
func (e *Evening) unanswered() (newest Photograph, ok bool) {
	e.mu.Lock()
	defer e.mu.Unlock()
	for _, p := range e.kept.Photographs {
		if len(p.Blocked) > 0 && !p.Answered && (!ok || byTime(&newest, p) < 0) {
			newest, ok = *p, true
		}
	}
	return newest, ok
}

func blocksIn(stretches []Stretch) (out plan.Skyline) {
	deg := func(x float64) sphere.Angle { return sphere.Angle(x) * sphere.Degree }
	for _, s := range stretches {
		out = append(out, plan.Block{From: deg(s.From), To: deg(s.To), Alt: deg(s.Alt)})
	}
	return out
}

// TakeBlocked takes over what a photograph shows of what blocks the sky, or, when take
// is false, has it offered no more.
func (e *Evening) TakeBlocked(name string, take bool) error {
	now, err := e.skyline()
	if err != nil {
		return err
	}
	return e.change(func(k *kept) error {
		p, err := k.find(name)
		if err != nil {
			return err
		}
		if len(p.Blocked) == 0 {
			return advice.With(fmt.Errorf("%s shows nothing of what blocks the sky", p.Name), "draw it with a finger")
		}
		p.Answered = true
		if !take {
			return nil
		}
		line := merged(now, p.Blocked)
		text, err := blocksOf(line)
		if err == nil {
			k.Blocks, k.Drawn = text, line
		}
		return err
	})
}
