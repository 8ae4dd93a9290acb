package solve

import (
	"strings"
	"testing"

	"pintle/solve/detect"
)

// Why a frame was refused, and what can be done: everything that is wrong with
// the picture is said, and that stars are few once, with advice.
func TestReason(t *testing.T) {
	field := func(n int, spoil func(*detect.Field)) *detect.Field {
		f := &detect.Field{W: 1000, H: 800, Stars: make([]detect.Star, n), Found: n, FWHM: 3, Elongation: 1.1, Background: 300, Full: 65535}
		spoil(f)
		return f
	}
	nothing := func(*detect.Field) {}
	for _, c := range []struct {
		name      string
		f         *detect.Field
		says, not []string
	}{
		{"a list without stars", &detect.Field{W: 10, H: 10}, []string{"no stars found"}, []string{"0 stars found", "visible"}},
		{"hardly any", field(3, nothing), []string{"3 stars found, at least 4", "expose longer"}, []string{"visible", "pattern"}},
		{"few", field(9, nothing), []string{"9 stars found, too few to be sure"}, []string{"visible", "pattern"}},
		{"few listed of few", field(12, func(f *detect.Field) { f.Found = 9 }), []string{"only 9 stars are visible", "no pattern of its stars"}, []string{"too few"}},
		{"nothing wrong", field(60, nothing), []string{"60 brightest spots", "0.6 to 180 degrees"}, []string{"visible", "trailed", ";"}},
		{"trailed", field(60, func(f *detect.Field) { f.Elongation = 4 }), []string{"trailed: 4.0 times", "no pattern of its stars"}, []string{"brightest spots"}},
		{"trailed and few", field(9, func(f *detect.Field) { f.Elongation = 4 }), []string{"trailed", "9 stars found, too few"}, []string{"visible"}},
		{"out of focus", field(60, func(f *detect.Field) { f.FWHM = 12 }), []string{"out of focus: 12 pixels"}, nil},
		{"bright", field(60, func(f *detect.Field) { f.Background = 50000 }), []string{"the sky is bright: 76 % of full scale"}, nil},
		{"overexposed", field(60, func(f *detect.Field) { f.Blown = 0.4; f.Background = 65535 }), []string{"40 % of the picture is overexposed"}, []string{"sky is bright"}},
		{"trees and cloud", field(60, func(f *detect.Field) { f.Torn, f.Empty = 0.3, 0.5 }), []string{"obstacles cross 30 %", "50 % of the picture has far fewer stars"}, nil},
		{"blank", field(0, func(f *detect.Field) { f.Flat = true }), []string{"blank", "0 stars found"}, []string{"visible"}},
		{"a panorama", field(60, func(f *detect.Field) { f.W = 2 * f.H }), []string{"panorama of 360 x 180"}, nil},
		{"tiny", field(0, func(f *detect.Field) { f.W, f.H = 5, 4 }), []string{"only 5 x 4 pixels"}, []string{"visible"}},
	} {
		said := (&Solver{}).reason(c.f)
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
