package spell

import "testing"

// Textbook pairs (from memory).
func TestEdits(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want int
	}{{"kitten", "sitting", 3}, {"saturday", "sunday", 3}, {"", "abc", 3}, {"abc", "", 3}, {"same", "same", 0}} {
		if got := Edits(c.a, c.b); got != c.want {
			t.Errorf("%q to %q: %d, want %d", c.a, c.b, got, c.want)
		}
	}
}

func TestNearest(t *testing.T) {
	list := []string{"focal_mm", "pixel_um", "guided"}
	for in, want := range map[string]string{"Focal": "focal_mm", "pixel": "pixel_um", "guide": "guided", "zzzzzzzz": "", "": ""} {
		if got := Nearest(in, list); got != want {
			t.Errorf("%q: %q, want %q", in, got, want)
		}
	}
}
