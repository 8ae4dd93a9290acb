package words

import (
	"strings"
	"testing"

	"pintle/axis"
	"pintle/cmd/pintle/series"
)

// Every kind that the fit can name has a sentence of its own.
func TestEveryKindIsASentence(t *testing.T) {
	seen := map[string]string{}
	told := func(kind, s string) {
		t.Helper()
		if o, twice := seen[s]; twice {
			t.Errorf("%s and %s say the same: %s", kind, o, s)
		}
		if seen[s] = kind; s == "" || strings.Contains(s, "kind ") || strings.HasPrefix(s, "warning") {
			t.Errorf("%s has no sentence: %q", kind, s)
		}
	}
	for k := axis.NoStars; !strings.HasPrefix(k.String(), "kind "); k++ {
		w := axis.Warning{Kind: k, Frames: []int{0, 1}, Names: []string{"a.fits", "b.fits"}, Count: 3, Angle: 0.01}
		told("warning "+k.String(), warning(&w))
	}
	for a := axis.NoNeed; !strings.HasPrefix(a.String(), "kind "); a++ {
		told("advice "+a.String(), followAdvice(a))
	}
	for r := axis.TooFewFrames; !strings.HasPrefix(r.String(), "kind "); r++ {
		told("reason "+r.String(), tooWeak(&axis.WeakError{Reason: r, Frames: 2, Turn: 0.02}))
	}
	for k := axis.TooShort; !strings.HasPrefix(k.String(), "kind "); k++ {
		told("no watch "+k.String(), noWatch(&axis.NoWatchError{Kind: k, Frame: "a.fits"}))
	}
	for k := series.Dew; !strings.HasPrefix(k.String(), "kind "); k++ {
		told("stars "+k.String(), starsShow(&series.Finding{Kind: k, Names: []string{"a.fits"}, Much: 3, Length: 1e-3, Chance: 0.97}))
	}
	if s := starsShow(&series.Finding{Kind: series.Turned, Names: []string{"a", "b", "c", "d"}, Chance: 0.6}); !strings.Contains(s, "frames a, b, c and 1 more") || !strings.Contains(s, "the likeliest of several, 60 %") {
		t.Errorf("frames and odds: %s", s)
	}
	if len(seen) != 17+8+6+5+6 {
		t.Errorf("%d sentences", len(seen))
	}
}

// What is only likely is told as such; what is certain, and what was left out for
// it, is not.
func TestLikelyWarnings(t *testing.T) {
	w := axis.Warning{Kind: axis.OddFrame, Names: []string{"b.fits"}, Angle: 1e-4}
	for chance, want := range map[float64]string{0.6: "seems to be 20.6 arcsec off", 0.96: "is left out: it is 20.6 arcsec off", 0: "is left out: it is 20.6 arcsec off"} {
		w.Chance = chance
		s := warning(&w)
		if !strings.Contains(s, "frame b.fits "+want) || strings.Contains(s, "the likeliest of several, 60 %") != (chance == 0.6) {
			t.Errorf("chance %g: %s", chance, s)
		}
	}
}
