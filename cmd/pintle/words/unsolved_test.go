package words

import (
	"errors"
	"strings"
	"testing"

	"pintle/axis"
	"pintle/cmd/pintle/session"
	"pintle/index/sphere"
	"pintle/solve"
	"pintle/solve/detect"
)

// Why a frame was refused, and what can be done: everything that is wrong with
// the picture is said, and that stars are few once, with advice.
func TestNotSolved(t *testing.T) {
	reason := func(kind solve.ReasonKind, n int, ts ...detect.Trouble) *solve.Reason {
		return &solve.Reason{Kind: kind, Stars: n, Tried: n, Least: 4, Narrowest: 0.6 * sphere.Degree, Troubles: ts}
	}
	few := func(n float64) detect.Trouble { return detect.Trouble{Kind: detect.FewStars, Much: n} }
	trailed := detect.Trouble{Kind: detect.Trailed, Much: 4}
	for _, c := range []struct {
		name      string
		r         *solve.Reason
		says, not []string
	}{
		{"a list without stars", reason(solve.NoStars, 0), []string{"no stars found"}, []string{"0 stars found", "visible"}},
		{"hardly any", reason(solve.TooFew, 3, few(3)), []string{"3 stars found, at least 4", "expose longer"}, []string{"visible", "pattern"}},
		{"one", reason(solve.TooFew, 1, few(1)), []string{"1 star found, at least 4"}, []string{"visible", "pattern"}},
		{"few", reason(solve.FewStars, 9, few(9)), []string{"9 stars found, too few to be sure"}, []string{"visible", "pattern"}},
		{"few listed of few", reason(solve.NoPattern, 12, few(9)), []string{"only 9 stars are visible", "no pattern of its stars"}, []string{"too few"}},
		{"one of few", reason(solve.NoPattern, 12, few(1)), []string{"only 1 star is visible"}, nil},
		{"nothing wrong", reason(solve.NoPattern, 60), []string{"60 brightest spots", "0.6 to 180 degrees"}, []string{"visible", "trailed", ";"}},
		{"a panorama", &solve.Reason{Kind: solve.NoPattern, Stars: 60, Tried: 60, Panorama: true}, []string{"60 brightest spots", "panorama of 360 x 180"}, nil},
		{"trailed", reason(solve.NoPattern, 60, trailed), []string{"trailed: 4.0 times", "no pattern of its stars"}, []string{"brightest spots"}},
		{"trailed and few", reason(solve.FewStars, 9, trailed, few(9)), []string{"trailed", "9 stars found, too few"}, []string{"visible"}},
		{"out of focus", reason(solve.NoPattern, 60, detect.Trouble{Kind: detect.OutOfFocus, Much: 12}), []string{"out of focus: 12 pixels"}, nil},
		{"bright", reason(solve.NoPattern, 60, detect.Trouble{Kind: detect.BrightSky, Much: 0.763}), []string{"the sky is bright: 76 % of full scale"}, nil},
		{"overexposed", reason(solve.NoPattern, 60, detect.Trouble{Kind: detect.Overexposed, Much: 0.4}), []string{"40 % of the picture is overexposed"}, []string{"sky is bright"}},
		{"trees and cloud", reason(solve.NoPattern, 60, detect.Trouble{Kind: detect.Obstructed, Much: 0.3}, detect.Trouble{Kind: detect.Thinned, Much: 0.5}), []string{"obstacles cross 30 %", "50 % of the picture has far fewer stars"}, nil},
		{"blank", reason(solve.TooFew, 0, detect.Trouble{Kind: detect.Blank}), []string{"blank", "0 stars found"}, []string{"visible"}},
		{"tiny", reason(solve.TooFew, 0, detect.Trouble{Kind: detect.TooSmall, W: 5, H: 4}), []string{"only 5 x 4 pixels"}, []string{"visible"}},
		{"like two places", &solve.Reason{Kind: solve.Tied}, []string{"two parts of the sky"}, []string{"0 stars"}},
	} {
		said := NotSolved(c.r)
		for _, w := range c.says {
			if !strings.Contains(said, w) {
				t.Errorf("%s: %q does not say %q", c.name, said, w)
			}
		}
		for _, w := range c.not {
			if strings.Contains(said, w) {
				t.Errorf("%s: %q says %q", c.name, said, w)
			}
		}
	}
}

// A frame that was only looked for quickly is not said to be looked for everywhere.
func TestMissOfAQuickLook(t *testing.T) {
	for _, bounded := range []bool{true, false} {
		err := &solve.Unsolved{Reason: solve.Reason{Kind: solve.NoPattern, Stars: 60, Tried: 60}, Bounded: bounded}
		said := Miss(&session.Frame{Miss: &session.Miss{Kind: session.Unsolved, Err: err}})
		if strings.Contains(said, "looked for quickly") != bounded || !strings.Contains(said, "60 brightest spots") {
			t.Errorf("bounded %v: %q", bounded, said)
		}
	}
}

// The few words about a lost frame take two lines of a small phone at most, and say
// what is wrong with the picture first.
func TestMissBrief(t *testing.T) {
	const twoLines = 68 // at 320 pixels
	lost := func(r solve.Reason) *session.Frame {
		return &session.Frame{Path: "a.fits", Miss: &session.Miss{Kind: session.Unsolved, Err: &solve.Unsolved{Reason: r}}}
	}
	for want, f := range map[string]*session.Frame{
		"not recognised: cloud, trees or lamps?":           lost(solve.Reason{Kind: solve.NoPattern, Stars: 60, Tried: 60}),
		"not recognised: only 3 stars":                     lost(solve.Reason{Kind: solve.TooFew, Stars: 3, Troubles: []detect.Trouble{{Kind: detect.FewStars, Much: 3}}}),
		"not recognised: only 1 star":                      lost(solve.Reason{Kind: solve.FewStars, Stars: 1}),
		"not recognised: no stars":                         lost(solve.Reason{Kind: solve.NoStars}),
		"not recognised: stars are trailed":                lost(solve.Reason{Kind: solve.NoPattern, Stars: 60, Troubles: []detect.Trouble{{Kind: detect.FewStars, Much: 3}, {Kind: detect.Trailed, Much: 4}}}),
		"not recognised: out of focus":                     lost(solve.Reason{Kind: solve.FewStars, Stars: 9, Troubles: []detect.Trouble{{Kind: detect.OutOfFocus, Much: 14}}}),
		"not recognised: cloud or obstacles on 40 % of it": lost(solve.Reason{Kind: solve.NoPattern, Stars: 60, Troubles: []detect.Trouble{{Kind: detect.Thinned, Much: 0.4}}}),
		"not recognised: fits two parts of the sky":        lost(solve.Reason{Kind: solve.Tied, Stars: 60}),
		"does not fit the other frames":                    {Miss: &session.Miss{Kind: session.Misfit, Err: &axis.WeakError{Reason: axis.NotOneAxis}}},
		"upside down: other side of the pier?":             {Miss: &session.Miss{Kind: session.Misfit, Err: &axis.WeakError{Reason: axis.Flipped}}},
		"the file cannot be read":                          {Miss: &session.Miss{Kind: session.Unreadable, Err: errors.New("strange header")}},
		"the same shot as b.jpg":                           {Miss: &session.Miss{Kind: session.SameShot, Other: "b.jpg"}},
	} {
		if got := MissBrief(f); got != want || len(got) > twoLines {
			t.Errorf("%q, want %q within %d letters", got, want, twoLines)
		}
	}
	st := &session.State{Next: session.Next{Kind: session.WaitSolved}, Last: lost(solve.Reason{Kind: solve.NoPattern, Stars: 60, Tried: 60})}
	if got, want := Next(st), "Wait for a frame that can be used. Not recognised: cloud, trees or lamps?"; strings.TrimSuffix(got, ".") != want {
		t.Errorf("%q, want %q", got, want)
	}
}
