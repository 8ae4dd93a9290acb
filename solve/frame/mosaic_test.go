package frame

import (
	"math/rand"
	"testing"
)

// mosaicSky returns a noisy grey level with the level of each colour times a
// factor, in a 2 x 2 pattern.
func mosaicSky(w, h int, pattern string, factor map[byte]float64) []uint16 {
	rng := rand.New(rand.NewSource(51))
	out := make([]uint16, w*h)
	for i := range out {
		c := pattern[i/w%2*2+i%w%2]
		out[i] = uint16(800*factor[c] + float64(i%w) + rng.NormFloat64()*30)
	}
	return out
}

func TestMosaicNamed(t *testing.T) {
	cast := map[byte]float64{'R': 0.8, 'G': 1.2, 'B': 0.9}
	cards := func(more ...string) []string {
		return append(append(imageCards(16, 200, 120), "BZERO   = 32768"), more...)
	}
	for _, c := range []struct {
		real  string
		cards []string
		want  string
	}{
		{"RGGB", []string{"BAYERPAT= 'RGGB'"}, "RGGB"},
		{"GBRG", []string{"BAYERPAT= 'gbrg'"}, "GBRG"},
		{"GRBG", []string{"BAYERPAT= 'RGGB'", "XBAYROFF= 1", "YBAYROFF= 0"}, "GRBG"},
		{"GBRG", []string{"BAYERPAT= 'RGGB'", "XBAYROFF= 0", "YBAYROFF= 1"}, "GBRG"},
		{"BGGR", []string{"BAYERPAT= 'RGGB'", "XBAYROFF= 1", "YBAYROFF= 1"}, "BGGR"},
		{"GBRG", []string{"BAYERPAT= 'RGGB'", "ROWORDER= 'BOTTOM-UP'"}, "GBRG"}, // the levels decide
		{"RGGB", []string{"BAYERPAT= 'RGGB'", "ROWORDER= 'BOTTOM-UP'"}, "RGGB"},
		{"RGGB", nil, "????"},
		{"GRBG", []string{"BAYERPAT= 'NONE'"}, "????"},
	} {
		fr := mustDecode(t, fitsFile(stored16(mosaicSky(200, 120, c.real, cast)), cards(c.cards...)...), "x", Options{})
		if fr.Image.Mosaic != c.want {
			t.Errorf("%s with %q: mosaic %q, want %q", c.real, c.cards, fr.Image.Mosaic, c.want)
		}
	}
	// A level that shows nothing leaves the header's word.
	grey := map[byte]float64{'R': 1, 'G': 1, 'B': 1}
	fr := mustDecode(t, fitsFile(stored16(mosaicSky(200, 120, "GRBG", grey)), cards("BAYERPAT= 'RGGB'")...), "x", Options{})
	if fr.Image.Mosaic != "RGGB" || len(fr.Notes) != 0 {
		t.Errorf("mosaic %q, notes %q", fr.Image.Mosaic, fr.Notes)
	}
}

func TestNoMosaic(t *testing.T) {
	check := func(name string, v []uint16) {
		t.Helper()
		if got := evident(&Image{W: 200, H: 120, U16: v}); got != "" {
			t.Errorf("%s: mosaic %q is seen", name, got)
		}
	}
	check("stars on a gradient", sky(200, 120, 52))
	check("flat", make([]uint16, 200*120))
	check("odd columns brighter", mosaicSky(200, 120, "ABAB", map[byte]float64{'A': 1, 'B': 1.2}))
	check("odd rows brighter", mosaicSky(200, 120, "AABB", map[byte]float64{'A': 1, 'B': 1.2}))
	check("four channels", mosaicSky(200, 120, "ABCD", map[byte]float64{'A': 1, 'B': 1.1, 'C': 1.2, 'D': 1.3}))
}

func TestShifted(t *testing.T) {
	for _, c := range []struct {
		dx, dy int
		want   string
	}{{0, 0, "RGGB"}, {1, 0, "GRBG"}, {0, 1, "GBRG"}, {1, 1, "BGGR"}, {-1, 0, "GRBG"}} {
		if got := shifted("RGGB", c.dx, c.dy); got != c.want {
			t.Errorf("shifted by %d, %d: %s, want %s", c.dx, c.dy, got, c.want)
		}
	}
}
