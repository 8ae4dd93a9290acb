package solve

import (
	"testing"

	"pintle/index"
	"pintle/solve/detect"
)

// Why a frame was refused follows from how many stars it has; what is wrong with
// the picture goes with it.
func TestReason(t *testing.T) {
	field := func(n int, spoil func(*detect.Field)) *detect.Field {
		f := &detect.Field{W: 1000, H: 800, Stars: make([]detect.Star, n), Found: n, FWHM: 3, Elongation: 1.1, Background: 300, Full: 65535}
		if spoil != nil {
			spoil(f)
		}
		return f
	}
	for _, c := range []struct {
		name  string
		f     *detect.Field
		kind  ReasonKind
		first detect.TroubleKind
		n     int // troubles
	}{
		{"a list without stars", &detect.Field{W: 10, H: 10}, NoStars, 0, 0},
		{"a dark picture without stars", field(0, nil), TooFew, detect.FewStars, 1},
		{"hardly any", field(3, nil), TooFew, detect.FewStars, 1},
		{"just enough to try", field(4, nil), FewStars, detect.FewStars, 1},
		{"few", field(11, nil), FewStars, 0, 0},
		{"enough", field(12, nil), NoPattern, 0, 0},
		{"trailed", field(60, func(f *detect.Field) { f.Elongation = 4 }), NoPattern, detect.Trailed, 1},
		{"trees and cloud", field(60, func(f *detect.Field) { f.Torn, f.Empty = 0.3, 0.5 }), NoPattern, detect.Obstructed, 2},
	} {
		r := (&Solver{}).reason(c.f)
		if r.Kind != c.kind || len(r.Troubles) != c.n || c.n > 0 && r.Troubles[0].Kind != c.first || r.Stars != len(c.f.Stars) || r.Least != 4 {
			t.Errorf("%s: %v", c.name, r)
		}
	}
	if wide, deep := (&Solver{}).reason(field(60, nil)), (&Solver{Deep: &index.Library{}}).reason(field(60, nil)); !(deep.Narrowest < wide.Narrowest) {
		t.Errorf("fields from %v, with a deeper list from %v", wide.Narrowest, deep.Narrowest)
	}
}
