package detect

import (
	"fmt"
	"strings"
	"testing"
)

// words returns what is wrong with a picture in one line.
func (f *Field) words() string {
	return strings.TrimSuffix(strings.TrimPrefix(fmt.Sprint(f.Troubles()), "["), "]")
}

// Each trouble is named from its limit on, and not before. The limits have no
// source: they are part of what people are told, so a change must be meant.
func TestTroublesFromTheirLimitsOn(t *testing.T) {
	for _, c := range []struct {
		kind TroubleKind
		set  func(f *Field, far bool)
	}{
		{TooSmall, func(f *Field, far bool) { f.H = pick(far, 7, 8) }},
		{Overexposed, func(f *Field, far bool) { f.Blown = pick(far, 0.06, 0.04) }},
		{BrightSky, func(f *Field, far bool) { f.Background = pick(far, 33500.0, 32000) }},
		{FewStars, func(f *Field, far bool) { f.Found = pick(far, 9, 10) }},
		{Trailed, func(f *Field, far bool) { f.Elongation = pick(far, 1.9, 1.7) }},
		{OutOfFocus, func(f *Field, far bool) { f.FWHM = pick(far, 8.2, 7.8) }},
		{OutOfFocus, func(f *Field, far bool) { f.Hollow = far }},
		{Obstructed, func(f *Field, far bool) { f.Torn = pick(far, 0.16, 0.14) }},
		{Thinned, func(f *Field, far bool) { f.Empty = pick(far, 0.22, 0.18) }},
	} {
		for _, far := range []bool{false, true} {
			f := &Field{W: 1000, H: 800, Found: 60, FWHM: 3, Elongation: 1.1, Background: 300, Full: 65535}
			c.set(f, far)
			got := f.Troubles()
			if far && (len(got) != 1 || got[0].Kind != c.kind) || !far && len(got) != 0 {
				t.Errorf("kind %d, beyond the limit %v: %v", c.kind, far, got)
			}
		}
	}
}

func pick[T any](first bool, a, b T) T {
	if first {
		return a
	}
	return b
}
