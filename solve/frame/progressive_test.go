package frame

import (
	"bytes"
	"image/jpeg"
	"math"
	"testing"
)

// TestProgressiveAgainstLibrary: the luminance agrees with that of the standard
// library to the rounding of the two transforms.
func TestProgressiveAgainstLibrary(t *testing.T) {
	for _, name := range []string{"progressive.jpg", "progressive-420.jpg", "progressive-444-restart.jpg", "progressive-422.jpg", "progressive-grey.jpg"} {
		data := testFile(t, name)
		m, err := jpeg.Decode(bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		var want, got Image
		setImage(&want, m)
		p := openProgressive(data)
		if p == nil {
			t.Fatalf("%s is not taken for progressive", name)
		}
		if err := p.decode(&got); err != nil {
			t.Fatal(name, err)
		}
		if got.W != want.W || got.H != want.H {
			t.Fatalf("%s: %d x %d, want %d x %d", name, got.W, got.H, want.W, want.H)
		}
		worst, varied := 0.0, map[uint8]bool{}
		for i, v := range want.U8 {
			worst = max(worst, math.Abs(float64(got.U8[i])-float64(v)))
			varied[v] = true
		}
		if worst > 1 || len(varied) < 20 {
			t.Errorf("%s: off by up to %g of %d levels, want 1", name, worst, len(varied))
		}
	}
}
