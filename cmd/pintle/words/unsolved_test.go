package words

import (
	"strings"
	"testing"

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
