package terminal

import "testing"

// The large signs of axis are never wider than the screen, which would break them,
// and a low one shows the sentences instead.
func TestSignsFit(t *testing.T) {
	for _, c := range []struct {
		w, h int
		want dot
	}{{80, 24, dot{2, 1}}, {200, 60, dot{2, 1}}, {50, 24, dot{1, 1}}, {40, 24, dot{1, 1}}, {40, 15, dot{}}, {20, 24, dot{}}} {
		got := fitting(c.w, c.h, "▲ 23.7'", "◀ 71.3'")
		if got != c.want {
			t.Errorf("%d x %d: %v, want %v", c.w, c.h, got, c.want)
		}
		for _, row := range big("◀ 71.3'", got) {
			if n := len([]rune(row)) + 3; n > c.w {
				t.Errorf("%d x %d: %d columns", c.w, c.h, n)
			}
		}
	}
}
